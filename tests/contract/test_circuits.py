"""The circuits as data: every net driven once, every input defined in reset, and what each single failure does."""

import shutil
import sys
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import pytest

from bainwright.builds.catalogue import BUILDS, BY_NAME, PLATE, POT

HARDWARE = Path(__file__).parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))

import draw_stripboard  # noqa: E402 - scripts beside the pages, not a package
import gate_circuit  # noqa: E402
import power_circuit  # noqa: E402
import power_faults  # noqa: E402
import stripboard  # noqa: E402

each_build = pytest.mark.parametrize("build", BUILDS, ids=list(BY_NAME))
needs_ngspice = pytest.mark.skipif(not shutil.which("ngspice"), reason="ngspice is a Debian package; CI installs it")
BOARD_PINS = {"heartbeat", "guard", "pin"}  # nets that a pin of the board drives
RAILS = {"0", "vcc", "24v"}


def circuit(build):
    """Every part of both circuits as (ref, kind, nets)."""
    return [(part.ref, part.kind, part.nets) for part in (*gate_circuit.PARTS, *power_circuit.parts(build))]


def drivers(parts):
    """Nets with those that drive them: comparators' outputs, the board's pins, the rails."""
    found = defaultdict(list)
    for ref, kind, nets in parts:
        if kind == "COMPARATOR":
            found[nets[2]].append(ref)
    for net in BOARD_PINS | RAILS:
        found[net].append("board or supply")
    return found


def inputs(parts):
    """What must never float: comparators' inputs and gates of MOSFETs."""
    for ref, kind, nets in parts:
        if kind == "COMPARATOR":
            yield from ((f"{ref} in+", nets[0]), (f"{ref} in-", nets[1]))
        elif kind == "NMOS":
            yield f"{ref} gate", nets[1]


def reached(parts, start):
    """Nets that resistors and links join to one: what defines it while every pin of the board floats."""
    seen, todo = {start}, [start]
    while todo:
        net = todo.pop()
        for _, kind, nets in parts:
            if kind in ("R", "LINK") and net in nets:
                new = set(nets) - seen
                seen |= new
                todo += new - RAILS
    return seen


@each_build
def test_no_net_has_two_drivers_and_none_ends_in_the_air(build):
    parts = circuit(build)
    assert {net: refs for net, refs in drivers(parts).items() if len(refs) > 1} == {}
    pins = defaultdict(int)
    for _, _, nets in parts:
        for net in nets:
            pins[net] += 1
    assert {net for net, count in pins.items() if count < 2} <= BOARD_PINS


@each_build
def test_every_input_is_held_by_a_resistor_while_the_board_is_in_reset(build):
    parts = circuit(build)
    for name, net in inputs(parts):
        assert reached(parts, net) & RAILS, name


def test_the_rule_sees_a_gate_without_its_pull_down():
    parts = [part for part in circuit(POT) if part[0] != "R15"]
    assert not reached(parts, dict(inputs(parts))["Q1 gate"]) & RAILS


@each_build
def test_every_ref_of_the_power_stage_is_in_the_drawing_and_changes_with_its_rating(build):
    drawn = (HARDWARE / f"{build.name}-wiring.svg").read_text(encoding="utf-8")
    for part in power_circuit.parts(build):
        assert part.ref in drawn
    labels = {part.label for part in power_circuit.parts(build)}
    assert {part.label for part in power_circuit.parts(replace(build, fuse_a=build.fuse_a + 5.0))} != labels


@each_build
def test_no_single_failure_heats_a_board_that_is_off(build):
    rows = [row for row in power_faults.read() if row["build"] == build.name]
    assert {(row["part"], row["fault"]) for row in rows} == {
        ("-", "nothing"), *((fault.ref, fault.how) for fault in power_faults.faults(build))}
    for row in rows:
        assert float(row["off_w"]) < power_faults.WARM_SHARE * build.heater_w, row
        assert float(row["heats_w"]) < 2.05 * build.heater_w, row


@each_build
def test_only_a_welded_guard_and_a_conducting_switch_pass_heat_that_one_of_the_two_should_stop(build):
    """By hand: the two are in series, so the part that failed is the one whose own column shows heat."""
    rows = [row for row in power_faults.read() if row["build"] == build.name]
    tripped = {row["part"] for row in rows if float(row["tripped_w"]) > 1.0}
    idle = {(row["part"], row["fault"]) for row in rows if float(row["idle_w"]) > 1.0}
    assert tripped == {"K1"}
    assert idle == {("Q1", "drain to source shorted"), ("Q1", "gate joint open"), ("Q1", "drain to gate shorted"),
                    ("lead back to Q1", "chafed to 0 V")}


