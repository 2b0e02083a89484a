"""The front of a virtual board: the display's bytes become a picture that is read back letter by letter."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from board_tools import micropython
from matplotlib.image import imread
from test_panel_on_board import Talk, latched_board

from bainboard import display_text, display_words, faults
from bainboard.drivers import display
from bainwright.cli import main
from bainwright.core.errors import FileError
from bainwright.files.documents import flash_of
from bainwright.files.rig import load_rig
from bainwright.virtual import panel_view
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes
from bainwright.words import terms

ON = 1 | 2 | 4 | 8  # shown, charge pump on, mirrored both ways

FONT = """
import framebuf
row = bytearray(8)
canvas = framebuf.FrameBuffer(row, 8, 8, framebuf.MONO_VLSB)
for code in range(32, 127):
    canvas.fill(0)
    canvas.text(chr(code), 0, 0, 1)
    print(bytes(row).hex())
"""


@cache
def letters() -> dict[bytes, str]:
    """MicroPython's own 8 x 8 letters, by their columns."""
    said = subprocess.run([micropython(), "-c", FONT], capture_output=True, text=True, check=True).stdout
    return {bytes.fromhex(line): chr(code) for code, line in enumerate(said.split(), 32)}


def read(memory: bytes) -> list[str]:
    """The display's rows as text; a ``~`` where there is no letter."""
    table = letters()
    found = []
    for row in range(8):
        cells = [memory[128 * row + 8 * x : 128 * row + 8 * x + 8] for x in range(16)]
        if memory[128 * row + 127] == 0xFF and row == 0:
            cells = [bytes(255 - byte for byte in cell) for cell in cells]
        found.append("".join(table.get(cell, "~") for cell in cells).rstrip())
    return found


def figures(memory: bytes, text: str) -> bool:
    """Are these big figures at the left of the five upper rows?"""
    for row in range(5):
        wanted = bytearray(128)
        display.paint_big(wanted, text, row)
        if memory[128 * row : 128 * row + display.SIDE] != bytes(wanted[: display.SIDE]):
            return False
    return True


def memory_of(*rows: str) -> bytes:
    """A display's memory with these rows of text."""
    codes = {letter: columns for columns, letter in letters().items()}
    return b"".join(b"".join(codes[letter] for letter in f"{row:<16}") for row in rows).ljust(1024, b"\0")


def tick(talk: Talk, count: int = 2) -> None:
    """Let ticks pass."""
    for _ in range(count):
        talk.until(lambda said: "status" in said)


@contextmanager
def with_display() -> Iterator[Talk]:
    with latched_board(display=True) as talk:
        tick(talk, 3)
        yield talk


# -- what the firmware shows -------------------------------------------------------------------------------------------


def test_a_trip_shows_its_three_facts_and_a_hold_its_figures_window_and_time_left() -> None:
    with with_display() as talk:
        fitted, state, memory = talk.board.display()
        assert (fitted, state) == (True, ON)
        assert read(memory)[:3] == ["HEAT OFF", "rises? unplug it", "new, or trip"]
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        talk.ask("start", stage="work", for_ms=3600000)
        talk.event("checked")
        while True:
            said = talk.until(lambda said: "status" in said)
            _, _, memory = talk.board.display()
            if read(memory)[6] == "dipping":
                break
        tick(talk)
        _, _, memory = talk.board.display()
        assert any(figures(memory, f"{(said['bowl'] + off) / 1000:.1f}") for off in (-100, 0, 100))
        rows = read(memory)
        assert rows[5].startswith("31.0-32.0 W")
        assert rows[7].endswith(" left")
        assert rows[7].startswith("0:5")


def test_unplugged_it_holds_nothing_up_and_comes_back_by_itself() -> None:
    with with_display() as talk:
        talk.board.fault("display_open")
        talk.board.power_cut(2)
        assert talk.event("display")["at"] == "off"
        assert talk.ask("hello")["ok"]
        talk.board.fault("display_open", False)
        assert talk.event("display")["at"] == "on"
        tick(talk)
        fitted, _, memory = talk.board.display()
        assert fitted
        assert read(memory)[0] == "HEAT OFF"


def test_a_rig_without_one_sends_it_nothing() -> None:
    with latched_board() as talk:
        tick(talk, 3)
        fitted, state, _ = talk.board.display()
        assert (fitted, state) == (False, 0)


