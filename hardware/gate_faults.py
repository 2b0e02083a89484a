"""Each part of the heartbeat gate failed once, open, shorted or unpowered, in a circuit simulation by ngspice.

    python hardware/gate_faults.py          # prints the table; figures.py writes it into mat-rig.md

ngspice is a Debian package. A fault is **dangerous** when the relay stays closed although the edges have stopped and
the guard pin is still high. It is harmless when the relay opens, whether or not it could close before.
"""

from __future__ import annotations

import csv
import os
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import inf
from pathlib import Path

from gate_circuit import BY_REF, PACKAGES, PARTS, Part

RESULTS = Path(__file__).with_name("gate_faults.csv")

RAIL_V, SUPPLY_V = 3.3, 24.0
EDGES, END_S = 10, 16.0  # one edge a second from 1 s on; then none
LAST_EDGE_S = float(EDGES)
COIL_A = SUPPLY_V / BY_REF["K1"].value
PULLED_IN, DROPPED_OUT = 0.75, 0.10  # shares of the coil's current: closes at the latest, opens at the latest (data
# sheets of 24 V relays, from memory)
OPEN_OHM, SHORT_OHM = 1e12, 0.01
FLOAT_OHM = 1e9  # what pulls an unsoldered input one way or the other; both are tried

MODELS = """
.model signal D(IS=2.52n N=1.752 RS=0.568 CJO=4p TT=20n)
.model small_pnp PNP(IS=1.41f BF=180 VAF=18.7 IKF=80m ISE=0 NE=1.5 BR=4.977 RC=2.5)
.model logic_nmos NMOS(LEVEL=1 VTO=1.5 KP=10 RD=0.02 RS=0.02 CGSO=0 CGDO=0)
.model body D(IS=1p N=1 RS=0.05 BV=60)
.model closing SW(VT=0 VH=1m RON=60 ROFF=1g)
"""


@dataclass(frozen=True)
class Fault:
    """One thing that is broken.

    Attributes
    ----------
    ref : str
        The part.
    how : str
        As the table says it.
    opened : tuple of (ref, pin)
        Joints that are open.
    bridged : tuple of (net, net)
        Nets that are shorted.
    floats : str
        ``low`` or ``high``: where an unsoldered input drifts.
    """

    ref: str
    how: str
    opened: tuple[tuple[str, int], ...] = ()
    bridged: tuple[tuple[str, str], ...] = ()
    floats: str = "low"


PIN_NAMES = {"PNP": ("collector", "base", "emitter"), "NMOS": ("drain", "gate", "source"),
             "COMPARATOR": ("in+", "in-", "output", "supply", "ground")}  # fmt: skip


def faults() -> Iterator[Fault]:
    """Every single failure."""
    for part in PARTS:
        if part.kind in PIN_NAMES:
            for pin, name in enumerate(PIN_NAMES[part.kind]):
                for floats in ("low", "high"):
                    yield Fault(part.ref, f"{name} joint open", ((part.ref, pin),), floats=floats)
        else:
            yield Fault(part.ref, "open", ((part.ref, 0),))
            yield Fault(part.ref, "shorted", bridged=(part.nets[:2],))
        if part.kind == "PNP":
            collector, base, emitter = part.nets
            for name, pair in (("collector to emitter", (collector, emitter)), ("base to emitter", (base, emitter)),
                               ("collector to base", (collector, base))):
                yield Fault(part.ref, f"{name} shorted", bridged=(pair,))
        if part.kind == "NMOS":
            drain, gate, source = part.nets
            for name, pair in (("drain to source", (drain, source)), ("gate to source", (gate, source)),
                               ("drain to gate", (drain, gate))):
                yield Fault(part.ref, f"{name} shorted", bridged=(pair,))
        if part.kind == "COMPARATOR":
            yield Fault(part.ref, "output stuck low", bridged=((part.nets[2], "0"),))
            yield Fault(part.ref, "output shorted to 3.3 V", bridged=((part.nets[2], "vcc"),))
    for package, inside in PACKAGES.items():
        pins = tuple((ref, pin) for ref in inside for pin in range(5))
        yield Fault(package, "out of its socket", pins)
        yield Fault(package, "unpowered", tuple((ref, 3) for ref in inside))
        yield Fault(package, "both outputs stuck low", bridged=tuple((BY_REF[ref].nets[2], "0") for ref in inside))


def _net(part: Part, pin: int, fault: Fault | None) -> str:
    """The net at a pin, or a net of its own where the joint is open."""
    return f"open_{part.ref}_{pin}" if fault and (part.ref, pin) in fault.opened else part.nets[pin]


def _lines(part: Part, fault: Fault | None) -> Iterator[str]:
    """A part in the netlist's language."""
    nets = [_net(part, pin, fault) for pin in range(len(part.nets))]
    name = part.ref.lower()
    if part.kind in ("R", "LINK"):
        yield f"R_{name} {' '.join(nets)} {part.value or SHORT_OHM}"
    elif part.kind == "C":
        yield f"C_{name} {' '.join(nets)} {part.value}"
    elif part.kind == "D":
        yield f"D_{name} {' '.join(nets)} signal"
    elif part.kind == "COIL":
        yield f"R_{name} {nets[0]} {name}_in {part.value}"
        yield f"L_{name} {name}_in {nets[1]} 0.5"
    elif part.kind == "PNP":
        yield f"Q_{name} {' '.join(nets)} small_pnp"
    elif part.kind == "NMOS":
        yield f"M_{name} {' '.join(nets)} {nets[2]} logic_nmos W=1 L=1"
        yield f"C_{name} {nets[1]} {nets[2]} 1.7n"
        yield f"D_{name} {nets[2]} {nets[0]} body"
    else:
        plus, minus, out, supply, ground = nets
        # an open-drain output: it conducts only while the part has its supply and in- is over in+
        yield (f"B_{name} {name}_on 0 V = (V({minus}) - V({plus})) * (V({supply}) > 2 ? 1 : 0) * (V({ground}) < 0.3 "
               "? 1 : 0) - (V({0}) > 2 ? 0 : 1)".format(supply))
        yield f"S_{name} {out} {ground} {name}_on 0 closing"
        yield f"C_{name} {out} 0 100p"
    for pin, net in enumerate(nets):
        if net.startswith("open_"):
            signal_input = (part.kind, pin) in (("COMPARATOR", 0), ("COMPARATOR", 1), ("NMOS", 1))
            end = "vcc" if signal_input and fault and fault.floats == "high" else "0"
            yield f"R_{net} {net} {end} {FLOAT_OHM if signal_input else OPEN_OHM}"


