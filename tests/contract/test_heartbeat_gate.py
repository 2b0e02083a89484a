"""The guard's heartbeat gate holds and drops in time, and each broken part of it does what its page says."""

import ast
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from drawn import drawn_words
from scipy.integrate import solve_ivp

from bainwright.builds.catalogue import BUILDS

ROOT = Path(__file__).parents[2]
HARDWARE = ROOT / "hardware"
sys.path.insert(0, str(HARDWARE))

import draw_wiring  # noqa: E402
import gate_circuit  # noqa: E402
import gate_faults  # noqa: E402
import heartbeat_gate  # noqa: E402


def test_gate_rides_through_a_late_edge_in_every_corner_of_its_parts() -> None:
    assert heartbeat_gate.timing().shortest_s >= heartbeat_gate.LATE_EDGE_S


def test_gate_has_dropped_within_two_seconds_of_the_last_edge_in_every_corner() -> None:
    assert heartbeat_gate.timing().longest_s + heartbeat_gate.RELAY_RELEASE_S < 2.0


def test_pin_stuck_high_or_low_never_holds_the_gate() -> None:
    assert heartbeat_gate.timing().stuck_v_of_threshold < 0.5


def test_gate_stays_held_for_an_hour_of_edges_in_its_worst_corner() -> None:
    worst = min(heartbeat_gate.corners(), key=lambda gate: gate.drops_after_s(gate.steady_v()))
    volts = worst.edge(0.0)
    for _ in range(3600):
        volts = worst.after_s(volts, heartbeat_gate.EDGE_S)
        assert volts > worst.threshold_v
        volts = worst.edge(volts)


def test_leaking_pump_capacitor_is_where_the_page_says_it_defeats_the_gate() -> None:
    limit_ohm = heartbeat_gate.leak_that_defeats_ohm(heartbeat_gate.Gate(leak_a=0.0))
    just_tight = heartbeat_gate.Gate(leak_a=0.0, pump_leak_ohm=1.01 * limit_ohm)
    just_leaky = heartbeat_gate.Gate(leak_a=0.0, pump_leak_ohm=0.99 * limit_ohm)
    assert np.isfinite(just_tight.drops_after_s(just_tight.full_v))
    assert np.isinf(just_leaky.drops_after_s(just_leaky.full_v))


def test_gate_is_worked_out_for_the_pace_the_firmware_beats_at() -> None:
    app = ast.parse((ROOT / "firmware/bainboard/app.py").read_text(encoding="utf-8"))
    ticks = [node.value.value for node in app.body
             if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "TICK_MS"]
    assert ticks == [1000 * heartbeat_gate.EDGE_S]


def drops_after_s(edges: int, thermal_v: float, saturation_a: float) -> float:
    """Time from the last edge until the whole circuit lets go, by its differential equations.

    Shockley diodes (1N4148: n 1.752, from memory), series resistors, 1 nF of wiring at each pump's node; solved by
    SciPy. Oracle for the closed form, which takes the diodes for fixed drops.
    """
    gate = heartbeat_gate.Gate()

    def diode_a(volts: float) -> float:
        return saturation_a * float(np.expm1(min(volts / (1.752 * thermal_v), 40.0)))

    def slopes(_: float, state: np.ndarray, drive_v: tuple[float, float]) -> list[float]:
        *pumps, pair_v = state
        total_a, out = -pair_v / gate.drain_ohm, []
        for drive, held, node in zip(drive_v, pumps[::2], pumps[1::2], strict=True):
            in_a = (drive - held - node) / 1000.0
            fed_a = diode_a(node - pair_v)
            out += [in_a / gate.pump_f, (in_a + diode_a(-node) - fed_a) / 1e-9]
            total_a += fed_a
        return [*out, total_a / gate.store_f]

    def let_go(_: float, state: np.ndarray, drive_v: tuple[float, float]) -> float:
        return float(state[-1] - gate.threshold_v)

    let_go.terminal = True  # type: ignore[attr-defined]
    state = np.zeros(5)
    for edge in range(edges):
        high = edge % 2 == 0
        drive_v = (3.3, 0.0) if high else (0.0, 3.3)
        last = edge == edges - 1
        state[-1] = max(state[-1], 1e-9)
        run = solve_ivp(slopes, (0.0, 1.0), state, "BDF", args=(drive_v,), rtol=1e-5, atol=1e-7)
        state = run.y[:, -1]
        if last:
            rest = solve_ivp(slopes, (1.0, 5.0), state, "BDF", args=(drive_v,), rtol=1e-5, atol=1e-7, events=let_go)
            return float(rest.t[-1])
    raise AssertionError("no edges")


@pytest.mark.parametrize("edges", [6, 7])
def test_gate_sum_agrees_with_the_circuits_differential_equations(edges: int) -> None:
    gate = heartbeat_gate.Gate()
    by_sum_s = gate.drops_after_s(gate.steady_v())
    assert drops_after_s(edges, thermal_v=0.0257, saturation_a=2.52e-9) == pytest.approx(by_sum_s, rel=0.05)


# What a part's pins are: an output drives its net, an input only reads it.
INPUTS = {"NMOS": (1,), "PNP": (1,), "COMPARATOR": (0, 1)}
RAILS = {"0", "vcc", "24v"}