def told(talk: Talk) -> list[tuple[Any, ...]]:
    found: list[tuple[Any, ...]] = []
    while [row[0] for row in found].count("hold") < 120:
        said = talk.until(lambda said: "status" in said and said["t"] > 0)
        found.append(tuple(said[name] for name in ("state", "water", "bowl", "duty", "on")))
    return found


def duties(**settings: Any) -> list[tuple[Any, ...]]:
    """The self-test and two minutes of a hold on a zero-cross switch, tick by tick."""
    rig = name_probes(load_rig("plate").with_settings(settings))
    with VirtualBoard(rig, flash_files=flash_of(rig), seed=3) as board:
        talk = Talk(board)
        board.arm()
        assert talk.ask("start", stage="work")["ok"]
        board.run_clock()
        return told(talk)


def test_the_switch_does_the_same_with_a_display_and_without() -> None:
    assert load_rig("plate").settings["switch"] == "zero_cross"
    without = duties()
    assert any(row[3] > 0 and row[4] > 0 for row in without)
    assert duties(display=True) == without


# -- the lock ----------------------------------------------------------------------------------------------------------


def test_both_buttons_lock_for_the_night_and_only_the_recessed_one_still_ends_the_hold() -> None:
    with with_display() as talk:
        talk.board.press("recessed", 4500)
        talk.event("cleared")
        talk.ask("start", stage="work")
        talk.event("checked")
        panel_view.press(talk.board, "l")
        assert talk.event("lock")["at"] == "on"
        tick(talk)
        assert read(talk.board.display()[2])[5] == display_text.LOCKED
        panel_view.press(talk.board, "w")
        tick(talk, 4)
        assert talk.ask("hello")["state"] == "hold"
        panel_view.press(talk.board, "c")
        assert talk.event("ended")["why"] == "stopped"
        panel_view.press(talk.board, "l")
        assert talk.event("lock")["at"] == "off"


def test_the_host_locks_and_unlocks_and_is_refused_where_there_are_no_buttons() -> None:
    with latched_board() as talk:
        assert talk.ask("lock", at="on")["ok"]
        assert not talk.ask("lock", at="perhaps")["ok"]
        panel_view.press(talk.board, "l")
        assert talk.event("lock")["at"] == "off"  # so it was locked
        assert talk.ask("lock", at="off")["ok"]
    with latched_board(panel=False) as talk:
        assert talk.ask("lock", at="on")["why"] == "no panel is fitted"


# -- what a person sees of it ------------------------------------------------------------------------------------------


def front_of(*rows: str, state: int = ON, lamps: tuple[bool, ...] = (False, True, False)) -> panel_view.PanelView:
    return panel_view.PanelView(panel_view.dots_of(state, memory_of(*rows)), lamps, False, True)


def test_what_the_board_asks_the_host_says_too() -> None:
    """Every prompt the host has words for, the display has too."""
    for key in set(terms.PROMPTS) - {""}:
        assert display_text.words(display_words.ASKED, key) != key, key
    assert len(display_words.FAULTS.split("\n")) == len(faults.FAULTS) + 2


def test_dots_are_upright_with_both_mirrors_and_turned_round_with_none() -> None:
    memory = memory_of("L")
    upright = panel_view.dots_of(ON, memory)
    assert upright[:8, :8].any()
    assert not upright[8:].any()
    assert (panel_view.dots_of(1 | 2, memory) == upright[::-1, ::-1]).all()
    assert (panel_view.dots_of(ON | 16, memory) == ~upright).all()
    assert not panel_view.dots_of(ON & ~1, memory).any()
    assert not panel_view.dots_of(ON & ~2, memory).any()  # no charge pump, no light


