"""The builds' sums agree with sources outside the project, and a rating that does not fit breaks a rule."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from ht import Nu_horizontal_plate_McAdams
from iapws import IAPWS97
from scipy.integrate import solve_ivp

from bainwright.builds import electrical, rules, warmth
from bainwright.builds.catalogue import BUILDS, BY_NAME, MAT, PLATE, POT
from bainwright.builds.parts import CutOut, ThermalFuse, Transistor

NAMES = list(BY_NAME)
# IRLZ44N, table of electrical characteristics, from memory: 55 V, threshold 1.0 to 2.0 V, 21 S at 25 A, 25 nC.
SMALL_SWITCH = Transistor("IRLZ44N", drain_v=55.0, threshold_v=2.0, switched_nc=25.0, siemens=21.0, at_a=25.0)


@pytest.mark.parametrize("build", BUILDS, ids=NAMES)
def test_every_build_passes_every_rule(build):
    assert rules.broken(build) == []
    # Of one mat no fuse of its own and no strip beside it; a bath is no metal; a plate has no water and no wall.
    skipped = {"water": 3, "plate": 4}
    assert len(rules.findings(build)) == len(rules.RULES) - skipped[build.heats]


# A rating changed, the build it is changed in, and the rule that must break.
CHANGES = [
    (MAT, {"supply_a": 4.0}, "supply, over the heater's power"),
    (POT, {"supply_a": 7.0}, "supply, for the worst heater"),
    (POT, {"fuse_a": 7.5}, "main fuse, load"),
    (PLATE, {"mat_fuse_a": 5.0}, "fuse of one mat, load"),
    (POT, {"wire_mm2": 0.75}, "cable at the supply's own limit"),
    (MAT, {"fuse_a": 15.0}, "main fuse under the cable's rating"),
    (MAT, {"guard_fuse_a": 0.02}, "guard branch's fuse, load"),
    (MAT, {"inlet_a": 4.0}, "inlet, at what the supply gives into a short"),
    (PLATE, {"relay_a": 10.0}, "guard relay's contact, at what lasts in a fault"),
    (PLATE, {"hand_switch_a": 10.0}, "hand switch, at what lasts in a fault"),
    (PLATE, {"plug_a": 7.5}, "plug of one mat, at what lasts in a fault"),
    (POT, {"on_vessel": CutOut(60.0, 3.0, 1.0)}, "cut-outs, at what lasts in a fault"),
    (POT, {"relayed": False}, "cut-outs, at what lasts in a fault"),
    (PLATE, {"relayed": False, "fuse": replace(PLATE.fuse, rated_a=15.0)},
     "cut-outs and thermal fuse, as sold for 24 V DC"),
    (POT, {"mat": replace(POT.mat, lead_mm2=0.75)}, "mat's own leads, at what lasts in a fault"),
    (POT, {"fuse": replace(POT.fuse, rated_a=1.0)}, "thermal fuse, at what lasts in a fault"),
    (MAT, {"supply_off_v": 44.0}, "parts of all mats, at the supply's over-voltage"),
    (MAT, {"supply_off_v": 24.0}, "supply shuts itself off, over its upper end"),
    (POT, {"mat": replace(POT.mat, sides_m=(0.15,))},
     "mat at the supply's over-voltage, vessel's cut-out at its latest"),
    (POT, {"pull_in_v": 20.0}, "guard relay's coil, at the supply's lower end and warm"),
    (POT, {"switch": replace(POT.switch, drain_v=30.0)}, "Q1, drain"),
    (POT, {"switch": SMALL_SWITCH}, "Q1, junction"),
    (PLATE, {"switch": replace(PLATE.switch, at_a=390.0)}, "Q1, drop at the worst current"),
    (POT, {"on_switch": replace(POT.on_switch, holds_c=45.0)}, "thermal fuse on Q1, holds for good"),
    (POT, {"on_switch": replace(POT.on_switch, marked_c=115.0)}, "thermal fuse on Q1, its mark"),
    (MAT, {"on_switch": replace(MAT.on_switch, rated_a=0.5)}, "thermal fuse on Q1, at what lasts in a fault"),
    (MAT, {"sink": replace(MAT.sink, k_per_w=6.0)}, "heat of Q1 that its thermal fuse lets pass"),
    (PLATE, {"sink": replace(PLATE.sink, kg=0.015)}, "Q1's tab as its thermal fuse opens, Q1 half on"),
    (POT, {"supply_a": 9.0}, "mat partly shorted, vessel's cut-out at its latest"),
    (POT, {"contact_ohm": 1.0}, "heater behind cable and contacts, share of its power"),
    (MAT, {"mat": replace(MAT.mat, sides_m=(0.10,))}, "surface load"),
    (POT, {"on_mat": CutOut(80.0, 5.0, 15.0)}, "mat's cut-out, earliest"),
    (MAT, {"hard_limit_c": 60.0}, "mat at the firmware's hard limit, worst heater"),
    (MAT, {"hard_limit_c": 60.0}, "vessel's cut-out, earliest"),
    (MAT, {"hard_limit_c": 54.0}, "hard limit over the warmest planned bath"),
    (POT, {"fuse": ThermalFuse(110.0, 98.0, 112.0, 103.0, 15.0)}, "thermal fuse, earliest, over the mat's cut-out"),
    (POT, {"fuse": ThermalFuse(110.0, 100.0, 112.0, 85.0, 15.0)}, "thermal fuse, holds for good"),
    (POT, {"run_m": 3.5}, "cable's drop, share of 24 V"),
    (POT, {"contact_ohm": 0.4}, "contacts of one mat's path"),
    (POT, {"coil_ohm": 1000.0}, "guard relay's coil, as the gate was simulated"),
    (PLATE, {"mat": replace(PLATE.mat, sides_m=(0.14, 0.28))}, "strip between the mats, for the vessel's cut-outs"),
    (PLATE, {"bowl_kg": 1.5}, "bowl's steel, by its weight"),
    (POT, {"base_sides_m": (0.24,)}, "mats, share of what they are glued to"),
    (MAT, {"chocolate_kg": 2.0}, "room beside the bowl"),
    (MAT, {"water_l": 1.0}, "half the water over the vessel's cut-out"),
    (MAT, {"clip_kg": 0.25}, "empty bowl, one clip open, over the water it displaces"),
    (POT, {"wall_m": 0.12}, "bowl's rim over the vessel's"),
    (MAT, {"wall_m": 0.07}, "vessel's rim over the water"),
    (PLATE, {"feet_m": 0.02}, "cut-out's button over the table"),
    (PLATE, {"water_l": 0.8}, "litres over the heat of its metal"),
    (POT, {"on_vessel": CutOut(65.0, 3.0, 15.0)}, "vessel's cut-out, latest"),
    (POT, {"fuse": replace(POT.fuse, marked_c=115.0)}, "thermal fuse, its mark"),
    (POT, {"fuse": replace(POT.fuse, marked_c=191.0, latest_c=195.0)},
     "thermal fuse, latest, under what mat and insulation take"),
    (POT, {"lag_s": 30.0}, "heater lag in the rig file, over the computed"),
    (PLATE, {"mat": replace(PLATE.mat, power_w=130.0), "supply_a": 13.0}, "heater"),
    (PLATE, {"mat": replace(PLATE.mat, power_w=130.0)}, "box's air at full heat, good contacts"),
]  # fmt: skip


@pytest.mark.parametrize(("build", "change", "rule"), CHANGES)
def test_a_rating_that_does_not_fit_breaks_its_rule(build, change, rule):
    found = rules.broken(replace(build, **change))
    assert any(words.startswith(f"{rule}: got ") for words in found), found


def test_each_rule_is_seen_to_break():
    assert {rule for _, _, rule in CHANGES} == {rule.name for rule in rules.RULES}


def test_a_figure_that_is_no_number_breaks_its_rule():
    assert rules.broken(replace(MAT, supply_a=float("nan")))


# -- currents and wires -----------------------------------------------------------------------------------------------


def test_cables_resist_as_their_copper_and_a_little_more_for_the_strands():
    """IEC 60028: annealed copper has 17.241 ohm mm²/km at 20 °C (from memory). Strands are longer than their cable."""
    for mm2, ohm_per_km in electrical.CABLE_OHM_PER_KM.items():
        assert 1.05 < ohm_per_km * mm2 / 17.241 < 1.20, mm2


def test_cables_carry_less_than_bare_wire_of_the_american_table_warms_them():
    """Chassis wiring by AWG, from memory: 18 AWG (0.823 mm²) 16 A, 16 AWG (1.31 mm²) 22 A, 14 AWG (2.08 mm²) 32 A."""
    american = {0.75: 16.0, 1.0: 22.0, 1.5: 32.0}  # the next thicker American size of each
    assert all(electrical.CABLE_A[mm2] < most_a for mm2, most_a in american.items())


def test_currents_are_those_of_ohms_law_worked_by_hand():
    """24² / 60 = 9.6 ohm; 25.2 V on 8.64 ohm = 2.917 A. Pot 3.84 ohm, 7.29 A. Plate two of 5.76 ohm, 2 x 4.86 A."""
    assert [electrical.worst_a(build) for build in BUILDS] == pytest.approx([2.917, 7.292, 9.722], abs=0.001)
    assert electrical.mat_worst_a(PLATE) == pytest.approx(4.861, abs=0.001)
    assert electrical.cable_ohm(POT) == pytest.approx(3.0 * 0.0133)


@pytest.mark.skipif(not shutil.which("ngspice"), reason="ngspice is a Debian package; CI installs it")
@pytest.mark.parametrize("build", BUILDS, ids=NAMES)
def test_switch_drop_is_that_of_a_circuit_simulation(build, tmp_path):
    """Oracle: ngspice's own level 1 MOSFET, fed with the worst current at the worst gate voltage."""
    switch, current_a, gate_v = build.switch, electrical.worst_a(build), electrical.gate_v()
    k = switch.siemens**2 / (2.0 * switch.at_a) / electrical.HOT
    deck = tmp_path / "drop.cir"
    deck.write_text(
        f"drop\nI1 0 d {current_a}\nVG g 0 {gate_v}\nM1 d g 0 0 fet W=1u L=1u\n"
        f".model fet NMOS(LEVEL=1 VTO={switch.threshold_v} KP={k} IS=1e-30)\n.nodeset v(d)=0.05\n"
        ".control\nop\nprint v(d)\n.endc\n.end\n"
    )
    said = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False).stdout
    drop_v = float(said.partition("v(d) = ")[2].split()[0])
    assert electrical.switch_drop_v(switch, current_a, gate_v) == pytest.approx(drop_v, rel=0.01)


