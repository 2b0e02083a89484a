"""Every computed figure of the building guides, recomputed from the ratings that the same page prints.

Nothing of the project is imported: Ohm's law, thermal resistances and energy balances are written out here, water is
IAPWS-97's, and constants are the handbooks', named beside them.
"""

import math
import re
from pathlib import Path

import numpy as np
import pytest
from iapws import IAPWS97
from scipy.integrate import solve_ivp
from scipy.optimize import linprog

HARDWARE = Path(__file__).parents[2] / "hardware"
BUILDS = ("mat", "pot", "plate")


def rows(page, block):
    """A table of a page: first cell to the others."""
    text = (HARDWARE / page).read_text(encoding="utf-8")
    part = text.partition(f"<!-- {block}: written by figures.py -->")[2].partition("<!-- end of")[0]
    lines = [[cell.strip() for cell in line.strip("| ").split(" | ")] for line in part.strip().splitlines()[2:]]
    return {line[0]: line[1:] for line in lines}


def figures(text):
    """The numbers in a text."""
    return [float(each) for each in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", text)]


class Guide:
    """The ratings that one build's page prints, and what the page computes from them."""

    def __init__(self, name):
        self.name = name
        parts = rows(f"{name}-rig.md", f"{name} parts")
        self.values = rows(f"{name}-rig.md", f"{name} values")
        self.heater = next(text for ref, (text, _) in parts.items() if ref.startswith("RH"))
        self.count = 2 if name == "plate" else 1
        self.mat_w = float(re.search(r"(\d+) W", self.heater)[1])
        self.supply_a = float(re.search(r"24 V DC, ([\d.]+) A", parts["PS1"][0])[1])
        self.wire_mm2 = float(re.search(r"([\d.]+) mm²", parts["wire"][0])[1])
        if "round" in self.heater:
            self.area_m2 = math.pi / 4 * (float(re.search(r"round, (\d+) cm", self.heater)[1]) / 100) ** 2
        else:
            wide, long = map(float, re.search(r"(\d+) x (\d+) cm", self.heater).groups())
            self.area_m2 = wide * long / 1e4

    def shown(self, what):
        """The computed cell of a row, as numbers."""
        return figures(next(cells[1] for name, cells in self.values.items() if name.startswith(what)))


@pytest.fixture(params=BUILDS)
def guide(request):
    return Guide(request.param)


def test_currents_follow_from_ohm_s_law(guide):
    ohm = 24.0**2 / guide.mat_w
    assert guide.shown("mat")[:2] == pytest.approx([ohm, guide.count * 24.0 / ohm], abs=0.006)
    worst_a = guide.count * 25.2 / (0.9 * ohm)
    assert guide.shown("heater, worst") == pytest.approx([worst_a, 25.2 * worst_a], rel=0.01)
    assert guide.shown("supply over heater") == pytest.approx(
        [24.0 * guide.supply_a / (guide.count * guide.mat_w)], abs=0.006)


def test_cables_drop_what_their_copper_does(guide):
    """IEC 60028: 17.241 ohm mm²/km of annealed copper (M); strands are up to 15 % longer, 3 m there and back."""
    milliohm, volts = guide.shown("cable")
    copper = 3.0 * 17.241 / guide.wire_mm2
    assert copper < milliohm < 1.2 * copper
    assert volts == pytest.approx(24.0 / (24.0**2 / guide.mat_w) * milliohm / 1000.0, abs=0.006)


def test_switch_s_loss_and_junction_follow_from_its_drop(guide):
    """P = U I; 12 °C/W from junction to the box's air on a heat sink of 9 (M); 40 °C in the box."""
    drop_mv, loss_w = guide.shown("Q1, worst")[-2:]
    worst_a = guide.shown("heater, worst")[0]
    assert loss_w == pytest.approx(drop_mv / 1000.0 * worst_a, abs=0.012)
    both_w = loss_w + guide.shown("Q1, turning on and off")[0]
    assert guide.shown("Q1, junction")[0] == pytest.approx(40.0 + 12.0 * both_w, abs=1.0)


def test_air_in_the_box_is_what_its_walls_carry_off(guide):
    """Q = h A (T - 25 °C): 4 W/m²K (M), a box of 20 x 15 x 10 cm; each contact 0.05 V, two coils of 1.4 kΩ with K2."""
    contacts, coils = {"mat": (10, 1), "pot": (8, 2), "plate": (9, 2)}[guide.name]
    q1_w = guide.shown("Q1, worst")[-1] + guide.shown("Q1, turning on and off")[0]
    rest_w = q1_w + coils * 24.0**2 / 1400.0 + 0.3
    for volts, shown_c in zip((0.05, 0.15), guide.shown("box's air")[:2], strict=True):
        heat_w = guide.count * guide.mat_w / 24.0 * contacts * volts + rest_w
        assert shown_c == pytest.approx(25.0 + heat_w / (4.0 * 0.13), abs=0.6)


def test_a_switch_left_half_on_takes_a_quarter_of_the_heat(guide):
    """Most power in a part in series with R is U²/4R, where the part has R too (any text on circuits)."""
    ohm = 0.9 * 24.0**2 / guide.mat_w / guide.count
    assert guide.shown("Q1, left half on")[0] == pytest.approx(25.2**2 / (4.0 * ohm), abs=0.6)


def test_fuse_on_the_switch_opens_as_a_chain_of_two_lumps_does(guide):
    """SciPy: 30 g of aluminium at 897 J/kg·K behind 12 °C/W, a fuse 15 s behind that; it opens at 112 °C.

    The latest from a box at 20 °C, the hottest tab in one at 40 °C.
    """
    power_w = 25.2**2 / (4.0 * 0.9 * 24.0**2 / guide.mat_w / guide.count)

    def slopes(_, state, box_c):
        tab_c, fuse_c = state
        return [(power_w - (tab_c - box_c) / 12.0) / (0.030 * 897.0), (tab_c - fuse_c) / 15.0]

    def opens(_, state, box_c):
        return state[1] - 112.0

    opens.terminal = True
    start_c = guide.shown("Q1, junction")[0]
    cool, warm = [solve_ivp(slopes, (0.0, 600.0), [from_c, from_c], args=(box_c,), events=opens, rtol=1e-8)
                  for from_c, box_c in ((20.0, 20.0), (start_c, 40.0))]
    after_s, tab_c = guide.shown("TF2 opens then")[-2:]
    assert after_s == pytest.approx(cool.t[-1], abs=1.5)
    assert tab_c == pytest.approx(warm.y[0, -1], abs=1.0)
    assert guide.shown("heat of Q1 that may never open TF2")[-1] == pytest.approx((112.0 - 20.0) / 12.0, abs=0.05)


def test_a_mat_that_is_partly_shorted_is_bounded_by_the_current_that_lasts(guide):
    """I² R on the area left: the same for a half and for a tenth. F2 opens at 1.35 times its 7.5 A (M)."""
    amps = 1.35 * 7.5 if guide.name == "plate" else 1.5 * guide.supply_a
    layers = 0.00075 / 0.25 + 0.0026 + (0.0 if guide.name == "plate" else 1 / 400.0)
    ohm = 1.1 * 24.0**2 / guide.mat_w
    for left in (0.5, 0.1):
        over_k = amps**2 * left * ohm / (left * guide.area_m2) * layers
        assert guide.shown("mat's wire over it")[-1] == pytest.approx(over_k, abs=1.0)


def test_switching_loss_is_that_of_a_transient_through_the_gate_s_charge(guide):
    """81 nC through 150 ohm: on from 3.13 V against 2.5 V, off from 2.5 V to 0; half of U I meanwhile, 100 Hz."""
    amps = guide.shown("heater, worst")[0]
    moving_s = 81e-9 / ((3.2 * 4.7 / 4.8 - 2.5) / 150.0) + 81e-9 / (2.5 / 150.0)
    assert guide.shown("Q1, turning on and off")[0] == pytest.approx(0.5 * 25.2 * amps * moving_s * 100.0, abs=0.006)


def test_over_voltage_and_fault_currents_follow_from_ratings_and_ohm(guide):
    """32.4 V on the worst heater; a supply limits at 1.5 times its rating, a blade fuse opens at 1.35 times (M)."""
    ohm = 0.9 * 24.0**2 / guide.mat_w / guide.count
    assert guide.shown("supply at its shut-off") == pytest.approx([32.4 / ohm, 32.4**2 / ohm], rel=0.01)
    assert guide.shown("lasts in a fault, all mats")[0] == pytest.approx(1.5 * guide.supply_a, rel=0.01)


def test_mat_s_temperature_follows_from_layers_in_series(guide):
    """Silicone 0.25 W/m·K, half of 1.5 mm; glue 0.5 mm at 0.19 W/m·K; 400 W/m²K of water film (M)."""
    flux = guide.mat_w / guide.area_m2
    layers = 0.00075 / 0.25 + 0.0005 / 0.19 + (0.0 if guide.name == "plate" else 1 / 400.0)
    over = guide.shown("mat over its")
    assert over[0] == pytest.approx(flux * layers, abs=1.0)
    assert over[1] == pytest.approx(flux * 1.05**2 / 0.9 * layers, abs=1.0)


def test_rise_follows_from_the_heat_that_water_metal_and_chocolate_store(guide):
    """IAPWS-97 water at 40 °C; steel 0.49, chocolate 1.6 kJ/kg·K (handbooks, M).

    The page counts as the firmware does, a bowl of any metal and warm chocolate: up to a tenth slower, never quicker.
    """
    text = (HARDWARE / f"{guide.name}-rig.toml").read_text(encoding="utf-8")
    rig = {name: float(value) for name, value in re.findall(r"^(\w+) = ([\d.]+)", text, re.M)}
    water = IAPWS97(T=313.15, P=0.101325)
    kg = rig["water_l"] * water.rho / 1000.0
    stored = kg * water.cp * 1000.0 + rig["bowl_kg"] * 490.0 + rig["chocolate_kg"] * 1600.0
    shown = guide.shown("full heat, full")[0]
    assert 0.9 < shown / (60.0 * guide.count * guide.mat_w / stored) < 1.005
    minutes = guide.shown("from 45 °C to TCO2's latest, full")[0]
    worst = 1.05**2 / 0.9  # the supply at its top, each mat a tenth under its ohms
    assert minutes == pytest.approx(18.0 / (worst * shown), rel=0.02)
    if guide.name == "plate":  # bare aluminium: 0.3 x 0.3 x 0.012 m³ x 2700 kg/m³ x 897 J/kg·K
        bare_min = 18.0 * 2616.0 / (worst * 200.0) / 60.0
        assert guide.shown("from 45 °C to TCO2's latest, bare")[0] == pytest.approx(bare_min, rel=0.02)


def test_every_layer_opens_above_the_one_before_it():
    cells = rows("SAFETY.md", "margins")
    for at in range(len(BUILDS)):
        number = {name.strip("*"): figures(row[at].replace("*", "")) for name, row in cells.items()}
        limit = number["firmware's hard limit"][0]
        vessel, mat, fuse = (number[name] for name in ("vessel's cut-out opens", "mat's cut-out opens",
                                                       "thermal fuse opens"))
        assert number["warmest bath of a plan"][0] < limit < number["vessel's cut-out at that limit, full heat"][0]
        assert number["vessel's cut-out at that limit, full heat"][0] < vessel[0] < vessel[1]
        assert number["mat under the warmest bath, full heat"][0] < mat[0]
        assert number["mat at the hard limit, full heat"][0] <= mat[0] < mat[1] < fuse[0] < fuse[1]


def test_gate_s_time_follows_from_its_resistors_and_capacitors():
    """RC by hand: two pairs of 2 x 620k side by side, two 4.7 µF in series beside 0.1 µF; diodes 0.2 and 0.32 V."""
    tau_s = (2 * 620e3 / 2) * (4.7e-6 / 2 + 0.1e-6)
    cells = rows("heartbeat-gate.md", "gate")
    assert figures(cells["time constant"][1])[0] == pytest.approx(tau_s, abs=0.006)
    charge_v, threshold_v = figures(cells["charge after an edge"][1])[0], figures(cells["threshold at C2"][1])[0]
    assert threshold_v == pytest.approx(2 * 3.3 * 10 / 66, abs=0.006)
    assert 3.3 - 0.52 - 0.15 < charge_v < 3.3 - 0.52
    assert figures(cells["lets go after the last edge"][1])[0] == pytest.approx(
        tau_s * math.log(charge_v / threshold_v), abs=0.03)


# -- the other tables -------------------------------------------------------------------------------------------------


@pytest.fixture
def column(guide):
    """The first power-up's readings of this build."""
    at = BUILDS.index(guide.name)
    return {name: figures(cells[at]) for name, cells in rows("first-power-up.md", "readings").items()}


def test_readings_of_the_first_power_up_follow_from_the_parts(guide, column):
    """A mat is good to a tenth, a supply to a twentieth (M), either way."""
    ohm, all_w = 24.0**2 / guide.mat_w, guide.count * guide.mat_w
    low, high = column["each mat at its plug X1 (build mat: its cut-outs and fuse in line)"]
    assert low == pytest.approx(0.9 * ohm, abs=0.06)
    assert high == pytest.approx(1.1 * ohm + 0.2, abs=0.06)
    low, high = column["volts times amperes, full on, all mats"]
    # Contacts in a row, counted in the drawing, may drop 0.15 V each: X0 and X1 twice, F1, S1, K1; the mat's cut-outs
    # and thermal fuse, or K2; the plate's F2. Then cable and Q1.
    contacts = {"mat": 10, "pot": 8, "plate": 9}[guide.name]
    lost_v = 0.15 * contacts + guide.shown("cable")[1] + guide.shown("Q1, worst")[0] / 1e3
    assert low == pytest.approx(0.95**2 / 1.1 * all_w / (1.0 + lost_v / 24.0) ** 2, rel=0.015)
    assert high == pytest.approx(1.05**2 / 0.9 * all_w, rel=0.01)
    (most_mv,) = column["drain to source of Q1, in the first minute full on"]
    # A cold channel conducts 1.5 times as well (M), so its drop is about so much less; rounded up to 10 mV.
    assert -2.0 <= most_mv - guide.shown("Q1, worst")[-2] / 1.5 <= 10.0
    over = guide.shown("mat over its")[0]
    low, high = column["mat's back over its water or plate, after two minutes full on"]
    assert 0.5 * over < low < over < high < 1.4 * over


def test_rise_at_the_first_power_up_is_the_energy_balance_s(guide, column):
    """IAPWS-97 water at 30 °C and steel of 0.49 kJ/kg·K (handbook, M), with a third for losses and less power.

    A hold asks for 3 °C a minute at most (the firmware's default), which only the plate could pass.
    """
    text = (HARDWARE / f"{guide.name}-rig.toml").read_text(encoding="utf-8")
    rig = {name: float(value) for name, value in re.findall(r"^(\w+) = ([\d.]+)", text, re.M)}
    water = IAPWS97(T=303.15, P=0.101325)
    stored = rig["water_l"] * water.rho / 1000.0 * water.cp * 1000.0 + rig["bowl_kg"] * 490.0
    best = min(60.0 * guide.count * guide.mat_w / stored, 3.0)
    low, high = column["rise in a hold from cold, filled, bowl empty"]
    assert low == pytest.approx(0.7 * best, abs=0.06)
    assert high == pytest.approx(1.25 * best, abs=0.06)


@pytest.mark.parametrize("name", ["mat", "pot"])
def test_water_with_the_bowl_in_it_stands_as_high_as_the_page_says(name):
    """Volumes of cylinders: the water and six tenths of the bowl fill the vessel up to the mark."""
    table = rows(f"{name}-rig.md", f"{name} vessel")
    vessel = next(cells for part, cells in table.items() if part in ("pan", "pot"))
    wide = float(re.search(r"([\d.]+) cm inside", vessel[0])[1])
    litres, mark = map(float, re.search(r"([\d.]+) L, measured, .* reach ([\d.]+) cm", vessel[1]).groups())
    across, high = map(float, re.search(r"([\d.]+) cm across, ([\d.]+) cm high", table["bowl"][0]).groups())
    ring = float(re.search(r"([\d.]+) cm high", table["ring"][0])[1])
    wall = float(re.search(r"([\d.]+) cm high", vessel[0])[1])
    assert mark + 1.3 < wall < ring + high - 0.4  # a clip pulls down only a rim that is higher than the wall
    gap_cm2 = math.pi / 4 * (wide**2 - across**2)
    lower = float(re.search(r"the mark ([\d.]+) mm lower", table["ring"][1])[1])
    assert lower == pytest.approx(math.pi / 4 * across**2 / gap_cm2, rel=0.1)
    sunk = 0.6 * high
    base_cm2 = math.pi / 4 * wide**2
    assert mark == pytest.approx((1000.0 * litres + math.pi / 4 * across**2 * sunk) / base_cm2, abs=0.6)
    assert ring == pytest.approx(mark - sunk, abs=1.1)
    assert across + 3.0 < wide
    # Archimedes: an empty bowl is lighter than the water in its place, and four of five clips hold the rest, level.
    bowl_kg = float(re.search(r"about ([\d.]+) kg", table["bowl"][1])[1])
    clip_kg = float(re.search(r"each holds ([\d.]+) kg", table["5 x clip"][0])[1])
    displaced_kg = math.pi / 4 * across**2 * sunk / 1000.0
    # SciPy: the most lift at the middle that clips at 72, 144, 216 and 288 degrees balance, none over its own pull.
    angles = np.radians([72.0, 144.0, 216.0, 288.0])
    most = linprog(-np.ones(4), A_eq=[np.cos(angles), np.sin(angles)], b_eq=[0.0, 0.0], bounds=(0.0, clip_kg))
    assert bowl_kg < displaced_kg < bowl_kg - most.fun
    assert float(re.search(r"in place of ([\d.]+) kg of water", table["5 x clip"][1])[1]) == pytest.approx(
        displaced_kg, rel=0.07)
    assert 0.5 * 1000.0 * litres / base_cm2 > 1.5  # half of it lost: TCO2, 1.5 cm up, is still behind water


def test_bowls_hold_their_chocolate():
    """Chocolate of 1200 kg/m³ at 40 °C (Beckett) fills a bowl of the page's size to four fifths at most."""
    for name in BUILDS:
        bowl = rows(f"{name}-rig.md", f"{name} vessel")["bowl"]
        across, high = map(float, re.search(r"([\d.]+) cm across, ([\d.]+) cm high", bowl[0]).groups())
        kg = float(re.search(r"holds ([\d.]+) kg of chocolate", bowl[1])[1])
        assert kg / 1200.0 < 0.8 * math.pi / 4 * across**2 * high * 1e-6


def test_signals_of_the_box_follow_from_ohm_s_law():
    """Worked out from the values in the drawing; a LED drops 2 V, a base 0.7 V, a small transistor 0.1 V (M)."""
    cells = {name: cells[1] for name, cells in rows("electronics.md", "signals").items()}
    wanted = {
        "guard relay coil": [24.0 / 1.4, 24.0**2 / 1400.0], "heat lamp, guard lamp": [22.0 / 10.0],
        "panel lamp": [1.3 / 0.33], "buzzer's base": [2.6 - 0.7 / 4.7], "gate of Q1": [3.3 * 4.7 / 4.8],
        "gate of Q2": [3.1 / 1.01],
        "float's pin, wet": [22.8 * 4.465 / (34.65 + 4.465), 25.2 * 4.935 / (31.35 + 4.935)],
        "into the float's pin, R24a shorted": [21.4 / 15.0 - 3.8 / 4.7],
        "into the float's pin, R24b shorted": [21.4 / 18.0 - 3.8 / 4.7],
        "guard relay, least on its coil": [22.8, 18.0 * (1.0 + 0.0039 * 40.0)],
        "float's contact": [24.0 / 1.4 + 22.0 / 10.0 + 24.0 / 37.7], "probe bus, pulled low": [3.3 / 4.7],
        "probe bus, time constant": [4.7 * 0.65],
    }  # fmt: skip
    assert set(cells) == set(wanted)
    for name, values in wanted.items():
        assert figures(cells[name]) == pytest.approx(values, rel=0.04), name


@pytest.mark.parametrize("name", BUILDS)
def test_first_words_of_a_guide_state_its_parts(name):
    """What is written by hand agrees with the tables below it: watts, litres, kilograms, sizes."""
    guide = Guide(name)
    page = (HARDWARE / f"{name}-rig.md").read_text(encoding="utf-8")
    opening = " ".join(page.partition("SAFETY.md).")[2].partition("Circuit:")[0].split())
    rig = (HARDWARE / f"{name}-rig.toml").read_text(encoding="utf-8")
    litres, kg = (re.search(rf"^{key} = ([\d.]+)", rig, re.M)[1] for key in ("water_l", "chocolate_kg"))
    assert f"{guide.count * guide.mat_w:g} W" in page.splitlines()[0]
    assert f"{guide.mat_w:g} W" in opening
    assert f"{float(kg):g} kg of chocolate" in opening
    if name == "plate":
        assert f"{litres} L store as much heat" in page
        assert "30 x 30 x 1.2 cm" in opening
        assert "aluminium, 30 x 30 cm, 12 mm thick" in page
    else:
        assert f"{litres} L of water" in opening


@pytest.mark.parametrize("page", sorted(path.name for path in HARDWARE.glob("*.md")))
def test_each_page_says_first_that_codes_and_licences_override_it(page):
    head = " ".join((HARDWARE / page).read_text(encoding="utf-8").split())[:420].lower()
    assert "certified" in head
    assert re.search(r"local electrical codes? and licensed practice override", head)
