"""Each part of a build's power stage failed once, open or shorted, in a circuit simulation by ngspice.

    python hardware/power_faults.py         # simulates all builds and stores the results beside this file

For each failure the heat is worked out in the four states that guard relay and heater pin can be in, and the current
in each path with the worst heater. `power_table.py` says what follows: that no single failure heats a board that is
off, that none loads a part over its rating, and who notices each of them.
"""

from __future__ import annotations

import csv
import math
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from power_circuit import ALL, BOARD_0, GATE_0, GUARD, PowerPart, chain_end, parts

from bainwright.builds import electrical, overload
from bainwright.builds.catalogue import BUILDS, MAT_BY_RELAY
from bainwright.builds.parts import SUPPLY_V, Build

RESULTS = Path(__file__).with_name("power_faults.csv")

RAIL_V = 3.3
LETS_GO_V = 2.4  # a tenth of its coil's voltage, under which a relay that is closed opens (data sheets, from memory)
CLOSED_OHM, OPEN_OHM, SHORT_OHM, FLOAT_OHM = 0.01, 1e9, 1e-4, 1e7
BODY_OHM = 0.005  # of the switch beside its channel; the build's own drop is in `electrical`

# Guard relay closed, heater pin high. The first is a board that is off, in reset or unplugged.
STATES = {"off": (0, 0), "tripped": (0, 1), "idle": (1, 0), "heats": (1, 1)}


@dataclass(frozen=True)
class PowerFault:
    """One thing that is broken.

    Attributes
    ----------
    ref, how : str
        The part or lead, and what is wrong, as the table has it.
    opened : tuple of (ref, pin)
        A joint that is open.
    bridged : tuple of (net, net)
        Nets that are shorted.
    gate_v : float
        Where a gate whose joint is open floats to.
    halved : str
        A mat half of which is shorted.
    supply_v : float
        What the supply gives in place of its voltage; 0 while it is sound.
    """

    ref: str
    how: str
    opened: tuple[tuple[str, int], ...] = ()
    bridged: tuple[tuple[str, str], ...] = ()
    gate_v: float = 0.0
    halved: str = ""
    supply_v: float = 0.0


OVER_VOLTAGE = "regulation lost, over-voltage"
BYPASS = "touches the lead behind TF1"
TOUCHES_24V = "touches its feed"
TOUCHES_HEAT = "touches the mat's plus lead"
TOUCHES_X6 = "touches the lead back from TF1"
TOUCHES_MINUS = "touches the mat's minus lead"
LEADS = (("lead to F1", "24v"), ("lead to S1", "fused"), ("lead to K1", "switched"), ("lead from K1", "guarded"),
         ("lead 24 V S", "24v_s"), ("lead back to Q1", "drain"), ("lead to LED1", "lamp"),
         ("lead from LED1", "lamp_back"))  # fmt: skip


def faults(build: Build) -> Iterator[PowerFault]:
    """Every single failure: parts open and shorted, and leads chafed to 0 V."""
    for part in parts(build):
        if part.kind == "NMOS":
            yield from _switch_faults(build, part)
            continue
        yield PowerFault(part.ref, "open", ((part.ref, 0),))
        if part.kind == "WIRE":
            continue
        yield PowerFault(part.ref, "shorted", bridged=((part.nets[0], part.nets[1]),))
        if part.kind == "MAT":
            yield PowerFault(part.ref, "half of it shorted", halved=part.ref)
    yield PowerFault("PS1", OVER_VOLTAGE, supply_v=build.supply_off_v)
    for name, net in LEADS:
        yield PowerFault(name, "chafed to 0 V", bridged=((net, "0"),))
    for ref in build.refs:
        yield PowerFault(f"lead to RH{ref}", "chafed to 0 V", bridged=((f"hot{ref}", "0"),))
        if not build.relayed:
            yield PowerFault(f"plus lead of X1{ref}", BYPASS, bridged=((f"plus{ref}", f"hot{ref}"),))
    if build.relayed:
        yield PowerFault("lead to K2's coil", "chafed to 0 V", bridged=((chain_end(build), "0"),))
        yield PowerFault("lead to K2's coil", TOUCHES_24V, bridged=((chain_end(build), "coils"),))
        yield PowerFault("lead back from TF1", TOUCHES_24V, bridged=(("24v_s", "coils"),))
        yield PowerFault("lead to K2's coil", TOUCHES_HEAT, bridged=((chain_end(build), "guarded"),))
        yield PowerFault("lead back from TF1", TOUCHES_HEAT, bridged=(("24v_s", "guarded"),))
        yield PowerFault("lead to K2's coil", TOUCHES_X6, bridged=((chain_end(build), "24v_s"),))
        yield PowerFault("feed of X5 and X6", TOUCHES_HEAT, bridged=(("coils", "guarded"),))
        for name, net in (("lead to K2's coil", chain_end(build)), ("lead back from TF1", "24v_s"),
                          ("feed of X5 and X6", "coils")):  # fmt: skip
            yield PowerFault(name, TOUCHES_MINUS, bridged=((net, "drain"),))
    yield PowerFault("TF2", "touches Q1's tab", bridged=(("guard_fed", "drain"),))