def test_switching_loss_counts_the_firmware_s_own_pwm():
    board = (Path(__file__).parents[2] / "firmware" / "bainboard" / "board.py").read_text(encoding="utf-8")
    assert float(re.search(r"^PWM_HZ = (\d+)", board, re.M)[1]) == electrical.PWM_HZ


def test_small_switch_could_not_carry_the_pot_at_all_at_its_highest_threshold():
    """k = 21² / 2 / 25 / 1.5 = 5.88 A/V²; 0.63 V less of gate: 5.88 x 1.13² / 2 = 3.8 A at most."""
    assert np.isinf(electrical.switch_drop_v(SMALL_SWITCH, electrical.worst_a(POT), electrical.gate_v()))
    assert np.isfinite(electrical.switch_drop_v(SMALL_SWITCH, 3.7, electrical.gate_v()))


# -- heat -------------------------------------------------------------------------------------------------------------


def test_film_of_water_over_the_base_is_no_better_than_a_correlation_says():
    """McAdams, hot plate facing up (`ht`), with water at 50 °C from IAPWS-97 and a base 6 K over it."""
    water = IAPWS97(T=323.15, P=0.1)
    prandtl = water.mu * water.cp * 1000.0 / water.k
    width_m = 0.22 / 4.0  # area over perimeter of a round base
    grashof = 9.81 * water.alfav * 6.0 * width_m**3 / (water.mu / water.rho) ** 2
    film = Nu_horizontal_plate_McAdams(Pr=prandtl, Gr=grashof, buoyancy=True) * water.k / width_m
    assert 1.0 < film / warmth.WATER_FILM_W_PER_M2K < 2.5


