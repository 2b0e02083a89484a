"""How long the heartbeat gate holds the guard relay: its charge pumps, worked out over every corner of its parts.

Run it to print the figures. The circuit is the table in `gate_circuit.py`, and in each build's drawing. The heartbeat
pin and its inverse each drive film capacitors into a two-diode pump, so that *every* edge brings one charge. Two
comparators each watch what is left of it across a resistor pair of their own. A pump fed by rising edges alone would
not be enough: these come two seconds apart, and the relay must open within two seconds of the last edge.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import exp, inf, log

from gate_circuit import BY_REF

EDGE_S = 1.0  # one edge of the heartbeat pin per healthy pass of the firmware's loop
LIMIT_S = 2.0  # the relay must be open by then
LATE_EDGE_S = 1.2  # what the gate must ride through: a pass with a flash write in it (chosen)
RELAY_RELEASE_S = 0.02  # with a plain diode across the coil; without one 5-10 ms (data sheets, from memory)


@dataclass(frozen=True)
class Gate:
    """Values that decide the gate's timing.

    Attributes
    ----------
    pump_f, store_f : float
        Capacitance of one pump's two capacitors in series, and of the store, F.
    upper_ohm, lower_ohm : float
        One of the two resistor pairs that drain the charge; its comparator watches the middle.
    rail_v : float
        The board's 3.3 V.
    reset_diode_v, feed_diode_v : float
        Drop of a pump's two diodes at the end of its reset (under 1 µA) and while it feeds the pair (2-5 µA), V.
    reference_v_per_v : float
        Threshold as a share of the rail, by the reference's two resistors.
    offset_v : float
        The comparator's own error, V.
    leak_a : float
        What diodes and a damp circuit board take from the charge, A.
    pump_leak_ohm : float
        Insulation of a pump's capacitor, ohm: the one path by which a pin that stands high still feeds the pair.
    """

    pump_f: float = BY_REF["C1a"].value / 2
    store_f: float = BY_REF["C2"].value
    upper_ohm: float = BY_REF["R5a"].value
    lower_ohm: float = BY_REF["R5b"].value
    rail_v: float = 3.3
    reset_diode_v: float = 0.20
    feed_diode_v: float = 0.32
    reference_v_per_v: float = BY_REF["R7b"].value / (BY_REF["R7a"].value + BY_REF["R7b"].value)
    offset_v: float = 0.0
    leak_a: float = 20e-9
    pump_leak_ohm: float = inf

    @property
    def drain_ohm(self) -> float:
        """Both pairs, side by side."""
        return (self.upper_ohm + self.lower_ohm) / 2

    @property
    def full_v(self) -> float:
        """Charge of a pump that was reset whole: the most the pair can get."""
        return self.rail_v - self.reset_diode_v - self.feed_diode_v

    @property
    def threshold_v(self) -> float:
        """Voltage of the store at which the comparator lets go."""
        share = self.lower_ohm / (self.upper_ohm + self.lower_ohm)
        return (self.reference_v_per_v * self.rail_v + self.offset_v) / share

    @property
    def tau_s(self) -> float:
        """Time constant between edges: the pump that fed last stays joined to the pair through its diode."""
        return self.drain_ohm * (self.pump_f + self.store_f)

    @property
    def rest_v(self) -> float:
        """Where the charge ends with no edges: leaks pull it down, a leaking pump capacitor on a high pin lifts it."""
        lifted_v = self.rail_v * self.drain_ohm / (self.drain_ohm + self.pump_leak_ohm)
        return lifted_v - self.leak_a * self.drain_ohm

    def after_s(self, start_v: float, time_s: float) -> float:
        """Voltage across the pair some time after an edge left it at `start_v`."""
        return self.rest_v + (start_v - self.rest_v) * exp(-time_s / self.tau_s)

    def edge(self, before_v: float) -> float:
        """Voltage across the pair after an edge: one whole pump shares its charge with what is left."""
        shared_v = (self.pump_f * self.full_v + self.store_f * before_v) / (self.pump_f + self.store_f)
        return max(before_v, shared_v)

    def steady_v(self, edge_s: float = EDGE_S) -> float:
        """Voltage just after an edge, once edges have come at this pace for long."""
        high_v = 0.0
        for _ in range(50):
            high_v = self.edge(self.after_s(high_v, edge_s))
        return high_v

    def drops_after_s(self, start_v: float) -> float:
        """Time from the last edge until the comparator lets go: infinite where it never does."""
        if self.rest_v >= self.threshold_v:
            return inf
        return self.tau_s * log((start_v - self.rest_v) / (self.threshold_v - self.rest_v))


# Low and high of each part: data sheets from memory, for a box at 0 to 50 °C.
SPREAD = {
    "pump_f": (Gate.pump_f * 0.93, Gate.pump_f * 1.07),  # polyester film, 5 % and its temperature
    "store_f": (Gate.store_f * 0.8, Gate.store_f * 1.2),
    "upper_ohm": (Gate.upper_ohm * 0.99, Gate.upper_ohm * 1.01),
    "lower_ohm": (Gate.lower_ohm * 0.99, Gate.lower_ohm * 1.01),
    "rail_v": (3.2, 3.4),
    "reference_v_per_v": (Gate.reference_v_per_v * 0.983, Gate.reference_v_per_v * 1.017),  # two 1 % resistors
    "offset_v": (-0.009, 0.009),  # CMOS comparator TLC393 over its temperature range
    "pump_leak_ohm": (100e6, inf),  # a film capacitor is a hundred times better
}
# Small silicon signal diodes, 1N4148. Warmth lowers the drop and raises the leak of the same part: they go together.
DIODES = (
    {"reset_diode_v": 0.30, "feed_diode_v": 0.42, "leak_a": 10e-9},  # 0 °C
    {"reset_diode_v": 0.08, "feed_diode_v": 0.22, "leak_a": 150e-9},  # 50 °C, a damp circuit board with it
)


def corners() -> Iterator[Gate]:
    """Every combination of lows and highs."""
    for values in product(*SPREAD.values()):
        part = dict(zip(SPREAD, values, strict=True))
        for diodes in DIODES:
            yield Gate(**part, **diodes)


@dataclass(frozen=True)
class Timing:
    """The gate's times over every corner.

    Attributes
    ----------
    nominal_s : float
        From the last edge to the comparator, all parts as marked.
    shortest_s : float
        The longest gap between edges that every corner still rides through.
    longest_s : float
        The slowest corner, and from the fullest charge that any pace of edges can give.
    stuck_v_of_threshold : float
        Where a pin that stands still leaves the pair, as a share of the threshold; under 1 opens the guard.
    """

    nominal_s: float
    shortest_s: float
    longest_s: float
    stuck_v_of_threshold: float


def timing() -> Timing:
    """Work the gate out over every corner."""
    gates = list(corners())
    nominal = Gate()
    return Timing(
        nominal_s=nominal.drops_after_s(nominal.steady_v()),
        shortest_s=min(gate.drops_after_s(gate.steady_v(LATE_EDGE_S)) for gate in gates),
        longest_s=max(gate.drops_after_s(gate.full_v) for gate in gates),
        stuck_v_of_threshold=max(gate.rest_v / gate.threshold_v for gate in gates),
    )


def leak_that_defeats_ohm(gate: Gate) -> float:
    """Insulation of a pump capacitor below which a pin stuck high would hold the guard closed."""
    return gate.drain_ohm * (gate.rail_v / gate.threshold_v - 1.0)


def main() -> None:
    """Print the figures."""
    times = timing()
    print(f"drops after the last edge: {times.nominal_s:.2f} s nominal")
    print(f"every corner rides through gaps up to {times.shortest_s:.2f} s (wanted {LATE_EDGE_S} s)")
    print(f"every corner has dropped after {times.longest_s:.2f} s, relay open {RELAY_RELEASE_S} s later")
    print(f"a pin that stands still leaves at most {100 * times.stuck_v_of_threshold:.1f} % of the threshold")
    print(f"a pump capacitor leaking under {leak_that_defeats_ohm(Gate()) / 1e6:.1f} Mohm would defeat that")


if __name__ == "__main__":
    main()
