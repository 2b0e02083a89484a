"""Where a meter goes, as data: each point's net, where to touch it, and what it shows in three states of the box.
No point is a leg of a transistor: those lie 2.5 mm apart, and a tip that slips puts 24 V on the board.

Drawing, table and checks are made from it. Minus of the meter is on TP2, the heater is plugged in, and the board runs
`check_gate.py` (guard lamp lit, no heat) or `check_heat.py` (full heat).
"""

from __future__ import annotations

from typing import NamedTuple

import heartbeat_gate
from gate_circuit import BY_REF
from stripboard import ROWS
from tables import table

from bainwright.builds import electrical, rules
from bainwright.builds.parts import SUPPLY_V

RAIL_V = 3.3
SUPPLY = f"{SUPPLY_V * electrical.SUPPLY_LOW:g} to {SUPPLY_V * electrical.SUPPLY_TOP:g} V"
DARK, LIT, HEATS = "board off", "guard lamp lit", "full heat"


class MeterPoint(NamedTuple):
    """One point.

    Attributes
    ----------
    ref, net : str
        Its name in the drawing, and the net of the circuits' tables.
    place : str
        Where to touch it.
    shows : tuple of str
        In the states `DARK`, `LIT` and `HEATS`.
    """

    ref: str
    net: str
    place: str
    shows: tuple[str, str, str]


def gate_v(ohm_series: float, ohm_down: float, high_v: float = RAIL_V) -> float:
    """A gate behind its series resistor, V."""
    return high_v * ohm_down / (ohm_series + ohm_down)


def _q2_gate_v() -> float:
    return gate_v(BY_REF["R12b"].value, BY_REF["R12c"].value, RAIL_V - 0.2)  # two transistors of 0.1 V before it


def _strip(net: str) -> str:
    return f"gate's board, strip {ROWS.index((net,)) + 1}"


def _less(contacts: int) -> str:
    return f"as TP1, less {contacts * rules.CONTACT_V:g} V at most"


def points() -> tuple[MeterPoint, ...]:
    """Every point, in the order in which one looks for a fault."""
    gate = heartbeat_gate.Gate()
    fed = f"{gate.threshold_v:.1f} to {gate.steady_v():.1f} V, up each second"
    reference = f"{gate.threshold_v / 2.0:.2f} V"
    off = "under 0.1 V"
    unpowered = "under 1 V"  # the float's divider feeds the board's rail through its pin
    q1 = f"{gate_v(electrical.GATE_SERIES_OHM, electrical.GATE_PULL_OHM):.1f} V"
    q2 = f"{_q2_gate_v():.1f} V"
    return (
        MeterPoint("TP1", "24v", "X0's plus, in the box", (SUPPLY, SUPPLY, SUPPLY)),
        MeterPoint("TP2", "0", "R15's leg on 0 V", ("0 V", "0 V", "0 V")),
        MeterPoint("TP3", "24v_s", "the plug of the float, or its link", ("as TP1", "as TP1", _less(2))),
        MeterPoint("TP4", "guarded", "R13a's leg on K1's contact, with K2 on K2's",
                   ("floats", "as TP1", f"{_less(3)}, with K2 {4 * rules.CONTACT_V:g} V")),
        MeterPoint("TP5", "drain", "the screw of Q1's heat sink",
                   ("floats", "as TP1", "as Q1's line of the first table")),
        MeterPoint("TP6", "q1_gate", "R15's other leg", (off, off, q1)),
        MeterPoint("TP7", "gate", _strip("gate"), (off, q2, q2)),
        MeterPoint("TP8", "store", _strip("store"), (off, fed, fed)),
        MeterPoint("TP9", "ref_1", _strip("ref_1"), (unpowered, reference, reference)),
        MeterPoint("TP10", "ref_2", "IC2 pin 3", (unpowered, reference, reference)),
        MeterPoint("TP11", "vcc", "board pin 36", (unpowered, f"{RAIL_V:g} V", f"{RAIL_V:g} V")),
    )


def points_block() -> str:
    """The points as a table of the first power-up."""
    return table(("point", "touch", DARK, LIT, HEATS), [
        (point.ref, point.place, *point.shows) for point in points()
    ])