@pytest.mark.parametrize("build", [MAT, POT], ids=["mat", "pot"])
def test_wall_over_its_water_agrees_with_the_fin_equation_solved_on_a_grid(build):
    """Finite differences on d²T/dx² = h T / (k t), insulated at the rim 10 cm up."""
    count, step_m = 1001, 0.0001
    a = warmth.WATER_FILM_W_PER_M2K / (build.base.w_per_mk * warmth.WALL_M) * step_m**2
    grid = np.diag(np.full(count, 2.0 + a)) - np.diag(np.ones(count - 1), 1) - np.diag(np.ones(count - 1), -1)
    grid[0], grid[-1] = np.eye(count)[0], 0.0
    grid[-1, -2:] = -1.0, 1.0
    root_k = 1.225 * build.mat.power_w / build.mat.area_m2 / warmth.WATER_FILM_W_PER_M2K
    wall_k = np.linalg.solve(grid, np.r_[root_k, np.zeros(count - 1)])
    assert warmth.cut_out_over_k(build) == pytest.approx(wall_k[150], rel=0.01)


@pytest.mark.parametrize("build", BUILDS, ids=NAMES)
def test_heat_lags_as_a_chain_of_lumps_does(build):
    """Rubber and base as two lumps before a bath of fixed temperature; the mean delay of the heat that arrives."""
    film = 1.0 / warmth.WATER_FILM_W_PER_M2K if build.heats == "water" else 1e-9
    inside = 0.00075 / 0.25 + 0.0026
    rubber = 0.0015 * 1200.0 * 1300.0
    base = build.base.thick_m * build.base.kg_per_m3 * build.base.j_per_kgk if build.heats == "water" else 1.0

    def slopes(_, state):
        across = (state[0] - state[1]) / inside
        arrived = state[1] / film
        return [(1.0 - across) / rubber, (across - arrived) / base, 1.0 - arrived]

    run = solve_ivp(slopes, (0.0, 1500.0), [0.0, 0.0, 0.0], "BDF", rtol=1e-8, atol=1e-10)
    assert warmth.lag_s(build) == pytest.approx(run.y[2, -1], rel=0.01)


def test_plates_litres_are_the_heat_of_its_aluminium():
    """0.3 x 0.3 x 0.012 m³ x 2700 kg/m³ x 897 J/kg·K = 2616 J/K; water 4180 J/kg·K: 0.626 kg."""
    assert pytest.approx(0.626, abs=0.005) == PLATE.water_l