def test_blocks_and_braille_show_every_dot_where_it_is() -> None:
    dots = np.random.default_rng(4).random((64, 128)) < 0.5
    rows = panel_view.blocks(dots)
    assert {len(row) for row in rows} == {64}
    for y, x in ((0, 0), (1, 0), (0, 1), (63, 127), (17, 40)):
        bit = panel_view.BLOCKS.index(rows[y // 2][x // 2]) >> (2 * (y % 2) + x % 2) & 1
        assert bit == dots[y, x]
    rows = panel_view.braille(dots)
    assert (len(rows), len(rows[0])) == (16, 64)
    for y, x in ((0, 0), (3, 1), (2, 0), (63, 127), (18, 41)):
        # The Unicode Standard, Braille Patterns: dots 1 2 3 7 down the left, 4 5 6 8 down the right; from memory.
        number = ((1, 2, 3, 7), (4, 5, 6, 8))[x % 2][y % 4]
        assert (ord(rows[y // 4][x // 2]) - 0x2800) >> (number - 1) & 1 == dots[y, x]


@pytest.mark.parametrize("height", [24, 60])
def test_the_terminal_view_fits_and_says_virtual_lamps_and_keys(height: int) -> None:
    lines = panel_view.text(front_of("hello"), height)
    assert max(len(line) for line in lines) <= 80
    assert len(lines) < height
    said = "\n".join(lines)
    keys = [what for _, _, what in panel_view.KEYS.values()]
    for wanted in ("VIRTUAL", "○ below", "● in", "○ above", "buzzer", *keys):
        assert wanted in said


def test_the_picture_shows_dots_and_lamps_and_is_written_whole(tmp_path: Path) -> None:
    path = tmp_path / "panel.png"
    panel_view.save(front_of("MMMMMMMM"), path, "pot")
    lit = imread(path)
    panel_view.save(front_of(""), path, "pot")
    dark = imread(path)
    assert lit.shape == dark.shape
    upper = slice(int(lit.shape[0] * 0.11), int(lit.shape[0] * 0.2))
    assert lit[upper].mean() > dark[upper].mean() + 0.05
    assert [entry.name for entry in tmp_path.iterdir()] == ["panel.png"]
    with pytest.raises(FileError, match="cannot be written"):
        panel_view.save(front_of(""), tmp_path / "none" / "panel.png", "pot")


def test_two_buttons_are_pressed_at_one_moment_however_fast_time_passes() -> None:
    """Held three seconds each, and at 100 times the speed 30 ms apart: they were never down together."""
    done: list[Any] = []

    class Fast:
        press = staticmethod(lambda button, for_ms: done.append((button, for_ms)))

        @contextlib.contextmanager
        def clock_held(self) -> Iterator[None]:
            done.append("held")
            yield
            done.append("goes on")

    assert panel_view.press(Fast(), "l")
    assert done == ["held", ("yes", panel_view.HELD_MS), ("no", panel_view.HELD_MS), "goes on"]


def test_a_key_that_is_none_presses_nothing() -> None:
    assert not panel_view.press(None, "")
    assert not panel_view.press(None, "z")


@pytest.mark.parametrize("place", ["none/panel.png", "my_pot.toml"])
def test_a_place_where_no_picture_can_be_stored_is_refused_before_anything_starts(
    tmp_path: Path, place: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["board", "--png", str(tmp_path / place)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "wanted a file in an existing folder" in said.err or "wanted a name that ends in .png" in said.err


def test_a_served_board_comes_commissioned_and_keeps_its_flash(monkeypatch: pytest.MonkeyPatch) -> None:
    """No button of one without a panel can be reached: latched, it could never be used."""
    given: dict[str, Any] = {}
    monkeypatch.setattr("bainwright.virtual.serve.serve", lambda rig, *_, **options: given.update(options, rig=rig))
    assert main(["board", "--rig", "pot", "--image", "mine.flash", "--scenario", "orange_sticks"]) == 0
    assert {"/latch.a", "/settings.a"} <= set(given["flash_files"])
    assert given["rig"].settings["probe.water.rom"]
    assert given["scenario"].duration_s
    assert (given["image"], given["panel"]) == (Path("mine.flash"), False)


def test_serving_with_a_panel_draws_it_and_keeps_the_picture(tmp_path: Path) -> None:
    """As a person has it: the path first, the panel on stderr, the picture when it ends."""
    micropython()
    picture = tmp_path / "p.png"
    process = subprocess.Popen([sys.executable, "-m", "bainwright.cli", "board", "--panel", "--png", str(picture)],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL,
                               env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)})
    try:
        assert process.stdout is not None
        assert process.stdout.readline().startswith("/dev/")
        deadline = time.monotonic() + 60
        while not picture.exists() and time.monotonic() < deadline:
            time.sleep(0.1)
        process.send_signal(signal.SIGTERM)
        _, told = process.communicate(timeout=60)
    finally:
        process.kill()
    assert process.returncode == 0
    assert "recessed 3 s" in told
    assert "┌─ VIRTUAL" in told
    assert "\x1b" not in told  # no terminal, no cursor
    assert imread(picture).shape[1] > 1000