def test_half_a_plate_still_heats_when_one_mat_s_guard_has_opened():
    """24² / 5.76 = 100 W for one mat, less the drops in its leads."""
    rows = {(row["part"], row["fault"]): row for row in power_faults.read() if row["build"] == "plate"}
    for part in ("F2a", "TCO1b", "TF1a", "RHb"):
        assert float(rows[part, "open"]["heats_w"]) == pytest.approx(98.0, abs=3.0)


@needs_ngspice
@pytest.mark.parametrize(("build", "ref", "how"), [
    (POT, "-", "nothing"), (POT, "Q1", "drain to source shorted"), (POT, "K1", "shorted"), (PLATE, "RHa", "open"),
    (BY_NAME["mat"], "Q1", "gate joint open"), (BY_NAME["mat"], "lead to RH", "chafed to 0 V"),
])  # fmt: skip
def test_stored_heat_is_what_the_simulation_gives_now(build, ref, how):
    """Oracle: ngspice, on the netlist made from the build's table."""
    row = next(row for row in power_faults.read()
               if (row["build"], row["part"], row["fault"]) == (build.name, ref, how))
    found = power_faults.worst(build, ref, how)
    for state, watts in zip(power_faults.STATES, found.watts, strict=True):
        assert abs(watts) == pytest.approx(float(row[f"{state}_w"]), abs=0.1)


# -- the strip-board -------------------------------------------------------------------------------------------------


def copper(board):
    """Groups of holes that strips and links join, found hole by hole."""
    group = {hole: number for number, piece in enumerate(board.strips()) for hole in piece}
    for one, other in board.links:
        kept, gone = group[one], group[other]
        group = {hole: kept if number == gone else number for hole, number in group.items()}
    return group


def wiring_faults(board):
    """Pins whose copper is not their net's alone: a net in two groups, or a group with two nets."""
    group, pairs = copper(board), set()
    for part in board.parts:
        pairs |= {(net or f"{part.ref}, not connected", group[hole])
                  for net, hole in zip(part.nets, part.holes, strict=True)}
    pairs |= {(net, group[hole]) for net, hole in board.terminals.items()}
    nets, groups = [net for net, _ in pairs], [number for _, number in pairs]
    return {net for net in nets if nets.count(net) > 1} | {net for net, number in pairs if groups.count(number) > 1}


@pytest.fixture(scope="module")
def board():
    return stripboard.strip_board()


def test_strip_board_joins_the_gate_s_nets_and_no_two_of_them(board):
    """Oracle: the gate's table, and copper followed hole by hole."""
    assert wiring_faults(board) == set()


def test_strip_board_has_every_part_of_the_gate_but_the_relay_and_each_pin_its_own_hole(board):
    refs = {part.ref for part in board.parts}
    listed = {part.ref for part in (*gate_circuit.PARTS, *gate_circuit.BESIDE)}
    assert refs == {ref for ref in listed if not ref.startswith("IC") and ref != "K1"} | {"IC1", "IC2"}
    for part in board.parts:
        if part.ref.startswith("IC"):
            continue
        assert part.nets == next(each.nets for each in (*gate_circuit.PARTS, *gate_circuit.BESIDE)
                                 if each.ref == part.ref)
    holes = [hole for part in board.parts for hole in part.holes]
    holes += [hole for link in board.links for hole in link] + list(board.terminals.values())
    assert len(holes) == len(set(holes))
    assert not set(holes) & set(board.cuts)


def test_comparators_sit_on_the_strips_as_their_data_sheet_numbers_the_pins(board):
    """TLC393, from memory: 1 OUT, 2 IN-, 3 IN+, 4 GND, 5 IN+, 6 IN-, 7 OUT, 8 supply."""
    nets = {part.ref: part.nets for part in board.parts if part.ref.startswith("IC")}
    assert nets == {"IC1": ("b", "half", "ref_1", "0", "ref_1", "m_1", "out_1", "vcc"),
                    "IC2": ("out_2", "m_2", "ref_2", "0", "0", "0", "", "vcc")}


def test_a_cut_or_a_link_that_is_missing_is_seen(board):
    at_hole = {hole: net for part in board.parts for hole, net in zip(part.holes, part.nets, strict=True)}
    for at, (row, column) in enumerate(board.cuts):
        needed = at_hole[row, column - 1] != at_hole[row, column + 2]  # 0 V on both sides of IC2's last row
        assert bool(wiring_faults(replace(board, cuts=board.cuts[:at] + board.cuts[at + 1 :]))) == needed
    for at in range(len(board.links)):
        assert wiring_faults(replace(board, links=board.links[:at] + board.links[at + 1 :]))


def test_drawing_of_the_strip_board_is_what_the_script_draws_now_and_lies_on_the_page():
    stored = draw_stripboard.SHEET.read_text(encoding="utf-8")
    assert stored == draw_stripboard.draw(), "run python hardware/draw_stripboard.py"
    right_mm = draw_stripboard.LEFT_MM + stripboard.COLUMNS * draw_stripboard.PITCH_MM * draw_stripboard.SCALE
    assert right_mm < 205.0
