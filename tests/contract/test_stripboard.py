"""The gate's strip-board: its copper, followed hole by hole, joins the gate's nets and no two of them."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

HARDWARE = Path(__file__).parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))

import draw_stripboard  # noqa: E402 - scripts beside the pages, not a package
import gate_circuit  # noqa: E402
import stripboard  # noqa: E402


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


def test_film_capacitors_fit_the_strips_that_they_are_placed_on(board):
    """Their legs are stiff: 5 mm is two strips of 2.54 mm. A body of 7.2 mm covers no other part's hole."""
    films = [part for part in board.parts if part.ref.startswith("C1")]
    assert len(films) == 4
    for part in films:
        (row, column), (other, same) = part.holes
        assert column == same
        assert abs(row - other) * draw_stripboard.PITCH_MM == pytest.approx(stripboard.FILM_LEGS_MM, abs=0.3)
        half = stripboard.FILM_THICK_MM / 2.0 / draw_stripboard.PITCH_MM
        near = [hole for each in board.parts if each.ref != part.ref for hole in each.holes
                if min(row, other) <= hole[0] <= max(row, other) and abs(hole[1] - column) < half]
        assert near == [], part.ref


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