def half_on_v(build: Build) -> float:
    """The gate voltage at which Q1 takes half of the supply's voltage, and so the most heat, with the worst heater."""
    switch = build.switch
    k = switch.siemens**2 / (2.0 * switch.at_a)
    return switch.threshold_v + math.sqrt(electrical.worst_a(build) / k)


def _switch_faults(build: Build, part: PowerPart) -> Iterator[PowerFault]:
    drain, gate, source = part.nets
    yield PowerFault(part.ref, "drain joint open", ((part.ref, 0),))
    for gate_v in (0.0, half_on_v(build), RAIL_V):  # it keeps what charge it had
        yield PowerFault(part.ref, "gate joint open", ((part.ref, 1),), gate_v=gate_v)
    yield PowerFault(part.ref, "source joint open", ((part.ref, 2),))
    yield PowerFault(part.ref, "drain to source shorted", bridged=((drain, source),))
    yield PowerFault(part.ref, "gate to source shorted", bridged=((gate, source),))
    yield PowerFault(part.ref, "drain to gate shorted", bridged=((drain, gate),))


def netlist(build: Build, fault: PowerFault | None = None, worst: bool = False) -> str:
    """The power stage in ngspice's language; it prints the supply's and each path's current in every state.

    The guard relay's coil hangs on its own fused branch, so that the contact opens when that branch dies. `worst` is
    the supply at its top and each mat at its least resistance.
    """
    switch = build.switch
    k = switch.siemens**2 / (2.0 * switch.at_a)
    volts = fault.supply_v if fault and fault.supply_v else electrical.worst_v() if worst else SUPPLY_V
    lines = ["power stage", f"V_supply terminal 0 {volts}",
             f"V_pin pin_end {BOARD_0} 0", f"R_pin pin_end heater {electrical.PIN_OHM}", f"V_guard guard {BOARD_0} 0",
             f".model closing SW(VT=0.5 VH=0.1 RON={CLOSED_OHM} ROFF={OPEN_OHM})",
             f".model pulling SW(VT={LETS_GO_V} VH=0.1 RON={CLOSED_OHM} ROFF={OPEN_OHM})",
             f"R_link 24v_s 24v_k {CLOSED_OHM}", f"R_coil 24v_k coil {build.coil_ohm}",
             f"S_q2 coil {GATE_0} guard {BOARD_0} closing",
             f".model fet NMOS(LEVEL=1 VTO={switch.threshold_v} KP={k:.3f} RD={BODY_OHM} IS=1e-30)",
             ".model lamp D(IS=1e-18 N=2)"]
    if build.relayed:
        lines.append(f"R_coil_2 {chain_end(build)} 0 {build.coil_ohm}")
    for part in parts(build):
        lines += _lines(build, part, fault, 1.0 - electrical.MAT_TOLERANCE if worst else 1.0)
    for at, (one, other) in enumerate(fault.bridged if fault else ()):
        lines.append(f"R_bridge_{at} {one} {other} {SHORT_OHM}")
    shown = " ".join(["v(drain)", "i(v_supply)", *[f"i(v_{part.ref.lower()})" for part in metered(build)]])
    lines += [".options gmin=1e-14", ".control"]
    for guard, pin in STATES.values():
        lines += [f"alter v_guard dc = {guard}", f"alter v_pin dc = {RAIL_V * pin}", "op", f"print {shown}"]
    return "\n".join([*lines, "quit", ".endc", ".end", ""])


def metered(build: Build) -> list[PowerPart]:
    """The parts whose current is read: all that carry the heater's or the guard relay's."""
    return [part for part in parts(build) if (part.path or part.kind == "MAT") and part.kind != "SUPPLY"]


def _lines(build: Build, part: PowerPart, fault: PowerFault | None, mat_share: float) -> Iterator[str]:
    opened = fault.opened if fault else ()
    nets = [f"open_{part.ref}" if (part.ref, pin) in opened else net for pin, net in enumerate(part.nets)]
    name = part.ref.lower()
    end = nets[1]
    if part.path or part.kind == "MAT":
        end = f"{name}_end"
    if part.kind == "SUPPLY":
        yield f"R_{name} terminal {nets[0]} {CLOSED_OHM}"
    elif part.kind == "CONTACT":
        coil = "24v_k coil" if part.ref == "K1" else f"{chain_end(build)} 0"
        yield f"S_{name} {nets[0]} {end} {coil} pulling"
    elif part.kind in ("LED", "D"):
        yield f"D_{name} {nets[0]} {nets[1]} lamp"
    elif part.kind == "MAT":
        yield f"R_{name} {nets[0]} {end} {part.ohm * mat_share / (2.0 if fault and fault.halved == part.ref else 1.0)}"
    elif part.kind == "NMOS":
        yield f"M_{name} {nets[0]} {nets[1]} {nets[2]} {nets[2]} fet W=1u L=1u"
    else:
        yield f"R_{name} {nets[0]} {end} {part.ohm or CLOSED_OHM}"
    if end != nets[1] and part.kind != "SUPPLY":
        yield f"V_{name} {end} {nets[1]} 0"
    if any(ref == part.ref for ref, _ in opened):
        gate_v = fault.gate_v if fault is not None else 0.0
        yield f"R_open_{name} open_{part.ref} {'held' if gate_v else '0'} {FLOAT_OHM if gate_v else OPEN_OHM}"
        if gate_v:
            yield f"V_held held 0 {gate_v}"


