"""The hardware pages say what the firmware does, and the guard's heartbeat gate holds and drops in time."""

import ast
import re
import runpy
import shutil
import sys
import tomllib
import types
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from scipy.integrate import solve_ivp

from bainboard import faults, panel, pins, settings
from bainwright.builds.catalogue import BUILDS, POT
from bainwright.builds.parts import Build
from bainwright.builds.rig_text import rig_text
from bainwright.builds.rules import broken
from bainwright.cli import bain
from bainwright.files.rig import load_rig

ROOT = Path(__file__).parents[2]
HARDWARE = ROOT / "hardware"
sys.path.insert(0, str(HARDWARE))

import build_figures  # noqa: E402 - scripts beside the pages, not a package
import build_files  # noqa: E402
import draw_wiring  # noqa: E402
import figures  # noqa: E402
import gate_circuit  # noqa: E402
import gate_faults  # noqa: E402
import heartbeat_gate  # noqa: E402
import labels  # noqa: E402
import sheet  # noqa: E402

PAGES = sorted(HARDWARE.glob("*.md"))
SVG = "{http://www.w3.org/2000/svg}"


# -- the drawing ------------------------------------------------------------------------------------------------------


each_build = pytest.mark.parametrize("build", BUILDS, ids=[build.name for build in BUILDS])


def drawn_words(path: Path) -> str:
    """Every word of a drawing."""
    return " ".join(" ".join(text.itertext()) for text in ET.parse(path).getroot().iter(SVG + "text"))


@each_build
def test_wiring_of_each_build_is_what_the_script_draws_now(build: Build) -> None:
    stored = draw_wiring.sheet_path(build).read_text(encoding="utf-8")
    assert stored == draw_wiring.draw(build), "run python hardware/draw_wiring.py"


@each_build
def test_wiring_shows_every_pin_of_the_map_and_no_other(build: Build) -> None:
    words = drawn_words(draw_wiring.sheet_path(build))
    shown = {name: int(gpio) for gpio, name in re.findall(r"GP(\d+) (\w+)", words)}
    assert shown == pins.RP2


@each_build
def test_each_part_of_a_builds_list_is_drawn_and_has_a_label(build: Build) -> None:
    listed = [ref for row in build_figures.part_rows(build) for ref in row[0].split(", ") if ref not in ("wire",)]
    drawn = drawn_words(draw_wiring.sheet_path(build))
    labels = drawn_words(HARDWARE / f"{build.name}-labels.svg")
    for ref in listed:
        assert re.search(rf"\b{ref}\b", drawn), ref
        assert ref[0] in "QR" or re.search(rf"\b{ref}\b", labels), ref


def test_a_changed_rating_changes_drawing_list_labels_and_rig_file_and_breaks_a_rule() -> None:
    changed = replace(POT, supply_a=10.0)
    for made in (draw_wiring.draw, build_figures.parts_block, build_figures.values_block, labels.labels_svg):
        assert made(changed) != made(POT)
    assert rig_text(replace(POT, hard_limit_c=57.0)) != rig_text(POT)
    assert broken(POT) == []
    assert broken(changed) == ["supply, over the heater's power: got 1.6, wanted at most 1.5"]


@each_build
def test_labels_lie_on_the_page_and_keep_their_words_inside(build: Build) -> None:
    """A4 is 210 x 297 mm (ISO 216). Widths of the letters are those of DejaVu Sans, by Matplotlib."""
    root = ET.fromstring(labels.labels_svg(build))
    for group in root.iter(SVG + "g"):
        x, y = map(float, re.findall(r"[\d.]+", group.get("transform", "")))
        assert x + labels.WIDE_MM < 205.0
        assert y + labels.HIGH_MM < 292.0
        for text in group.iter(SVG + "text"):
            size = float(text.get("font-size", "3.6"))
            font = FontProperties(family="DejaVu Sans", weight=text.get("font-weight", "normal"))
            wide_mm = TextPath((0, 0), text.text, size=size, prop=font).get_extents().x1
            assert 4.0 + wide_mm < labels.WIDE_MM - 2.0, text.text
            assert float(text.get("y", "0")) < labels.HIGH_MM - 2.0


