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

from bainwright.builds.electrical import COIL_OHM


class Part(NamedTuple):
    """One part of the gate.

    Attributes
    ----------
    ref : str
        Its name in drawing and parts list.
    kind : str
        ``R``, ``C``, ``D``, ``PNP``, ``NPN``, ``NMOS``, ``COMPARATOR``, ``LINK`` or ``COIL``; in the box ``BUTTON``,
        ``LED``, ``BUZZER``, ``PROBE``, ``DISPLAY`` and ``SWITCH`` too.
    value : float
        Ohm, farad or nothing (0).
    nets : tuple of str
        R, C, LINK, COIL: both ends. D, LED: anode, cathode. PNP, NPN: collector, base, emitter. NMOS: drain, gate,
        source. COMPARATOR: in+, in-, output, supply, ground.
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


def ohm_text(ohm: float) -> str:
    """A resistance as parts lists write it: ``330 Ω``, ``4.7k``, ``620k``."""
    return f"{ohm:g} Ω" if ohm < 1e3 else f"{ohm / 1e3:g}k"


def resistor(ref: str, ohm: float, nets: tuple[str, str], why: str, close: bool = False) -> Part:
    """A resistor; `close` for one of 1 %. Its label is made from its value."""
    return Part(ref, "R", ohm, nets, ohm_text(ohm) + (" 1 %" if close else ""), why)


def film(ref: str, farad: float, nets: tuple[str, str], why: str) -> Part:
    """A film capacitor of 5 %."""
    return Part(ref, "C", farad, nets, f"{ref}  {farad * 1e6:g} µF film 5 %", why)


def ceramic(ref: str, farad: float, nets: tuple[str, str], why: str) -> Part:
    """A small ceramic capacitor."""
    return Part(ref, "C", farad, nets, f"{ref}  {farad * 1e9:g}n", why)


PARTS = (
    Part("J1", "LINK", 0.0, ("heartbeat", "beat"), "J1", "heartbeat jumper; pulled, the edges stop"),
    resistor("R1a", 1e3, ("beat", "a"), "limits the pump's current"),
    film("C1a", 4.7e-6, ("a", "a_mid"), "pump for rising edges; two in series, so that a "
         "short of one still blocks a pin that is stuck"),
    film("C1b", 4.7e-6, ("a_mid", "a_top"), "the other one"),
    Part("D1", "D", 0.0, ("0", "a_top"), "D1", "resets the pump at a falling edge"),
    Part("D2", "D", 0.0, ("a_top", "store"), "D2", "passes its charge on"),
    resistor("R2a", 100e3, ("beat", "half"), "halves the pin's level"),
    resistor("R2b", 100e3, ("half", "0"), "halves the pin's level"),
    Part("IC1A", "COMPARATOR", 0.0, ("ref_1", "half", "b", "vcc", "0"), "IC1A", "inverts the heartbeat"),
    resistor("R3", 4.7e3, ("vcc", "b"), "pulls the inverse up"),
    resistor("R4", 1e3, ("b", "b_in"), "limits the pump's current"),
    film("C1c", 4.7e-6, ("b_in", "b_mid"), "pump for falling edges"),
    film("C1d", 4.7e-6, ("b_mid", "b_top"), "the other one"),
    Part("D3", "D", 0.0, ("0", "b_top"), "D3", "resets the pump at a rising edge"),
    Part("D4", "D", 0.0, ("b_top", "store"), "D4", "passes its charge on"),
    ceramic("C2", 100e-9, ("store", "0"), "store"),
    resistor("R5a", 620e3, ("store", "m_1"), "drain and divider of channel 1", close=True),
    resistor("R5b", 620e3, ("m_1", "0"), "drain and divider of channel 1", close=True),
    resistor("R6a", 620e3, ("store", "m_2"), "drain and divider of channel 2", close=True),
    resistor("R6b", 620e3, ("m_2", "0"), "drain and divider of channel 2", close=True),
    resistor("R7a", 56e3, ("vcc", "ref_1"), "reference of channel 1", close=True),
    resistor("R7b", 10e3, ("ref_1", "0"), "reference of channel 1", close=True),
    resistor("R8a", 56e3, ("vcc", "ref_2"), "reference of channel 2", close=True),
    resistor("R8b", 10e3, ("ref_2", "0"), "reference of channel 2", close=True),
    Part("IC1B", "COMPARATOR", 0.0, ("ref_1", "m_1", "out_1", "vcc", "0"), "IC1B", "channel 1: pulls low while fed"),
    Part("IC2A", "COMPARATOR", 0.0, ("ref_2", "m_2", "out_2", "vcc", "0"), "IC2A", "channel 2: pulls low while fed"),
    resistor("R9", 4.7e3, ("guard", "0"), "pulls the guard pin down while the board is in reset"),
    resistor("R10a", 22e3, ("q4_base", "out_1"), "base current of Q4"),
    resistor("R10b", 100e3, ("guard", "q4_base"), "turns Q4 off"),
    Part("Q4", "PNP", 0.0, ("between", "q4_base", "guard"), "Q4  2N3906", "passes the guard pin's level by channel 1"),
    resistor("R11a", 22e3, ("q5_base", "out_2"), "base current of Q5"),
    resistor("R11b", 100e3, ("between", "q5_base"), "turns Q5 off"),
    Part("Q5", "PNP", 0.0, ("drive", "q5_base", "between"), "Q5  2N3906", "passes it on by channel 2"),
    resistor("R12a", 100e3, ("drive", "0"), "pulls the gate down"),
    resistor("R12b", 1e3, ("drive", "gate"), "gate stopper"),
    resistor("R12c", 100e3, ("gate", "0"), "pulls the gate down, too: one open joint is not to leave it"),
    Part("Q2", "NMOS", 0.0, ("coil", "gate", "0"), "Q2  as Q1", "switches the coil"),
    Part("D5", "D", 0.0, ("coil", "24v_k"), "D5", "takes the coil's current"),
    Part("K1", "COIL", COIL_OHM, ("24v_k", "coil"), f"K1 coil\n24 V\n≥ {ohm_text(COIL_OHM)}", "guard relay"),
)
# On the same board, and without effect on the simulation.
BESIDE = (
    Part("IC2B", "COMPARATOR", 0.0, ("0", "0", "", "vcc", "0"), "IC2B",
         "not used: its inputs are held, its output is free"),
    ceramic("C3", 100e-9, ("vcc", "0"), "across the supply of IC1"),
    ceramic("C4", 100e-9, ("vcc", "0"), "across the supply of IC2"),
)
BY_REF = {part.ref: part for part in PARTS}
PACKAGES = {"IC1": ("IC1A", "IC1B"), "IC2": ("IC2A",)}  # what shares one dual comparator
