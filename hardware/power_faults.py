"""Each part of a build's power stage failed once, open or shorted, in a circuit simulation by ngspice.

    python hardware/power_faults.py         # simulates all builds and stores the results beside this file

For each failure the heat is worked out in the four states that guard relay and heater pin can be in. What matters is
that no single failure heats a board that is off, and who notices each of them.
"""

from __future__ import annotations

import csv
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from power_circuit import PowerPart, parts
from tables import table

from bainwright.builds import rules
from bainwright.builds.catalogue import BUILDS
from bainwright.builds.parts import SUPPLY_V, Build

RESULTS = Path(__file__).with_name("power_faults.csv")

RAIL_V = 3.3
CLOSED_OHM, OPEN_OHM, SHORT_OHM, FLOAT_OHM = 0.01, 1e9, 1e-4, 1e7
BODY_OHM = 0.005  # of the switch beside its channel; the build's own drop is in `electrical`
WARM_SHARE = 0.01  # of the heater's power; less than this warms nothing
FULL_SHARE = 0.9  # of it; less than this is slower than it should be

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
    gate_high : bool
        Where a gate whose joint is open floats to.
    halved : str
        A mat half of which is shorted.
    """

    ref: str
    how: str
    opened: tuple[tuple[str, int], ...] = ()
    bridged: tuple[tuple[str, str], ...] = ()
    gate_high: bool = False
    halved: str = ""


def faults(build: Build) -> Iterator[PowerFault]:
    """Every single failure: parts open and shorted, and leads chafed to 0 V."""
    for part in parts(build):
        if part.kind == "NMOS":
            yield from _switch_faults(part)
            continue
        yield PowerFault(part.ref, "open", ((part.ref, 0),))
        yield PowerFault(part.ref, "shorted", bridged=((part.nets[0], part.nets[1]),))
        if part.kind == "MAT":
            yield PowerFault(part.ref, "half of it shorted", halved=part.ref)
    for name, net in (("lead to S1", "fused"), ("lead to K1", "24v_s"), ("lead from K1", "guarded"),
                      ("lead back to Q1", "drain")):
        yield PowerFault(name, "chafed to 0 V", bridged=((net, "0"),))
    for ref in build.refs:
        yield PowerFault(f"lead to RH{ref}", "chafed to 0 V", bridged=((f"hot{ref}", "0"),))


def _switch_faults(part: PowerPart) -> Iterator[PowerFault]:
    drain, gate, source = part.nets
    yield PowerFault(part.ref, "drain joint open", ((part.ref, 0),))
    for gate_high in (False, True):  # it keeps what charge it had
        yield PowerFault(part.ref, "gate joint open", ((part.ref, 1),), gate_high=gate_high)
    yield PowerFault(part.ref, "source joint open", ((part.ref, 2),))
    yield PowerFault(part.ref, "drain to source shorted", bridged=((drain, source),))
    yield PowerFault(part.ref, "gate to source shorted", bridged=((gate, source),))
    yield PowerFault(part.ref, "drain to gate shorted", bridged=((drain, gate),))


def netlist(build: Build, fault: PowerFault | None = None) -> str:
    """The power stage in ngspice's language; it prints the supply's and each mat's current in every state."""
    switch = build.switch
    k = switch.siemens**2 / (2.0 * switch.at_a)
    lines = ["power stage", f"V_supply terminal 0 {SUPPLY_V}", "V_pin pin_end 0 0", "R_pin pin_end heater 50",
             "V_guard guard 0 0", f".model closing SW(VT=0.5 VH=0.1 RON={CLOSED_OHM} ROFF={OPEN_OHM})",
             f".model fet NMOS(LEVEL=1 VTO={switch.threshold_v} KP={k:.3f} RD={BODY_OHM} IS=1e-30)",
             ".model lamp D(IS=1e-18 N=2)"]
    for part in parts(build):
        lines += _lines(part, fault)
    for at, (one, other) in enumerate(fault.bridged if fault else ()):
        lines.append(f"R_bridge_{at} {one} {other} {SHORT_OHM}")
    shown = " ".join(["i(v_supply)", *[f"i(v_rh{ref})" for ref in build.refs]])
    lines += [".options gmin=1e-14", ".control"]
    for guard, pin in STATES.values():
        lines += [f"alter v_guard dc = {guard}", f"alter v_pin dc = {RAIL_V * pin}", "op", f"print {shown}"]
    return "\n".join([*lines, "quit", ".endc", ".end", ""])


def _lines(part: PowerPart, fault: PowerFault | None) -> Iterator[str]:
    opened = fault.opened if fault else ()
    nets = [f"open_{part.ref}" if (part.ref, pin) in opened else net for pin, net in enumerate(part.nets)]
    name = part.ref.lower()
    if part.kind == "SUPPLY":
        yield f"R_{name} terminal {nets[0]} {CLOSED_OHM}"
    elif part.kind == "CONTACT":
        yield f"S_{name} {nets[0]} {nets[1]} guard 0 closing"
    elif part.kind == "LED":
        yield f"D_{name} {nets[0]} {nets[1]} lamp"
    elif part.kind == "MAT":
        ohm = part.ohm / 2.0 if fault and fault.halved == part.ref else part.ohm
        yield f"R_{name} {nets[0]} {name}_end {ohm}"
        yield f"V_{name} {name}_end {nets[1]} 0"
    elif part.kind == "NMOS":
        yield f"M_{name} {nets[0]} {nets[1]} {nets[2]} {nets[2]} fet W=1u L=1u"
    else:
        yield f"R_{name} {nets[0]} {nets[1]} {part.ohm or CLOSED_OHM}"
    if any(ref == part.ref for ref, _ in opened):
        high = fault is not None and fault.gate_high
        yield f"R_open_{name} open_{part.ref} {'pin_high' if high else '0'} {FLOAT_OHM if high else OPEN_OHM}"
        if high:
            yield f"V_high pin_high 0 {RAIL_V}"