@each_build
def test_coil_of_each_build_is_the_one_the_gate_was_simulated_with(build: Build) -> None:
    assert build.coil_ohm == gate_circuit.BY_REF["K1"].value


@pytest.mark.skipif(not shutil.which("ngspice"), reason="ngspice is a Debian package; CI installs it")
@pytest.mark.parametrize("threshold_v", [1.0, 2.5])
def test_gate_holds_and_drops_with_the_builds_transistor_at_either_end_of_its_threshold(
    threshold_v: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Oracle: ngspice. The data sheet's threshold of Q2, from memory, is 1.0 to 2.5 V."""
    monkeypatch.setattr(gate_faults, "MODELS", gate_faults.MODELS.replace("VTO=1.5", f"VTO={threshold_v}"))
    found = gate_faults.worst(None)
    assert found.closed == 1.0
    assert 0.0 < found.opens_s < 2.0


@each_build
def test_six_resistors_of_4k7_hold_what_would_float_in_reset(build: Build) -> None:
    """Gate of Q1, guard pin, base of Q3, float and probe bus, and the inverter's open output."""
    assert drawn_words(draw_wiring.sheet_path(build)).split().count("4.7k") == 6


def test_float_s_pin_is_surely_high_when_wet_and_never_over_what_a_pin_takes() -> None:
    """Kirchhoff, all corners. RP2040: high from 2.0 V; ESP32: from 0.75 x 3.3 V; a pin takes 0.3 V over 3.3 V (M)."""
    corners = [v * 4.7 * low / (33.0 * up + 4.7 * low)
               for v in (22.8, 24.0, 25.2) for low in (0.95, 1.05) for up in (0.95, 1.05)]
    assert figures.float_pin_v() == pytest.approx((min(corners), max(corners)))
    assert min(corners) > 0.75 * 3.3
    assert max(corners) < 3.6


def test_pin_table_of_the_page_gives_each_name_its_gpio() -> None:
    rows = re.findall(r"^\| GP(\d+) \| (\d+) \| `(\w+)`", figures.shown("pins"), re.M)
    assert {name: int(gpio) for gpio, _, name in rows} == pins.RP2


def test_board_edge_counts_its_gpios_in_order_and_leaves_out_the_ground_pins() -> None:
    """Pico pinout, from memory: a ground at 3, 8, 13, 18, 23, 28, 33 and 38, the last ten for power and analogue."""
    grounds = {3, 8, 13, 18, 23, 28, 33, 38}
    edge = [pin for pin in range(1, 30) if pin not in grounds]
    assert [sheet.HEADER[gpio] for gpio in range(23)] == edge[:23]
    assert not grounds & set(sheet.HEADER.values())


# -- the heartbeat gate -----------------------------------------------------------------------------------------------


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


# -- one broken part --------------------------------------------------------------------------------------------------

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


# -- the check that runs on the board ---------------------------------------------------------------------------------


def with_fake_pins(
    monkeypatch: pytest.MonkeyPatch, sleep: Callable[[float], None],
    changed: Callable[[int], None] = lambda number: None,
) -> dict[int, int]:
    """A board's modules for its own scripts: the level of each pin, by its number; `changed` hears of each change."""
    levels: dict[int, int] = {}

    class Pin:
        OUT = 1

        def __init__(self, number: int, mode: int, value: int) -> None:
            self.number = number
            levels[number] = value

        def value(self, level: int) -> None:
            if levels[self.number] != level:
                changed(self.number)
            levels[self.number] = level

    monkeypatch.setitem(sys.modules, "machine", types.SimpleNamespace(Pin=Pin))
    monkeypatch.setitem(sys.modules, "time", types.SimpleNamespace(sleep=sleep))
    return levels


def test_gate_check_beats_once_a_second_leaves_the_heater_low_and_ends_low(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    now_s: list[float] = [0]
    changes: list[tuple[float, int]] = []

    def sleep(seconds: float) -> None:
        now_s[0] += seconds

    levels = with_fake_pins(monkeypatch, sleep, lambda number: changes.append((now_s[0], number)))
    runpy.run_path(str(HARDWARE / "check_gate.py"))
    edges = [at for at, number in changes if number == pins.RP2["heartbeat"]]
    assert min(np.diff(edges)) >= 1
    assert len(edges) > 15
    assert set(levels) == {pins.RP2["heater"], pins.RP2["guard"], pins.RP2["heartbeat"]}
    assert not any(number == pins.RP2["heater"] for _, number in changes)
    assert not any(levels.values())
    page = (HARDWARE / "first-power-up.md").read_text(encoding="utf-8")
    said = [line.partition(":")[0] for line in capsys.readouterr().out.splitlines()[:-1]]
    assert said == re.findall(r"^\| ((?:guard high|edges)[^|]*?) \|", page, re.M)


def test_heat_check_heats_for_two_minutes_with_edges_and_ends_low_however_it_ends(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    heated_s, stop_at_s = [0], [float("inf")]

    def sleep(seconds: float) -> None:
        heated_s[0] += levels[pins.RP2["heater"]] * levels[pins.RP2["guard"]]
        if heated_s[0] >= stop_at_s[0]:
            raise KeyboardInterrupt

    levels = with_fake_pins(monkeypatch, sleep)
    runpy.run_path(str(HARDWARE / "check_heat.py"))
    assert heated_s[0] == 120
    assert not any(levels.values())
    heated_s[0], stop_at_s[0] = 0, 7
    with pytest.raises(KeyboardInterrupt):
        runpy.run_path(str(HARDWARE / "check_heat.py"))
    assert not any(levels.values())
    assert set(levels) == {pins.RP2["heater"], pins.RP2["guard"], pins.RP2["heartbeat"]}


# -- the pages --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("block", sorted(figures.BLOCKS))
def test_computed_block_is_what_the_script_writes_now(block: str) -> None:
    assert figures.shown(block) == figures.BLOCKS[block][1](), "run python hardware/figures.py"


def test_safety_page_numbers_every_fault_as_the_firmware_does() -> None:
    page = (HARDWARE / "SAFETY.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+) \| `(\w+)` \|", page, re.M)
    assert [(int(number), name) for number, name in rows] == [row[:2] for row in faults.FAULTS[1:]]


def test_every_hazardous_fault_says_unplug_on_the_safety_page() -> None:
    rows = re.findall(r"^\| (\d+) \| `.*\*\*unplug it\*\*", (HARDWARE / "SAFETY.md").read_text(encoding="utf-8"), re.M)
    assert [int(number) for number in rows] == [
        row[faults.NUMBER] for row in faults.FAULTS if row[faults.HAZARD] == faults.UNPLUG
    ]


def test_files_made_from_the_builds_are_what_the_script_writes_now() -> None:
    for path, text in build_files.files().items():
        assert path.read_text(encoding="utf-8") == text, f"{path.name}: run python hardware/build_files.py"


@each_build
def test_rig_file_of_each_build_is_one_the_toolkit_takes(build: Build) -> None:
    rig = load_rig(str(HARDWARE / f"{build.name}-rig.toml"))
    assert rig.settings["heater_w"] == build.heater_w
    assert (rig.settings["switch"], rig.settings["guard"], rig.settings["probe.water.kind"]) == ("dc", True, "onewire")


@each_build
def test_rig_file_with_both_probes_is_taken_once_their_ids_are_filled_in(build: Build) -> None:
    text = (HARDWARE / f"{build.name}-rig.toml").read_text(encoding="utf-8")
    text = re.sub(r"^# (\[probe\.bowl\]|kind =.*|rom =.*)$", r"\1", text, flags=re.M)
    text = text.replace('""', '"28ff641e9216042c"')
    probe = tomllib.loads(text)["probe"]
    values = {f"probe.{place}.{name}": value for place in probe for name, value in probe[place].items()}
    assert settings.check(settings.SETTINGS, values)[1] is None
    assert set(probe) == {"water", "bowl"}


def test_pages_name_only_commands_and_options_that_exist() -> None:
    known = {name: {option for each in (command, *getattr(command, "commands", {}).values())
                    for parameter in each.params for option in parameter.opts}
             for name, command in bain.commands.items()}
    for page in PAGES:
        for name, rest in re.findall(r"`bain (\w+)([^`]*)`", page.read_text(encoding="utf-8")):
            assert name in known, f"{page.name}: bain {name}"
            assert set(re.findall(r"--[a-z][a-z-]*", rest)) <= known[name], f"{page.name}: bain {name}{rest}"


def test_every_link_between_the_pages_leads_somewhere() -> None:
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
            assert (HARDWARE / target).exists(), f"{page.name}: {target}"


# -- the kitchen card -------------------------------------------------------------------------------------------------


def card_words() -> str:
    """All words of the card."""
    root = ET.parse(HARDWARE / "kitchen-card.svg").getroot()
    return " ".join("".join(text.itertext()) for text in root.iter(SVG + "text"))


@pytest.mark.parametrize("group", ["below", "inside", "above", "pause"])
def test_card_lights_the_lamps_the_panel_lights(group: str) -> None:
    root = ET.parse(HARDWARE / "kitchen-card.svg").getroot()
    circles = root.findall(f".//{SVG}g[@id='{group}']/{SVG}circle")
    lit = tuple(int(circle.get("fill") != "white") for circle in circles)
    assert lit == panel.lamps("pause" if group == "pause" else "hold", group, None, 0)


def test_card_gives_the_buttons_as_the_panel_has_them() -> None:
    buttons = panel.Buttons()
    made = {}
    for held_ms, name in ((200, "tap"), (2000, "hold")):
        for which in ("yes", "no"):
            acts = []
            for now_ms in range(0, 4000, 10):
                down = 500 <= now_ms < 500 + held_ms
                acts += buttons.feed(len(made) * 10000 + now_ms, down and which == "yes", down and which == "no", False)
            made[which, name] = acts
    assert made == {("yes", "tap"): ["confirm"], ("no", "tap"): ["thicker"], ("yes", "hold"): ["announce"],
                    ("no", "hold"): ["pause"]}
    words = card_words()
    for said in ("done, passed,", "it thickens", "a refill is coming", "water pause", "hold two seconds"):
        assert said in words


def test_card_gives_the_sounds_as_the_panel_plays_them() -> None:
    def beats(sound: str) -> list[int]:
        return list(panel.SOUNDS[sound][0][::2])

    words = card_words()
    assert len(beats(panel.UNPLUG)) == 3
    assert "three hard knocks" in words
    assert len(beats(panel.MORNING)) == 2
    assert panel.MORNING_MS == 60000
    assert "two long calls, for a minute" in words
    ask_ms = sum(panel.SOUNDS[panel.ASK][0])
    assert len(beats(panel.ASK)) == 2
    assert ask_ms == 20000
    assert "a double tap, three times a minute" in words
    warm = beats(panel.WARM)
    assert len(warm) == 3
    assert warm[2] > 3 * warm[1]
    assert "two taps and a held note" in words
    assert len(set(beats(panel.DONE))) == 1
    assert len(beats(panel.DONE)) == 3
    assert "three even notes" in words


def test_card_says_unplug_first_and_wipe_the_bowls_underside() -> None:
    words = card_words()
    assert "UNPLUG FIRST" in words
    assert "wipe its underside dry" in words
    assert panel.CLEAR_MS == 3000
    assert "three seconds: ends the hold, or clears a trip" in words
    assert panel.LOCK_MS == 3000
    assert "Both, three seconds: locked for the night" in words