@dataclass(frozen=True)
class Found:
    """What a fault does.

    Attributes
    ----------
    watts : tuple of float
        The heater's power in each of `STATES`, W, the supply at 24 V.
    supply_a, all_a, mat_a, guard_a : float
        The greatest current with the worst heater in the inlet, in what carries all mats, in one mat's path and in the
        guard relay's branch, A, before a fuse or the supply's own limit acts.
    q1_w : float
        The greatest heat in Q1 with the worst heater, W.
    """

    watts: tuple[float, ...]
    supply_a: float
    all_a: float
    mat_a: float
    guard_a: float
    q1_w: float


def simulate(build: Build, fault: PowerFault | None = None) -> Found:
    """Run ngspice twice: the heat of the usual heater, and the currents of the worst one.

    Raises
    ------
    RuntimeError
        When ngspice fails; its last words are in the message.
    """
    amps = _currents(build, fault, worst=True)

    def most(*paths: str) -> float:
        return max(state[part.ref.lower()] for state in amps for part in metered(build)
                   if (part.path or f"mat{part.ref[2:]}").startswith(paths))

    return Found(tuple(_heat_w(build, fault, state) for state in _currents(build, fault, worst=False)),
                 max(state["supply"] for state in amps), most(ALL), most("mat"), most(GUARD),
                 max(_switch_w(build, state) for state in amps))


def _switch_w(build: Build, state: dict[str, float]) -> float:
    """What Q1 takes, from its drain's voltage and the current of all mats; a supply at its limit gives no more."""
    current_a = sum(state[f"rh{ref}"] for ref in build.refs)
    return state["drain"] * current_a if current_a <= overload.limit_a(build) else 0.0


def _currents(build: Build, fault: PowerFault | None, *, worst: bool) -> list[dict[str, float]]:
    """Amperes by part in each state, and the volts at Q1's drain."""
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "power.cir"
        deck.write_text(netlist(build, fault, worst))
        done = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False, timeout=60)
    found = [line.partition(" = ") for line in done.stdout.splitlines() if line.startswith(("i(v_", "v(drain)"))]
    each = 2 + len(metered(build))
    if len(found) != each * len(STATES):
        raise RuntimeError(f"ngspice stopped early on {fault}: {(done.stderr or done.stdout).strip()[-300:]}")
    read_off = [(name.removeprefix("i(v_").removeprefix("v(").rstrip(")"), abs(float(value)))
                for name, _, value in found]
    return [dict(read_off[at : at + each]) for at in range(0, len(read_off), each)]


def _heat_w(build: Build, fault: PowerFault | None, amps: dict[str, float]) -> float:
    """All mats together; a supply that is asked for more than it can give drops its voltage, and little is left."""
    share = min(1.0, overload.limit_a(build) / amps["supply"]) ** 2 if amps["supply"] else 1.0
    heat_w = 0.0
    for ref in build.refs:
        halved = fault is not None and fault.halved == f"RH{ref}"
        heat_w += amps[f"rh{ref}"] ** 2 * build.mat.ohm * (0.5 if halved else 1.0)
    return heat_w * share


def worst(build: Build, ref: str, how: str) -> Found:
    """A failure at its worst: a joint that floats, floated both ways."""
    found = [simulate(build, fault) for fault in faults(build) if (fault.ref, fault.how) == (ref, how)]
    found = found or [simulate(build)]
    watts = tuple(max(each.watts[at] for each in found) for at in range(len(STATES)))
    return Found(watts, *[max(getattr(each, name) for each in found) for name in MOST])


MOST = ("supply_a", "all_a", "mat_a", "guard_a", "q1_w")


def rows() -> Iterator[dict[str, str]]:
    """Simulate every build, and the mat by relay, sound and with each fault."""
    for build in (*BUILDS, MAT_BY_RELAY):
        for ref, how in dict.fromkeys([("-", "nothing"), *((fault.ref, fault.how) for fault in faults(build))]):
            found = worst(build, ref, how)
            watts = {f"{state}_w": f"{abs(w):.1f}" for state, w in zip(STATES, found.watts, strict=True)}
            most = {name: f"{min(getattr(found, name), 999.0):.2f}" for name in MOST}
            yield {"build": build.name, "part": ref, "fault": how, **watts, **most}


def write() -> None:
    """Simulate all and store the results beside this file."""
    with RESULTS.open("w", encoding="utf-8", newline="") as file:
        names = ("build", "part", "fault", *[f"{state}_w" for state in STATES], *MOST)
        writer = csv.DictWriter(file, names, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows())


def read() -> list[dict[str, str]]:
    """The stored results."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


if __name__ == "__main__":
    write()
