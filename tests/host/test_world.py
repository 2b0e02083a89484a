"""The world's clockwork: its clock, its events, its probes, and plants that fail."""

from __future__ import annotations

import math
import statistics

import pytest
from msgspec.structs import replace as changed

from bainwright.core.errors import FileError, PlantError, UseError
from bainwright.files.rig import Rig, load_rig
from bainwright.virtual.plant import Warmer
from bainwright.virtual.probes import Element
from bainwright.virtual.scenario import Scenario, load_scenario, parse_scenario
from bainwright.virtual.scenario_effects import Fault, Inject, PowerCut
from bainwright.virtual.world import World

SECOND = 1_000_000
ZERO_US = 7_000_123  # the caller's clock when the hold starts: any number


def evening(*events: dict, **head: object) -> Scenario:
    return parse_scenario({**head, "event": list(events)}, "test.toml")


def world_of(scenario: Scenario | None = None, plant: object = None, rig: str | Rig = "pot", seed: int = 1) -> World:
    return World(plant, load_rig(rig) if isinstance(rig, str) else rig, scenario, seed)


def pot(**table: object) -> Rig:
    rig = load_rig("pot")
    return Rig(rig.name, rig.settings, changed(rig.plant, **table), rig.vessels, rig.source, rig.written)


class Kettle:
    """A plug-in plant: litre of water, no losses; records every call."""

    def __init__(self, **start: float) -> None:
        self.temps_c = {"water": 20.0, **start}
        self.steps: list[tuple[float, float]] = []

    def step(self, power_w: float, dt_s: float) -> None:
        self.steps.append((power_w, dt_s))
        self.temps_c["water"] += power_w * dt_s / 4180.0


# -- the clock -------------------------------------------------------------------------------------------------------


def test_before_arm_no_plant_time_passes():
    """However long the board boots, the evening has not begun: readings and energies do not change."""
    world = world_of()
    before = (world.probe_c("water"), world.probe_c("bowl"))
    world.advance(150.0, 3600 * SECOND)
    assert (world.probe_c("water"), world.probe_c("bowl")) == before
    assert world.plant.heat_in_j == 0.0
    assert world.next_event_us() is None


def test_arming_twice_keeps_the_first_zero():
    """A board that is reset and starts again does not restart the evening."""
    world = world_of(evening({"at_s": 10, "kind": "confirm"}))
    world.arm(ZERO_US)
    world.advance(0.0, SECOND)
    world.arm(ZERO_US + SECOND)
    assert world.next_event_us() == ZERO_US + 10 * SECOND


def test_events_count_from_arm_on_the_callers_clock():
    """Due neither a microsecond early nor twice."""
    world = world_of(evening({"at_s": 2.5, "kind": "confirm"}))
    assert world.due(ZERO_US + 60 * SECOND) == []
    world.arm(ZERO_US)
    assert world.due(ZERO_US + 2_499_999) == []
    assert world.due(ZERO_US + 2_500_000) == [Inject({"do": "confirm"})]
    assert world.due(ZERO_US + 9 * SECOND) == []
    assert world.next_event_us() is None


def test_plant_never_sees_more_than_a_second():
    """However far the board sleeps: pieces of at most 1 s, all above 0, adding up."""
    kettle = Kettle()
    world = world_of(plant=kettle)
    assert kettle.steps == [(0.0, 1e-6)]
    world.arm(ZERO_US)
    world.advance(100.0, 3_700_000)
    world.advance(0.0, 0)
    assert kettle.steps[1:] == [(100.0, 1.0), (100.0, 1.0), (100.0, 1.0), (100.0, 0.7)]


