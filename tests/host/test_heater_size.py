"""`bain plan --size-heater`: its watts against energy balances and the simulated warmer, its supply, its refusals."""

import json
from dataclasses import replace
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner

from bainwright.builds import rules
from bainwright.builds.catalogue import BUILDS
from bainwright.builds.supply import SOLD_A, nearest_w, supply_a
from bainwright.commands.plan import plan as command
from bainwright.core.errors import BainError
from bainwright.core.masses import Shown
from bainwright.core.units import parse_duration_s
from bainwright.physics.heating import Scales
from bainwright.plan import heater_size, heater_words
from bainwright.plan.heater_size import melt_w, melt_watts, size_heater
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.planner import make_plan
from bainwright.plan.setup import Setup
from bainwright.virtual.plant import Start, Warmer

HARDWARE = Path(__file__).parents[2] / "hardware"


def sized(within_s=9000.0, **asked):
    return size_heater(batch_request(PlanOptions("dark", **{"total": "1.8kg", **asked}), Shown()), within_s)


def run(*arguments):
    done = CliRunner().invoke(command, list(arguments), standalone_mode=False)
    if done.exception:
        raise done.exception
    return int(done.return_value), done.stdout


@pytest.fixture(scope="module")
def usual():
    return sized()


def test_melting_power_covers_the_heat_of_chocolate_and_water_and_not_twice_as_much(usual):
    """Beckett's properties: 85.8 kJ warm and melt 1 kg from 20 to 45 °C. IAPWS: 4.18 kJ/kg·K for the 2 L of water,
    which go to 51 °C. Over 2.5 h; the bowl, the pot and the losses come on top.
    """
    melted_kg = 1.8 * 0.75  # the seed is not melted
    least_w = (melted_kg * 85.8e3 + 2.0 * 4180.0 * 31.0) / 9000.0
    assert least_w < usual.melt.low_w < usual.melt.likely_w < usual.melt.high_w < 2.5 * least_w


def test_holding_power_holds_the_simulated_warmer_at_its_target(usual):
    """Oracle: the built-in plant with an open ring of water, three hours at this power, nobody dipping."""
    rig = usual.request.rig
    rig = replace(rig, plant=msgspec.structs.replace(rig.plant, ring_cover=0.0))
    warmer = Warmer(rig, Start(water_c=33.0, bowl_c=31.5, chocolate_kg=1.8))
    for _ in range(3 * 3600):
        warmer.step(usual.hold.likely_w, 1.0)
    assert warmer.bowl_c == pytest.approx(31.5, abs=0.8)


def test_a_batch_of_many_fillings_is_answered_for_one_and_says_so(usual):
    """100 kg in a bowl of 2 kg are 50 fillings; 3.9 kg are two."""
    for total_kg, count in ((100.0, 50), (3.9, 2)):
        asked = replace(usual, request=replace(usual.request, total_kg=total_kg))
        words = " ".join(heater_words.text(asked, Shown()).split())
        assert f"one filling of 2.00 kg of dark ({count} make the {Shown().mass(total_kg)})" in words
    assert "filling of" not in heater_words.text(usual, Shown()).partition("\n")[0]


def test_less_time_asks_for_more_power_and_warm_water_for_less(usual):
    setup, warm = Setup(usual.request), Setup(replace(usual.request, water_c=45.0))
    melts_kg = make_plan(usual.request).melt.solid_kg
    assert melt_watts(setup, melts_kg, 7200.0).likely_w > 1.1 * usual.melt.likely_w
    assert melt_watts(warm, melts_kg, 9000.0).likely_w < 0.8 * usual.melt.likely_w


def test_each_supply_carries_its_heater_and_gives_at_most_half_as_much_again():
    """By hand: 25.2 V on nine tenths of the resistance is 1.167 times the rated current."""
    for heater_w in range(20, 241, 5):
        found_a = supply_a(float(heater_w))
        if found_a is None:
            continue
        assert heater_w / 24.0 * 1.1666 <= found_a
        assert 24.0 * found_a <= 1.5 * heater_w
    assert [supply_a(build.heater_w) for build in BUILDS] == [3.0, 7.5, 10.0]
    assert all(build.supply_a in SOLD_A for build in BUILDS)


def test_no_supply_is_named_above_the_builds_limit_or_for_no_number():
    assert supply_a(rules.MOST_W) == max(SOLD_A) == max(build.supply_a for build in BUILDS)
    assert supply_a(rules.MOST_W + 1.0) is None
    assert supply_a(float("nan")) is None
    assert nearest_w(rules.MOST_W + 1.0) is None
    assert nearest_w(float("inf")) is None


def test_pot_does_the_evening_that_the_mat_is_too_small_for(usual):
    does = {fit.build.name: fit.does for fit in usual.fits}
    assert does == {"mat": False, "pot": True, "plate": True}
    assert [fit.melts_elsewhere for fit in usual.fits] == [False, False, True]
    assert {fit.build.name: fit.does for fit in sized(total="1.2kg").fits} == {"mat": True, "pot": True, "plate": True}


def test_heater_named_is_for_the_slow_end_of_the_band(usual):
    assert usual.melt.high_w <= usual.heater_w < usual.melt.high_w + 5.0


