"""Works out the figures that the pages of this folder show, and writes them between their markers.

    python hardware/figures.py
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path

import build_figures
import gate_circuit
import gate_faults
import heartbeat_gate
import meter_points
import power_table
import sheet
import shopping
from box_circuit import BY_REF as BOX
from box_circuit import LAMP_V
from gate_circuit import BY_REF, ohm_text
from tables import Row, table
from wrong_files import wrong_files_block

from bainboard import faults, help_text, settings
from bainboard.selftest import SelfTest
from bainwright.builds import electrical
from bainwright.builds.catalogue import BUILDS, MAT_BY_RELAY
from bainwright.builds.electrical import worst_v
from bainwright.builds.parts import SUPPLY_V, Build
from bainwright.builds.rig_text import rig_text

HERE = Path(__file__).parent
FIRMWARE = Path(faults.__file__).parent

COIL_OHM = BY_REF["K1"].value
RAIL_V, BASE_V = 3.3, 0.7  # of the board, and of a small transistor's base
PIN_MOST_V = 3.8  # where a pin's own diode leads current away; RP2040 data sheet, from memory
CABLE_M, CABLE_PF_PER_M = 6.0, 100.0  # both probe cables; 100 pF/m from memory


def _k(ref: str) -> float:
    """A resistor of the box, kilohm."""
    return (BOX.get(ref) or BY_REF[ref]).value / 1e3


def float_pin_v() -> tuple[float, float]:
    """The float's pin while the float is wet: its least and its most, V."""
    upper_k, lower_k = _k("R24a") + _k("R24b"), _k("R25")
    ends = []
    for supply, upper, lower in ((0.95, 1.05, 0.95), (1.05, 0.95, 1.05)):
        ends.append(SUPPLY_V * supply * lower_k * lower / (upper_k * upper + lower_k * lower))
    return ends[0], ends[1]


def float_contact_ma() -> float:
    """Through the float while it is closed: the coil, the guard lamp and the pin's divider, mA."""
    divider_k = _k("R24a") + _k("R24b") + _k("R25")
    return 1000 * SUPPLY_V / COIL_OHM + (SUPPLY_V - LAMP_V) / _k("R26") + SUPPLY_V / divider_k


def signal_rows() -> list[Row]:
    """Coil, lamps, gates and the probe bus."""
    coil_a = SUPPLY_V / COIL_OHM
    lamp_k, panel_ohm, base_k, off_k, bus_k = _k("R26"), 1e3 * _k("R18"), _k("R21"), _k("R22"), _k("R23")
    stop_k, down_k = _k("R12b"), _k("R12c")
    pull_k, series_k = electrical.GATE_PULL_OHM / 1e3, electrical.GATE_SERIES_OHM / 1e3
    rise_us = 1e3 * bus_k * (CABLE_M * CABLE_PF_PER_M + 50.0) * 1e-6
    return [
        ("guard relay coil", f"24 / {COIL_OHM:g}, at most", f"{1000 * coil_a:.0f} mA, {SUPPLY_V * coil_a:.2f} W"),
        ("heat lamp, guard lamp", f"(24 - {LAMP_V:g}) / {lamp_k:g}k", f"{(SUPPLY_V - LAMP_V) / lamp_k:.1f} mA"),
        ("panel lamp", f"(3.3 - {LAMP_V:g}) / {panel_ohm:g}", f"{1000 * (RAIL_V - LAMP_V) / panel_ohm:.1f} mA"),
        ("buzzer's base", f"(3.3 - {BASE_V:g}) / {base_k:g}k, less {BASE_V:g} / {off_k:g}k",
         f"{(RAIL_V - BASE_V) / base_k - BASE_V / off_k:.1f} mA"),
        ("gate of Q1", f"3.3 x {pull_k:g} / ({pull_k:g} + {series_k:g})",
         f"{RAIL_V * pull_k / (pull_k + series_k):.2f} V"),
        ("gate of Q2", f"3.3 less two transistors of 0.1 V, x {down_k:g} / {down_k + stop_k:g}",
         f"{(RAIL_V - 0.2) * down_k / (down_k + stop_k):.2f} V"),
        ("float's pin, wet", f"22.8 to 25.2 V x {_k('R25'):g}k / ({_k('R24a'):g}k + {_k('R24b'):g}k + {_k('R25'):g}k), "
         "resistors ± 5 %; wanted 2.48 to 3.6 V (M)", "{:.2f} to {:.2f} V".format(*float_pin_v())),
        *[(f"into the float's pin, {part} shorted", f"(25.2 - {PIN_MOST_V:g}) / {_k(other):g}k, less {PIN_MOST_V:g} / "
           f"{_k('R25'):g}k", f"{(worst_v() - PIN_MOST_V) / _k(other) - PIN_MOST_V / _k('R25'):.2f} mA")
          for part, other in (("R24a", "R24b"), ("R24b", "R24a"))],
        ("float's contact", "coil, guard lamp and divider", f"{float_contact_ma():.0f} mA"),
        ("guard relay, least on its coil", f"{SUPPLY_V:g} x {electrical.SUPPLY_LOW:g}; a warm coil that pulls in at "
         f"{BUILDS[0].pull_in_v:g} V when cold needs", f"{electrical.coil_v():.1f} V, "
         f"{electrical.COIL_WARM * BUILDS[0].pull_in_v:.1f} V"),
        ("probe bus, pulled low", f"3.3 / {bus_k:g}k; a probe sinks 4 mA", f"{RAIL_V / bus_k:.2f} mA"),
        ("probe bus, time constant", f"{bus_k:g}k x (6 m x 100 pF/m + 50 pF); slot 15 µs", f"{rise_us:.1f} µs"),
    ]


