"""Wiring, labels and what is round the board are drawn from the builds' tables, and agree with them."""

import re
import shutil
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from drawn import SVG, drawn_words, each_build
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from bainboard import pins
from bainwright.builds.catalogue import POT
from bainwright.builds.parts import Build
from bainwright.builds.rig_text import rig_text
from bainwright.builds.rules import broken

ROOT = Path(__file__).parents[2]
HARDWARE = ROOT / "hardware"
sys.path.insert(0, str(HARDWARE))

import build_figures  # noqa: E402 - scripts beside the pages, not a package
import draw_wiring  # noqa: E402
import figures  # noqa: E402
import gate_circuit  # noqa: E402
import gate_faults  # noqa: E402
import labels  # noqa: E402
import sheet  # noqa: E402


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
        assert ref[0] in "DQR" or re.search(rf"\b{ref}\b", labels), ref


def test_a_changed_rating_changes_drawing_list_labels_and_rig_file_and_breaks_a_rule() -> None:
    changed = replace(POT, supply_a=10.0)
    for made in (draw_wiring.draw, build_figures.parts_block, build_figures.values_block, labels.labels_svg):
        assert made(changed) != made(POT)
    assert rig_text(replace(POT, hard_limit_c=57.0)) != rig_text(POT)
    assert broken(POT) == []
    assert broken(changed) == [
        "supply, over the heater's power: got 1.6, wanted at most 1.5",
        "mat partly shorted, vessel's cut-out at its latest: got 201 °C, wanted at most 190",
    ]


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
def test_resistors_of_4k7_hold_what_would_float_in_reset_and_two_feed_the_heat_lamp(build: Build) -> None:
    """Gate of Q1, guard pin, base of Q3, float (no plate has one) and probe bus, and the inverter's open output."""
    assert drawn_words(draw_wiring.sheet_path(build)).split().count("4.7k") == 2 + (5 if build.heats == "plate" else 6)


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