def netlist(ends_high: bool, fault: Fault | None = None) -> str:
    """The gate in ngspice's language.

    Parameters
    ----------
    ends_high : bool
        Where the heartbeat pin stays once the edges have stopped.
    fault : Fault, optional
        What is broken.
    """
    level = 0 if ends_high == (EDGES % 2 == 0) else 1
    points = [f"0 {level * RAIL_V}"]
    for edge in range(1, EDGES + 1):
        points.append(f"{edge} {level * RAIL_V}")
        level = 1 - level
        points.append(f"{edge + 1e-6:.6f} {level * RAIL_V}")
    lines = ["heartbeat gate", f"V_vcc vcc 0 {RAIL_V}", f"V_24v_k 24v_k 0 {SUPPLY_V}", f"V_guard guard_pin 0 {RAIL_V}",
             "R_guard guard_pin guard 50", f"V_beat beat_pin 0 PWL({' '.join(points)})", "R_beat beat_pin heartbeat 50"]
    for part in PARTS:
        lines += _lines(part, fault)
    for at, (one, other) in enumerate(fault.bridged if fault else ()):
        lines.append(f"R_bridge_{at} {one} {other} {SHORT_OHM}")
    lines += ["C_coil coil 0 1n", MODELS, ".options reltol=1e-3 abstol=1e-10 vntol=1e-5 gmin=1e-14 method=gear",
              f".tran 5m {END_S} 0 5m uic", ".control", "run", "wrdata coil i(L_k1)", "quit", ".endc", ".end"]
    return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class Seen:
    """What the relay did.

    Attributes
    ----------
    closed : float
        Share of the time from the fourth to the last edge in which it was surely closed.
    opens_s : float
        From the last edge until it is surely open; infinite where it never opens, 0 where it was open already.
    """

    closed: float
    opens_s: float


def simulate(ends_high: bool, fault: Fault | None = None) -> Seen:
    """Run ngspice once.

    Raises
    ------
    RuntimeError
        When ngspice fails; its last words are in the message.
    """
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "coil"
        (Path(folder) / "gate.cir").write_text(netlist(ends_high, fault))
        done = subprocess.run(["ngspice", "-b", "gate.cir"], cwd=folder, capture_output=True, text=True, check=False)
        rows = [line.split() for line in data.read_text().splitlines()] if data.exists() else []
    if not rows or float(rows[-1][0]) < END_S - 0.01:
        raise RuntimeError(f"ngspice stopped early on {fault}: {(done.stderr or done.stdout).strip()[-300:]}")
    times = [(float(at), float(amps) / COIL_A) for at, amps in rows]
    beating = [share for at, share in times if 4.0 < at < LAST_EDGE_S]
    after = [at for at, share in times if at > LAST_EDGE_S and share > DROPPED_OUT]
    opens_s = 0.0 if not after else inf if after[-1] > END_S - 0.1 else after[-1] - LAST_EDGE_S
    return Seen(sum(share > PULLED_IN for share in beating) / len(beating), opens_s)


def worst(fault: Fault | None) -> Seen:
    """Both ends of the pin: the share closed at its least, the time to open at its most."""
    both = [simulate(ends_high, fault) for ends_high in (True, False)]
    return Seen(min(each.closed for each in both), max(each.opens_s for each in both))


def rows() -> list[dict[str, str]]:
    """Simulate the sound gate and each fault, two at a time."""
    todo: list[Fault | None] = [None, *faults()]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        seen = list(pool.map(worst, todo))
    found: dict[tuple[str, str], Seen] = {}
    for fault, each in zip(todo, seen, strict=True):
        key = (fault.ref, fault.how) if fault else ("-", "nothing")
        other = found.get(key, each)  # an unsoldered input, drifted low and high: the worse of the two
        found[key] = Seen(min(other.closed, each.closed), max(other.opens_s, each.opens_s))
    return [{"part": ref, "fault": how, "closed": f"{each.closed:.2f}", "opens_s": f"{each.opens_s:.2f}"}
            for (ref, how), each in found.items()]


def table(results: Iterable[Mapping[str, str]]) -> list[tuple[str, str, str, str]]:
    """Rows of the guide's table: part, fault, relay while edges come, relay after the last edge."""
    words = []
    for row in results:
        share, opens_s = float(row["closed"]), float(row["opens_s"])
        while_beating = "closed" if share > 0.99 else "open" if share < 0.01 else "opens and closes"
        after = "open already" if opens_s == 0 else f"open after {opens_s:.1f} s"
        after = "**stays closed**" if opens_s == inf else after
        words.append((row["part"], row["fault"], while_beating, after))
    return words


def write() -> None:
    """Simulate all and store the results beside this file."""
    with RESULTS.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, ("part", "fault", "closed", "opens_s"), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows())


def read() -> list[dict[str, str]]:
    """The stored results."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


if __name__ == "__main__":
    write()
    for row in table(read()):
        print(" | ".join(row))
