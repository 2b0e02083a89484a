"""The heartbeat gate as data: each part once, with its value, its nets and what it is for.

Drawing, parts list and netlist are made from this table, so that none can disagree. `gate_faults.py` simulates each
single failure from it.

How it works: every edge of the heartbeat pin, rising or falling, fires one of two charge pumps into the net `store`.
Two resistor pairs drain it. Two comparators, each with its own reference, watch the middle of one pair. Each must pull
the base of its own transistor low to let the guard pin's level pass on to the relay's MOSFET. So a comparator that is
dead, unplugged or unsoldered passes nothing, and one that is stuck leaves the other one in charge.
"""

from __future__ import annotations

from typing import NamedTuple


class Part(NamedTuple):
    """One part of the gate.

    Attributes
    ----------
    ref : str
        Its name in drawing and parts list.
    kind : str
        ``R``, ``C``, ``D``, ``PNP``, ``NMOS``, ``COMPARATOR``, ``LINK`` or ``COIL``.
    value : float
        Ohm, farad or nothing (0).
    nets : tuple of str
        R, C, LINK, COIL: both ends. D: anode, cathode. PNP: collector, base, emitter. NMOS: drain, gate, source.
        COMPARATOR: in+, in-, output, supply, ground.
    label : str
        As the drawing and the parts list write it.
    why : str
        What it does.
    """

    ref: str
    kind: str
    value: float
    nets: tuple[str, ...]
    label: str
    why: str


PARTS = (
    Part("J1", "LINK", 0.0, ("heartbeat", "beat"), "J1", "test link; pulled, the edges stop"),
    Part("R1a", "R", 1e3, ("beat", "a"), "1k", "limits the pump's current"),
    Part("C1a", "C", 4.7e-6, ("a", "a_mid"), "C1a  4.7 µF film 5 %", "pump for rising edges; two in series, so that a "
         "short of one still blocks a pin that is stuck"),
    Part("C1b", "C", 4.7e-6, ("a_mid", "a_top"), "C1b  4.7 µF film 5 %", "the other one"),
    Part("D1", "D", 0.0, ("0", "a_top"), "D1", "resets the pump at a falling edge"),
    Part("D2", "D", 0.0, ("a_top", "store"), "D2", "passes its charge on"),
    Part("R2a", "R", 100e3, ("beat", "half"), "100k", "halves the pin's level"),
    Part("R2b", "R", 100e3, ("half", "0"), "100k", "halves the pin's level"),
    Part("IC1A", "COMPARATOR", 0.0, ("ref_1", "half", "b", "vcc", "0"), "IC1A", "inverts the heartbeat"),
    Part("R3", "R", 4.7e3, ("vcc", "b"), "4.7k", "pulls the inverse up"),
    Part("R4", "R", 1e3, ("b", "b_in"), "1k", "limits the pump's current"),
    Part("C1c", "C", 4.7e-6, ("b_in", "b_mid"), "C1c  4.7 µF film 5 %", "pump for falling edges"),
    Part("C1d", "C", 4.7e-6, ("b_mid", "b_top"), "C1d  4.7 µF film 5 %", "the other one"),
    Part("D3", "D", 0.0, ("0", "b_top"), "D3", "resets the pump at a rising edge"),
    Part("D4", "D", 0.0, ("b_top", "store"), "D4", "passes its charge on"),
    Part("C2", "C", 100e-9, ("store", "0"), "C2  100n", "store"),
    Part("R5a", "R", 620e3, ("store", "m_1"), "620k 1 %", "drain and divider of channel 1"),
    Part("R5b", "R", 620e3, ("m_1", "0"), "620k 1 %", "drain and divider of channel 1"),
    Part("R6a", "R", 620e3, ("store", "m_2"), "620k 1 %", "drain and divider of channel 2"),
    Part("R6b", "R", 620e3, ("m_2", "0"), "620k 1 %", "drain and divider of channel 2"),
    Part("R7a", "R", 56e3, ("vcc", "ref_1"), "56k 1 %", "reference of channel 1"),
    Part("R7b", "R", 10e3, ("ref_1", "0"), "10k 1 %", "reference of channel 1"),
    Part("R8a", "R", 56e3, ("vcc", "ref_2"), "56k 1 %", "reference of channel 2"),
    Part("R8b", "R", 10e3, ("ref_2", "0"), "10k 1 %", "reference of channel 2"),
    Part("IC1B", "COMPARATOR", 0.0, ("ref_1", "m_1", "out_1", "vcc", "0"), "IC1B", "channel 1: pulls low while fed"),
    Part("IC2A", "COMPARATOR", 0.0, ("ref_2", "m_2", "out_2", "vcc", "0"), "IC2A", "channel 2: pulls low while fed"),
    Part("R9", "R", 4.7e3, ("guard", "0"), "4.7k", "pulls the guard pin down while the board is in reset"),
    Part("R10a", "R", 22e3, ("q4_base", "out_1"), "22k", "base current of Q4"),
    Part("R10b", "R", 100e3, ("guard", "q4_base"), "100k", "turns Q4 off"),
    Part("Q4", "PNP", 0.0, ("between", "q4_base", "guard"), "Q4  2N3906", "passes the guard pin's level by channel 1"),
    Part("R11a", "R", 22e3, ("q5_base", "out_2"), "22k", "base current of Q5"),
    Part("R11b", "R", 100e3, ("between", "q5_base"), "100k", "turns Q5 off"),
    Part("Q5", "PNP", 0.0, ("drive", "q5_base", "between"), "Q5  2N3906", "passes it on by channel 2"),
    Part("R12a", "R", 100e3, ("drive", "0"), "100k", "pulls the gate down"),
    Part("R12b", "R", 1e3, ("drive", "gate"), "1k", "gate stopper"),
    Part("R12c", "R", 100e3, ("gate", "0"), "100k", "pulls the gate down, too: one open joint is not to leave it"),
    Part("Q2", "NMOS", 0.0, ("coil", "gate", "0"), "Q2  as Q1", "switches the coil"),
    Part("D5", "D", 0.0, ("coil", "24v"), "D5", "takes the coil's current"),
    Part("K1", "COIL", 1.4e3, ("24v", "coil"), "K1 coil\n24 V\n≥ 1.4k", "guard relay"),
)
# On the same board, and without effect on the simulation.
BESIDE = (
    Part("IC2B", "COMPARATOR", 0.0, ("0", "0", "", "vcc", "0"), "IC2B",
         "not used: its inputs are held, its output is free"),
    Part("C3", "C", 100e-9, ("vcc", "0"), "C3  100n", "across the supply of IC1"),
    Part("C4", "C", 100e-9, ("vcc", "0"), "C4  100n", "across the supply of IC2"),
)
BY_REF = {part.ref: part for part in PARTS}
PACKAGES = {"IC1": ("IC1A", "IC1B"), "IC2": ("IC2A",)}  # what shares one dual comparator