def test_matter_moves_at_its_microsecond_however_time_is_cut():
    """One long advance, or many short ones: the same masses to a picogram and temperatures to 1 mK."""
    events = evening(
        {"at_s": 3.25, "kind": "refill", "mass_kg": 0.3, "temp_c": 24},
        {"at_s": 5.5, "kind": "dip", "mass_kg": 0.06, "for_s": 10.25},
        {"at_s": 8, "kind": "water_top_up", "litres": 0.25, "temp_c": 15},
    )
    whole, cut = world_of(events), world_of(events)
    whole.arm(ZERO_US)
    cut.arm(ZERO_US)
    whole.advance(50.0, 30 * SECOND)
    for _ in range(300):
        cut.advance(50.0, SECOND // 10)
    assert whole.plant.chocolate_kg == pytest.approx(2.0 + 0.3 - 0.06, abs=1e-12)
    assert cut.plant.chocolate_kg == pytest.approx(whole.plant.chocolate_kg, abs=1e-12)
    assert cut.plant.temps_c == pytest.approx(whole.plant.temps_c, abs=1e-3)


def test_truth_row_gives_the_mean_power_since_the_last_row():
    """A switching heater shows its mean, not the level it happened to be at."""
    world = world_of()
    world.arm(ZERO_US)
    world.advance(150.0, 250_000)
    world.advance(0.0, 750_000)
    t_ms, water_c, bowl_c, wall_c, power_w = world.truth_row(ZERO_US + SECOND)
    assert (t_ms, power_w) == (1000, 37.5)
    assert (water_c, bowl_c) == (world.plant.water_c, world.plant.bowl_c)
    assert bowl_c > wall_c > 25.0
    world.advance(0.0, SECOND)
    assert world.truth_row(ZERO_US + 2 * SECOND)[4] == 0.0


# -- what the board meets --------------------------------------------------------------------------------------------


def test_people_speak_to_the_board_in_its_own_words():
    """Announce, yes, no and the lifted bowl become requests with the wire's units: ms, g, m°C."""
    world = world_of(evening(
        {"at_s": 1, "kind": "announce", "in_s": 300, "mass_kg": 0.3, "temp_c": 24},
        {"at_s": 1, "kind": "announce", "in_s": 60},
        {"at_s": 2, "kind": "thicker"},
        {"at_s": 3, "kind": "thinner"},
        {"at_s": 4, "kind": "bowl_off", "reported": True},
        {"at_s": 5, "kind": "bowl_on", "reported": True},
        {"at_s": 6, "kind": "bowl_off"},
    ))
    world.arm(0)
    assert [action.fields for action in world.due(10 * SECOND)] == [
        {"do": "announce", "in_s": 300, "mass_g": 300, "temp": 24000},
        {"do": "announce", "in_s": 60},
        {"do": "thicker"},
        {"do": "thinner"},
        {"do": "bowl", "at": "off"},
        {"do": "bowl", "at": "on"},
    ]


def test_faults_come_go_and_are_repaired_in_order_of_time():
    """`for_s` ends a fault by itself, `clear` mends one; a power cut carries its length."""
    world = world_of(evening(
        {"at_s": 1, "kind": "fault", "name": "water_open", "for_s": 5},
        {"at_s": 3, "kind": "fault", "name": "bus_low"},
        {"at_s": 4, "kind": "power_cut", "for_s": 30},
        {"at_s": 8, "kind": "fault", "name": "bus_low", "clear": True},
    ))
    world.arm(0)
    assert world.due(20 * SECOND) == [
        Fault("water_open", True),
        Fault("bus_low", True),
        PowerCut(30.0),
        Fault("water_open", False),
        Fault("bus_low", False),
    ]


def test_everyday_acts_reach_the_warmer():
    """Lid, room, draught and the lifted bowl change what they name, and a draught ends."""
    world = world_of(evening(
        {"at_s": 1, "kind": "lid", "on": True},
        {"at_s": 2, "kind": "room", "temp_c": 17},
        {"at_s": 3, "kind": "draught", "for_s": 4, "factor": 2.5},
        {"at_s": 4, "kind": "bowl_off"},
        {"at_s": 5, "kind": "bowl_on"},
    ))
    world.arm(0)
    seen = []
    for _ in range(8):
        world.advance(0.0, SECOND)
        plant = world.plant
        seen.append((plant.lid, plant.room_c, plant.draught, plant.bowl_in))
    assert seen[0] == (True, 20.0, 1.0, True)
    assert seen[3] == (True, 17.0, 2.5, False)
    assert seen[7] == (True, 17.0, 1.0, True)


def test_lifted_bowl_parts_from_its_water():
    """Off the bath the chocolate cools while the water, heated, rises."""
    world = world_of(evening({"at_s": 0, "kind": "bowl_off"}, start={"water_c": 33, "bowl_c": 31.5}))
    world.arm(0)
    world.advance(150.0, 600 * SECOND)
    assert world.true_c("bowl") < 31.0
    assert world.true_c("water") > 35.0


def test_start_table_sets_the_scene():
    """[start] is how the plant and its settled probes begin."""
    world = world_of(evening(start={"water_c": 12, "bowl_c": 20, "chocolate_kg": 0.9, "room_c": 15, "water_l": 1.0}))
    assert world.plant.chocolate_kg == 0.9
    assert world.plant.room_c == 15
    assert world.probe_c("water") == pytest.approx(12.0, abs=0.4)
    assert world.probe_c("bowl") == pytest.approx(20.0, abs=0.4)


# -- probes ----------------------------------------------------------------------------------------------------------


def test_same_seed_reads_the_same_however_often_it_is_asked():
    """Noise belongs to the time, not to the asking; another seed reads otherwise."""
    one, often, other = world_of(seed=5), world_of(seed=5), world_of(seed=6)
    for world in (one, often, other):
        world.arm(0)
    for _ in range(20):
        often.probe_c("bowl")
        for world in (one, often, other):
            world.advance(40.0, SECOND)
        often.probe_c("water")
        assert one.probe_c("water") == often.probe_c("water") != other.probe_c("water")


def test_evening_is_the_same_to_the_bit_for_one_seed():
    """Oracle: a second run."""
    def trace() -> list[float | None]:
        world = world_of(load_scenario("orange_sticks"), seed=3)
        world.arm(0)
        seen = []
        for second in range(1500):
            world.advance(150.0 * (second % 7 == 0), SECOND)
            seen.append(world.probe_c("bowl"))
        return seen

    assert trace() == trace()


def test_noise_has_the_spread_it_claims_and_no_mean():
    """10,000 readings a quarter of a second apart: spread 0.02 K within 5 %, mean within 4 standard errors, no echo."""
    element = Element("water", 9, 8.0, 0.02, 0.0, 30.0)
    noise = [element.reading_c(250_000 * at) - 30.0 for at in range(10_000)]
    assert statistics.stdev(noise) == pytest.approx(0.02, rel=0.05)
    assert abs(statistics.fmean(noise)) < 4 * 0.02 / 100
    assert abs(statistics.correlation(noise[:-1], noise[1:])) < 0.04


def test_probe_lags_by_its_time_constant():
    """A step of 10 K is followed to 1 - 1/e after one lag: first-order law, 1 ppm, in steps of any size."""
    for pieces in (1, 13):
        element = Element("water", 0, 8.0, 0.0, 0.0, 20.0)
        for _ in range(pieces):
            element.advance(30.0, 8.0 / pieces)
        assert element.reading_c(0) == pytest.approx(20.0 + 10.0 * (1 - math.exp(-1)), rel=1e-6)


def test_bias_is_what_the_rig_says_or_small():
    """A set bias is exact; a seeded one stays within a quarter of a kelvin."""
    world = World(None, pot(water_probe_bias_c=0.5, probe_noise_c=0.0), None, 1)
    assert world.probe_c("water") == 25.5
    biases = [Element("bowl", seed, 0.0, 0.0, None, 0.0).bias_c for seed in range(200)]
    assert 0.03 < statistics.stdev(biases) < 0.1
    assert max(map(abs, biases)) < 0.25


# -- plants of others ------------------------------------------------------------------------------------------------


def test_raw_plant_is_read_without_a_probe_s_errors():
    """`raw_probes`: no lag, no bias, no noise, and the device must not round."""
    kettle = Kettle(bowl=30.0)
    kettle.raw_probes = True
    world = world_of(plant=kettle)
    world.arm(0)
    world.advance(4180.0, SECOND)
    assert world.raw_probes
    assert world.probe_c("water") == pytest.approx(21.0)
    assert world.probe_c("bowl") == 30.0


def test_plant_without_a_bowl_has_no_bowl_probe():
    """A missing probe is reported, not guessed."""
    world = world_of(plant=Kettle())
    assert not world.has_bowl
    assert world.probe_c("bowl") is None
    assert math.isnan(world.true_c("bowl"))
    assert world_of().has_bowl


class Failing(Kettle):
    """Fails in a chosen way at the third second."""

    def __init__(self, way: str) -> None:
        super().__init__(bowl=30.0)
        self.way = way

    def step(self, power_w: float, dt_s: float) -> None:
        super().step(power_w, dt_s)
        if len(self.steps) == 4:
            if self.way == "raises":
                raise ZeroDivisionError("float division by zero")
            if self.way == "forgets":
                del self.temps_c["bowl"]
            else:
                self.temps_c["bowl" if self.way == "bowl nan" else "water"] = {"word": "warm"}.get(self.way, math.nan)


@pytest.mark.parametrize(
    ("way", "words"),
    [("raises", "ZeroDivisionError"), ("nan", "water is nan"), ("bowl nan", "bowl is nan"), ("forgets", "no 'bowl'"),
     ("word", "temps_c failed")],
)
def test_failing_plant_is_a_dead_probe_reported_in_words(way, words):
    """Exception or NaN: probes read None from then on, time continues, and the plant is not called again."""
    plant = Failing(way)
    world = world_of(plant=plant)
    world.arm(0)
    world.advance(10.0, 2 * SECOND)
    assert world.dead is None
    world.advance(10.0, 5 * SECOND)
    assert words in world.dead
    assert "3.0 s" in world.dead
    assert (world.probe_c("water"), world.probe_c("bowl")) == (None, None)
    assert len(plant.steps) == 4
    assert world.plant_us == 7 * SECOND
    assert math.isnan(world.truth_row(7 * SECOND)[1])


def test_plant_without_water_is_refused():
    """There is nothing to supervise: wrong use, not a trip."""
    kettle = Kettle()
    del kettle.temps_c["water"]
    kettle.step = lambda power_w, dt_s: None
    with pytest.raises(PlantError, match="no 'water'"):
        world_of(plant=kettle)


@pytest.mark.parametrize("event", [
    {"kind": "refill", "mass_kg": 0.3, "temp_c": 24}, {"kind": "dip", "mass_kg": 0.3, "for_s": 60},
    {"kind": "seed", "mass_kg": 0.3, "temp_c": 20}, {"kind": "water_swap", "litres": 1, "temp_c": 60},
    {"kind": "water_top_up", "litres": 1, "temp_c": 15}, {"kind": "bowl_off"}, {"kind": "bowl_on"},
    {"kind": "lid", "on": True}, {"kind": "draught", "for_s": 60, "factor": 2}, {"kind": "room", "temp_c": 18},
])
def test_matter_is_refused_with_a_plant_of_ones_own(event):
    """Ten kinds act on matter; all are wrong use with --plant, exit 2."""
    with pytest.raises(UseError, match=event["kind"]) as refusal:
        world_of(evening({"at_s": 5, **event}), plant=Kettle())
    assert refusal.value.exit_code == 2


def test_start_table_is_refused_with_a_plant_of_ones_own():
    """A plug-in sets its own start."""
    with pytest.raises(UseError, match="start"):
        world_of(evening(start={"water_c": 30}), plant=Kettle())


def test_words_and_faults_work_with_any_plant():
    """What does not touch matter is the board's business."""
    world = world_of(evening({"at_s": 0, "kind": "confirm"}, {"at_s": 0, "kind": "power_cut"}), plant=Kettle())
    world.arm(0)
    assert world.due(0) == [Inject({"do": "confirm"}), PowerCut(10.0)]


# -- evenings that cannot be -----------------------------------------------------------------------------------------


def test_dipping_more_than_there_is_is_refused_at_once():
    """1.0 kg too much, in words, before the hold begins."""
    with pytest.raises(FileError, match=r"1\.00 kg too much"):
        world_of(evening({"at_s": 0, "kind": "dip", "mass_kg": 3.0, "for_s": 60}))


def test_plate_has_no_water_to_pour():
    """Refused with the reason."""
    with pytest.raises(FileError, match="plate"):
        world_of(evening({"at_s": 5, "kind": "water_top_up", "litres": 0.2, "temp_c": 15}), rig="plate")


def test_evening_of_orange_sticks_ends_as_its_events_say():
    """1.8 kg, 1.6 dipped, 0.5 refilled: 0.7 kg left after 13,200 s; the cold refill drops the bowl 1.5 to 2 K."""
    scenario = load_scenario("orange_sticks")
    world = world_of(scenario, rig=scenario.rig)
    world.arm(0)
    plant = world.plant
    assert isinstance(plant, Warmer)
    lead_c = 0.0
    before_c = after_c = 0.0
    for second in range(int(scenario.duration_s)):
        before_c = plant.bowl_c if second == 4799 else before_c
        after_c = plant.bowl_c if second == 4800 else after_c
        lead_c = max(-1.0, min(1.0, lead_c + 0.001 * (31.5 - plant.bowl_c)))
        water_c = min(34.3, 32.6 + 3.0 * (31.5 - plant.bowl_c) + lead_c)
        world.advance(max(0.0, min(150.0, 60.0 * (water_c - plant.water_c))), SECOND)
    assert plant.chocolate_kg == pytest.approx(0.7, abs=1e-9)
    assert 1.5 < before_c - after_c < 2.0
    assert 31.0 < plant.bowl_c < 32.0