@dataclass(frozen=True)
class Heat:
    """What a fault does: the heater's power in each of `STATES`, W, and the supply's greatest current, A."""

    watts: tuple[float, ...]
    supply_a: float


def simulate(build: Build, fault: PowerFault | None = None) -> Heat:
    """Run ngspice once.

    Raises
    ------
    RuntimeError
        When ngspice fails; its last words are in the message.
    """
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "power.cir"
        deck.write_text(netlist(build, fault))
        done = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False)
    found = [float(line.partition("=")[2]) for line in done.stdout.splitlines() if line.startswith("i(v_")]
    each = 1 + len(build.refs)
    if len(found) != each * len(STATES):
        raise RuntimeError(f"ngspice stopped early on {fault}: {(done.stderr or done.stdout).strip()[-300:]}")
    rows = [found[at : at + each] for at in range(0, len(found), each)]
    most_a = max(abs(row[0]) for row in rows)
    return Heat(tuple(_heat_w(build, fault, row) for row in rows), most_a)


def _heat_w(build: Build, fault: PowerFault | None, row: list[float]) -> float:
    """All mats together; a supply that is asked for more than it can give drops its voltage, and little is left."""
    supply_a = abs(row[0])
    if supply_a > rules.OVERLOAD * build.supply_a:
        supply_share = (rules.OVERLOAD * build.supply_a / supply_a) ** 2
    else:
        supply_share = 1.0
    heat_w = 0.0
    for ref, current_a in zip(build.refs, row[1:], strict=True):
        halved = fault is not None and fault.halved == f"RH{ref}"
        heat_w += current_a**2 * build.mat.ohm * (0.5 if halved else 1.0)
    return heat_w * supply_share


def worst(build: Build, ref: str, how: str) -> Heat:
    """A failure at its worst: a joint that floats, floated both ways."""
    found = [simulate(build, fault) for fault in faults(build) if (fault.ref, fault.how) == (ref, how)]
    found = found or [simulate(build)]
    watts = tuple(max(each.watts[at] for each in found) for at in range(len(STATES)))
    return Heat(watts, max(each.supply_a for each in found))


def rows() -> Iterator[dict[str, str]]:
    """Simulate every build, sound and with each fault."""
    for build in BUILDS:
        for ref, how in dict.fromkeys([("-", "nothing"), *((fault.ref, fault.how) for fault in faults(build))]):
            heat = worst(build, ref, how)
            watts = {f"{state}_w": f"{abs(w):.1f}" for state, w in zip(STATES, heat.watts, strict=True)}
            yield {"build": build.name, "part": ref, "fault": how, **watts,
                   "supply_a": f"{min(heat.supply_a, 999.0):.1f}"}


def noticed(build: Build, row: dict[str, str]) -> str:
    """Who notices it, from what the simulation gives."""
    off, tripped, idle, heats = (float(row[f"{state}_w"]) > WARM_SHARE * build.heater_w for state in STATES)
    guards = {part.ref for part in parts(build) if part.guards}
    if row["part"] == "-":
        return "-"
    if off:
        return "**both cut-outs, thermal fuse**"
    if float(row["heats_w"]) > build.heater_w / FULL_SHARE:
        return "the supply's own limit, F1; then TCO1, TF1"
    if float(row["supply_a"]) > rules.OVERLOAD * build.supply_a:
        return "the supply's own limit, F1: no heat, number 11"
    if tripped:
        return "self-test: number 9"
    if idle:
        return "self-test: number 10; in a hold number 4, and K1 opens"
    if not heats:
        return "start: number 11; in a hold number 3"
    if float(row["heats_w"]) < FULL_SHARE * build.heater_w:
        return "it warms slowly: first power-up's table"
    if row["fault"] == "shorted" and row["part"] in guards:
        return "only its own test, every six months"
    return "the steps of the first power-up: nothing else changes"


def faults_block(build: Build) -> str:
    """The guide's table for one build, as the simulation stored it."""
    found = [row for row in read() if row["build"] == build.name]
    lines = []
    for row in found:
        watts = [_watts(row[f"{state}_w"]) for state in STATES]
        lines.append((row["part"], row["fault"], *watts, noticed(build, row)))
    return table(("part", "broken", "board off", "guard open, heat asked", "guard closed, none asked", "both",
                  "who notices"), lines)


def _watts(text: str) -> str:
    return "0" if float(text) < 0.5 else f"{float(text):.0f} W"


def write() -> None:
    """Simulate all and store the results beside this file."""
    with RESULTS.open("w", encoding="utf-8", newline="") as file:
        names = ("build", "part", "fault", *[f"{state}_w" for state in STATES], "supply_a")
        writer = csv.DictWriter(file, names, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows())


def read() -> list[dict[str, str]]:
    """The stored results."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def main(found: Iterable[Build] = BUILDS) -> None:
    """Store the results and print the tables."""
    write()
    for build in found:
        print(f"{build.name}\n{faults_block(build)}\n")


if __name__ == "__main__":
    main()