def rig_values(build: Build) -> dict[str, float]:
    """Settings of a build's rig file, the board's defaults filled in."""
    rig = tomllib.loads(rig_text(build))
    known = settings.defaults(settings.SETTINGS)
    return {**known, **{name: value for name, value in rig.items() if name in known}}


def signals_block() -> str:
    """Reference values of the box, the same for every build."""
    return table(("what", "from", "computed"), signal_rows())


def gate_block() -> str:
    """The heartbeat gate's times."""
    gate, times = heartbeat_gate.Gate(), heartbeat_gate.timing()
    open_s = times.longest_s + heartbeat_gate.RELAY_RELEASE_S
    nominal = f"{gate.tau_s:.2f} x ln({gate.steady_v():.2f} / {gate.threshold_v:.2f}), less the leak"
    defeated = heartbeat_gate.leak_that_defeats_ohm(gate)
    pair_k, pump_uf, store_uf = gate.upper_ohm / 1e3, gate.pump_f * 1e6, gate.store_f * 1e6
    return table(("what", "from", "computed"), [
        ("time constant", f"({pair_k:g}k + {pair_k:g}k) / 2 x ({pump_uf:g} µF + {store_uf:g} µF)",
         f"{gate.tau_s:.2f} s"),
        ("charge after an edge", "3.3 V less two diodes, shared with C2", f"{gate.steady_v():.2f} V"),
        ("threshold at C2", f"2 x 3.3 x {_k('R7b'):g} / {_k('R7a') + _k('R7b'):g}", f"{gate.threshold_v:.2f} V"),
        ("lets go after the last edge", nominal, f"{times.nominal_s:.2f} s"),
        ("rides through gaps up to, every corner", "wanted 1.2 s", f"{times.shortest_s:.2f} s"),
        ("guard open after the last edge, every corner", "relay's 0.02 s included; wanted 2 s", f"{open_s:.2f} s"),
        ("pin stuck high or low, every corner", "wanted under 100 % of the threshold",
         f"{100 * times.stuck_v_of_threshold:.1f} %"),
        ("a pump's pair of capacitors that would defeat it on a high pin", "leaking under",
         f"{defeated / 1e6:.1f} MΩ"),
    ])


def gate_parts_block() -> str:
    """Every part of the gate."""
    return table(("ref", "part", "what it does"), [
        (part.ref, part.label.replace(part.ref, "").replace("\n", " ").strip() or part.kind.lower(), part.why)
        for part in gate_circuit.PARTS
    ])


def gate_faults_block() -> str:
    """What each broken part does, as the simulation stored it."""
    return table(("part", "broken", "relay while edges come", "after the last edge"),
                 gate_faults.table(gate_faults.read()))


def pins_block() -> str:
    """Where each of the firmware's pins goes."""
    to = {
        "heater": f"gate of Q1, by {ohm_text(electrical.GATE_SERIES_OHM)}",
        "guard": "emitter of Q4", "heartbeat": "heartbeat gate, by link J1",
        "onewire": "data of both probes", "float": "float's divider, if fitted",
        "yes": "YES button to 0 V", "no": "NO button to 0 V",
        "lamp_below": "yellow lamp, left", "lamp_in": "green lamp, middle", "lamp_above": "red lamp, right",
        "buzzer": f"base of Q3, by {BOX['R21'].label}", "adc_water": "free", "adc_bowl": "free",
        "sda": "display, if fitted", "scl": "display, if fitted",
        "sck": "free", "mosi": "free", "miso": "free", "cs_water": "free", "cs_bowl": "free",
    }
    names = sorted(sheet.PINS, key=lambda name: sheet.PINS[name])
    return table(("GPIO", "board pin", "firmware's name", "goes to"), [
        (f"GP{sheet.PINS[name]}", str(sheet.HEADER[sheet.PINS[name]]), f"`{name}`", to[name])
        for name in names
    ])