def undefined_inputs(parts: tuple[gate_circuit.Part, ...]) -> set[str]:
    """Input nets that no chain of resistors ties to a rail while every pin of the board floats. A bipolar transistor is
    off, too, with a resistor from its base to its own emitter.
    """
    tied = set(RAILS)
    resistors = [set(part.nets) for part in parts if part.kind in ("R", "LINK")]
    while grown := {net for pair in resistors if pair & tied for net in pair} - tied:
        tied |= grown
    shunted = {part.nets[1] for part in parts if part.kind == "PNP" and {part.nets[1], part.nets[2]} in resistors}
    return {part.nets[pin] for part in parts for pin in INPUTS.get(part.kind, ())} - tied - shunted


def test_every_input_of_the_gate_has_a_level_while_the_board_is_in_reset() -> None:
    assert undefined_inputs(gate_circuit.PARTS) == set()
    for refs, net in ((("R12a", "R12c"), "gate"), (("R11b",), "q5_base"), (("R8a", "R8b"), "ref_2")):
        without = tuple(part for part in gate_circuit.PARTS if part.ref not in refs)
        assert undefined_inputs(without) == {net}


def test_every_net_of_the_gate_joins_two_pins_and_has_one_comparator_at_most() -> None:
    joined = [net for part in gate_circuit.PARTS for net in part.nets]
    assert {net for net in joined if joined.count(net) < 2} <= {"heartbeat"}  # the board's own pin is its other end
    driven = [part.nets[2] for part in gate_circuit.PARTS if part.kind == "COMPARATOR"]
    assert len(driven) == len(set(driven))
    assert not set(driven) & RAILS


# The relay's own transistor: shorted it is a relay that is always closed, which the self-test looks for.
LEFT_CLOSED = {("Q2", "gate joint open"), ("Q2", "drain to source shorted"), ("Q2", "drain to gate shorted")}
SLOW = {(f"C1{letter}", "shorted") for letter in "abcd"} | {("R5b", "open"), ("R6b", "open")}
SIMULATED = {(row["part"], row["fault"]): row for row in gate_faults.read()}


def test_each_part_of_the_gate_is_drawn() -> None:
    for build in BUILDS:
        squeezed = "".join(drawn_words(draw_wiring.sheet_path(build)).split())
        for part in gate_circuit.PARTS:
            assert "".join(part.label.split()) in squeezed, part.ref


def test_each_single_failure_of_the_gate_has_a_stored_result_and_nothing_else_has() -> None:
    assert set(SIMULATED) == {("-", "nothing"), *((fault.ref, fault.how) for fault in gate_faults.faults())}


def test_sound_gate_holds_the_relay_and_opens_it_within_two_seconds() -> None:
    row = SIMULATED["-", "nothing"]
    assert float(row["closed"]) == 1.0
    assert 0.0 < float(row["opens_s"]) < 2.0


def test_every_broken_part_opens_the_relay_but_those_the_page_names() -> None:
    closed = {key for key, row in SIMULATED.items() if row["opens_s"] == "inf"}
    late = {key for key, row in SIMULATED.items() if 2.05 < float(row["opens_s"]) < np.inf}
    assert closed == LEFT_CLOSED
    assert late == SLOW
    assert all(float(SIMULATED[key]["opens_s"]) < 3.3 for key in late)  # and the watchdog's 4 s come after it


@pytest.mark.parametrize("package", ["IC1", "IC2"])
@pytest.mark.parametrize("how", ["out of its socket", "unpowered"])
def test_comparators_without_power_or_socket_open_the_relay(package: str, how: str) -> None:
    row = SIMULATED[package, how]
    assert (float(row["closed"]), float(row["opens_s"])) == (0.0, 0.0)


@pytest.mark.skipif(not shutil.which("ngspice"), reason="ngspice is a Debian package; CI installs it")
@pytest.mark.parametrize(("ref", "how"), [
    ("-", "nothing"), ("IC1", "unpowered"), ("IC2A", "output stuck low"), ("C1a", "shorted"), ("R5b", "open"),
    ("Q4", "collector to emitter shorted"), ("Q2", "drain to source shorted"),
])  # fmt: skip
def test_stored_results_are_what_the_simulation_says_now(ref: str, how: str) -> None:
    """Oracle: ngspice, run on the netlist of the gate's table."""
    found = [gate_faults.worst(fault) for fault in gate_faults.faults() if (fault.ref, fault.how) == (ref, how)]
    found = found or [gate_faults.worst(None)]
    row = SIMULATED[ref, how]
    assert min(each.closed for each in found) == pytest.approx(float(row["closed"]), abs=0.02)
    assert max(each.opens_s for each in found) == pytest.approx(float(row["opens_s"]), abs=0.05)


def test_netlist_has_each_part_with_its_value() -> None:
    lines = gate_faults.netlist(True).splitlines()
    for part in gate_circuit.PARTS:
        if part.kind in "RC":
            wanted = f"{part.kind}_{part.ref.lower()} {' '.join(part.nets)} {part.value}"
            assert wanted in lines, wanted