def test_answer_says_heater_supply_and_each_build(usual, monkeypatch):
    def known(request, within_s):
        assert (request, within_s) == (usual.request, 9000.0)
        return usual

    monkeypatch.setattr(heater_size, "size_heater", known)  # it takes seconds, and is worked out already
    code, said = run("dark", "--total", "1.8kg", "--size-heater")
    words = " ".join(said.split())
    assert code == 0
    for part in ("Fit 95 W at 24 V", "isolated supply of 24 V, 5 A (120 W)", "Fuse F1 7.5 A, wire 0.75 mm²",
                 "for 8 A at 24 V DC or more", "mat, 60 W: yes, in 2 fillings.", "pot, 150 W: yes.",
                 "melt elsewhere", "(--pot-width)"):  # fmt: skip
        assert part in words
    assert usual.as_dict()["supply_w"] == 24.0 * usual.supply_a == 120.0
    assert usual.as_dict()["power_side"]["carries_a"] == 8.0
    narrow = replace(usual, power_side=replace(usual.power_side, mats=()))
    assert "No such mat fits under it" in " ".join(heater_words.text(narrow, Shown()).split())


def test_a_plate_is_sized_and_the_guide_s_own_file_is_not_blamed_for_a_trial():
    """A trial of 2 kW on the heat of 0.63 L of water would be refused on a board."""
    code, said = run("dark", "--total", "1kg", "--rig", str(HARDWARE / "plate-rig.toml"), "--size-heater")
    words = " ".join(said.split())
    assert code == 0
    assert "2000" not in words
    for part in ("Holding takes", "the plate round the bowl", "Two mats of", "F2", "plate, 200 W: only to hold",
                 "It does not melt: melt elsewhere"):  # fmt: skip
        assert part in words


def test_what_no_heater_can_do_is_refused_with_what_to_change():
    code, said = run("dark", "--total", "6kg", "--room", "14", "--size-heater", "--melt-within", "40m")
    assert code == 1
    words = " ".join(said.split())
    assert "No heater is strong enough in that time. The water may be at most 51.0 °C" in words
    assert "Or allow more time (--melt-within)" in words
    assert "mains" not in words
    code, said = run("dark", "--total", "2.2kg", "--room", "16", "--size-heater", "--melt-within", "60m", "--json")
    found = json.loads(said)
    assert (code, found["heater_w"], found["supply_a"]) == (1, None, None)


def test_power_does_not_fall_as_the_batch_grows_and_a_melt_that_creeps_asks_for_none(usual):
    """First law: more chocolate takes more heat in the same time. 400 g under a great loss settle under 45 °C over a
    bath of 51 °C: a lid helps it, and no power does.
    """
    setup, lossy = Setup(usual.request), Scales(bowl_loss=1.6)
    assert melt_w(setup, 0.4, 9000.0, lossy) is None
    small_w, large_w = (melt_w(setup, kg, 9000.0, lossy) for kg in (1.2, 1.6))
    assert 60.0 < small_w < large_w < 120.0


def fits_said(found):
    """What is said of each build, by its name."""
    words = " ".join(heater_words.text(found, Shown()).split())
    return {name: words.partition(f"{name}, ")[2].partition("Holding takes")[0] for name in ("mat", "pot", "plate")}


def test_a_build_that_is_too_slow_says_in_what_time_it_does_and_then_does_it():
    """The sentence is taken at its word: with that time the same build says yes."""
    said = fits_said(sized(within_s=2700.0))
    for name in ("mat", "pot"):
        longer = said[name].partition("--melt-within ")[2].partition(" does")[0]
        assert f"no, not surely within 45 min; --melt-within {longer} does" in said[name]
        longer_s = parse_duration_s(longer)
        assert fits_said(sized(within_s=longer_s))[name].partition(": ")[2].startswith("yes")
        assert not fits_said(sized(within_s=longer_s - heater_words.STEP_S))[name].partition(": ")[2].startswith("yes")


def test_a_build_that_is_too_weak_or_whose_melt_creeps_says_so():
    said = fits_said(sized(room="8", within_s=7200.0))
    watts = float(said["mat"].partition("no: holding may take ")[2].partition(" W in a draught")[0])
    assert watts > 60.0
    assert "no: on one warmer in ten it does not melt within 2 h" in said["pot"]


def test_a_warmer_whose_melt_creeps_is_told_what_helps_it_and_never_sent_to_mains(usual):
    creeping = replace(usual, melt=replace(usual.melt, every_warmer=False),
                       fits=[replace(fit, melts=replace(usual.fits[1].melts, high_s=None)) for fit in usual.fits[1:2]])
    words = " ".join(heater_words.text(creeping, Shown()).split())
    assert "On one warmer in ten no heater is enough. The water may be at most 51.0 °C" in words
    assert "put a lid on the bowl between stirs" in words
    assert "pot, 150 W: yes, with a lid on the bowl." in words
    assert "mains is" not in words


def test_plate_is_sized_for_the_hold_alone():
    found = sized(rig="plate", total="2kg")
    assert found.melts_elsewhere
    assert found.melt is None
    assert found.heater_w >= 1.5 * found.hold.high_w


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--melt-within", "1h"], "--melt-within belongs to --size-heater"),
        (["--size-heater", "--melt-within", "soon"], "--melt-within: got 'soon'"),
        (["--size-heater", "--melt-within", "5m"], "wanted at least 10m; a melt takes an hour or two"),
        (["--size-heater", "--melt-within", "13h"], "wanted at most 12h; an evening ends before that"),
        (["--size-heater", "--page", "plan.html"], "--page belongs to the plan"),
        (["--size-heater", "--dip-at", "19:00"], "--dip-at belongs to the plan"),
        (["--size-heater", "--sources"], "--sources belongs to the plan"),
    ],
)
def test_options_that_do_not_go_together_are_refused_in_words(arguments, words):
    with pytest.raises(BainError, match=words):
        run("dark", "--total", "1kg", *arguments)