REACTIONS = {
    faults.OFF: "heat off while it lasts", faults.RETEST: "heat off, guard open, retest",
    faults.LATCH: "off until cleared by hand", faults.WARN: "warning", faults.NO_START: "no start",
}
LOOKS = {"supervisor": "every second", "selftest": "self-test", "store": "trip record"}


def seen_by(name: str) -> str:
    """Which part of the firmware raises a fault, read off its source; "-" where nothing does."""
    sources = {module: (FIRMWARE / f"{module}.py").read_text(encoding="utf-8") for module in LOOKS}
    where = [look for module, look in LOOKS.items() if f"faults.{name}" in sources[module]]
    return ", ".join(where) or "-"


def faults_block() -> str:
    """Every numbered fault, from the firmware's own table."""
    constants = {value: name for name, value in vars(faults).items() if isinstance(value, int) and name.isupper()}
    return table(("no.", "name", "what was seen", "looked for", "the warmer then", "is it safe", "check first"), [
        (str(row[faults.NUMBER]), f"`{row[faults.NAME]}`", help_text.FAULTS[row[faults.NUMBER]][0],
         seen_by(constants[row[faults.NUMBER]]),
         REACTIONS[row[faults.REACTION]], "**unplug it**" if row[faults.HAZARD] == faults.UNPLUG else "safe",
         help_text.FAULTS[row[faults.NUMBER]][1])
        for row in faults.FAULTS if row[faults.NUMBER] != faults.NONE
    ])


def selftest_rows(build: Build, water_c: float = 22.0) -> Iterable[tuple[int, int, int]]:
    """(second, switch, guard) at each change, for water that never warms; the last row is the verdict's second."""
    test = SelfTest(rig_values(build), 0)
    second, last = 0, (-1, -1)
    while not test.done:
        now = test.step(1000 * second, water_c)
        if now != last or test.done:
            yield (second, *now)
        last = now
        second += 1


def selftest_block() -> str:
    """What a bulb must do in a self-test whose water never warms: the same order in each build, at its own times."""
    lines = []
    for rows in zip(*[selftest_rows(build) for build in BUILDS], strict=True):
        (state,) = {row[1:] for row in rows}
        switch, guard = state
        lines.append([*[clock(row[0]) for row in rows], ("off", "on")[switch], ("open", "closed")[guard],
                      "**glows**" if switch and guard else "dark"])
    lines[-1][-1] = "dark: number 11"
    return table((*[build.name for build in BUILDS], "switch Q1", "guard K1", "bulb"), lines)


def clock(at_s: int) -> str:
    """Minutes and seconds."""
    return f"{at_s // 60}:{at_s % 60:02}"


RELAYED_PARTS = ("-", "K1", "K2", "X5", "X6", "TCO", "D7", "TF1", "lead to K2's coil", "lead back from TF1",
                 "feed of X5")


def relayed_block() -> str:
    """What each failure does in a mat whose cut-outs carry relay K2's coil."""
    return power_table.faults_block(MAT_BY_RELAY, RELAYED_PARTS)


BLOCKS: dict[str, tuple[str, Callable[[], str]]] = {
    "signals": ("electronics.md", signals_block),
    "wrongfiles": ("electronics.md", wrong_files_block),
    "shopping": ("electronics.md", shopping.shopping_block),
    **build_figures.BLOCKS,
    "gate": ("heartbeat-gate.md", gate_block),
    "gateparts": ("heartbeat-gate.md", gate_parts_block),
    "gatefaults": ("heartbeat-gate.md", gate_faults_block),
    "pins": ("electronics.md", pins_block),
    "faults": ("SAFETY.md", faults_block),
    "selftest": ("first-power-up.md", selftest_block),
    "relayed": ("electronics.md", relayed_block),
    "points": ("first-power-up.md", meter_points.points_block),
}


def markers(name: str) -> tuple[str, str]:
    """The text before and after a block."""
    return f"<!-- {name}: written by figures.py -->\n", f"<!-- end of {name} -->"


def shown(name: str) -> str:
    """A block as its page shows it now."""
    page, _ = BLOCKS[name]
    before, after = markers(name)
    return (HERE / page).read_text(encoding="utf-8").partition(before)[2].partition(after)[0].rstrip("\n")


def renew(name: str) -> None:
    """Replace a block in its page."""
    page, make = BLOCKS[name]
    path = HERE / page
    before, after = markers(name)
    head, found, rest = path.read_text(encoding="utf-8").partition(before)
    if not found or after not in rest:
        raise ValueError(f"{page}: no markers of the block {name!r}; wanted {before.strip()!r} and {after.strip()!r}")
    path.write_text(head + before + make() + "\n" + after + rest.partition(after)[2], encoding="utf-8")


if __name__ == "__main__":
    for block in BLOCKS:
        renew(block)
