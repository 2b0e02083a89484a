"""Serve a virtual board on a pseudo-terminal until stopped: what `bain board` does."""

from __future__ import annotations

import shutil
import signal
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

from bainwright.core.errors import LinkError, UseError
from bainwright.core.keys import Keys
from bainwright.core.os_errors import reason
from bainwright.core.terminal import drawing, visible
from bainwright.link.served_boards import announced
from bainwright.virtual import panel_view
from bainwright.virtual.board import VirtualBoard

LOOK_S = 0.1  # chosen: a lamp that blinks for 0.2 s is still shown
PICTURE_S = 2.0  # chosen: a picture takes a second of processor time


class _StopError(Exception):
    """A signal asked this process to end."""


def serve(
    rig: Any,
    plant_spec: str | None = None,
    speed: float | None = 1.0,
    link_path: Path | None = None,
    *,
    flash_files: Mapping[str, bytes] | None = None,
    scenario: Any = None,
    seed: int = 0,
    image: Path | None = None,
    truth: Path | None = None,
    panel: bool = False,
    png: Path | None = None,
    board: str | None = None,
) -> None:
    """Run a virtual board until SIGINT or SIGTERM. The first line on stdout is the path to open.

    Parameters
    ----------
    rig : Rig
        The warmer as built.
    plant_spec : str, optional
        ``FILE.py:NAME`` of a plant to use instead of the built-in one.
    speed : float, optional
        Simulated seconds per real second; None runs as fast as possible.
    link_path : Path, optional
        A symbolic link to the pseudo-terminal, for a name that stays the same.
    flash_files, scenario, seed, image, truth
        As `VirtualBoard` takes them.
    panel : bool
        Show the board's panel in the terminal, and let keys press its buttons.
    png : Path, optional
        Save a picture of the panel to this file.
    board : str
        As `VirtualBoard` takes it.

    Raises
    ------
    UseError
        When `link_path` exists and is no link, or `png` cannot be a file.
    LinkError
        When the simulator ends by itself.
    """
    if png is not None and png.suffix.lower() != ".png":
        raise UseError(f"--png {png}", wanted="a name that ends in .png: the file is written again and again")
    if png is not None and (png.is_dir() or not png.absolute().parent.is_dir()):
        raise UseError(f"the picture {png} cannot be written", wanted="a file in an existing folder",
                       hint="choose another file for --png")
    with (
        _stop_signals(),
        VirtualBoard(rig, plant_spec, scenario, seed, speed, flash_files, image, truth, board=board) as served,
        _link(link_path, served.path),
        announced(str(link_path.absolute()) if link_path else served.path),
    ):
        served.arm()
        served.run_clock()
        print(served.path, flush=True)
        print(f"VIRTUAL board, rig {rig.name}: a simulated warmer. Ctrl-C ends it.", file=sys.stderr, flush=True)
        try:
            if panel or png is not None:
                _show(served, rig.name, panel, png)
            served.wait()
        except _StopError:
            return
        raise LinkError("the virtual board ended by itself", hint="its last messages are on stderr")


def _show(board: VirtualBoard, name: str, panel: bool, png: Path | None) -> None:
    """Draw the panel whenever it changes, and let keys press its buttons, until stopped or the board ends."""
    shown: panel_view.PanelView | None = None
    saved: panel_view.PanelView | None = None
    saved_s = -PICTURE_S
    drawn = 0
    with Keys() as keys:
        try:
            while True:
                panel_view.press(board, keys.pressed())
                seen = panel_view.read_panel(board)
                if panel and seen != shown:
                    drawn, shown = _draw(panel_view.text(seen, shutil.get_terminal_size().lines), drawn), seen
                if png is not None and seen != saved and time.monotonic() - saved_s >= PICTURE_S:
                    panel_view.save(seen, png, name)
                    saved, saved_s = seen, time.monotonic()
                time.sleep(LOOK_S)
        except _StopError:
            if saved is not None and png is not None:  # what draws may have been loaded by half
                panel_view.save(panel_view.read_panel(board), png, name)
            raise


def _draw(lines: list[str], above: int) -> int:
    """Write lines to stderr, on a terminal over the last ones; returns how many."""
    back = f"\x1b[{above}A" if above and sys.stderr.isatty() else ""
    out = drawing(sys.stderr)
    out.write(back + "".join(f"\x1b[2K{line}\n" if out.isatty() else f"{line}\n" for line in map(visible, lines)))
    out.flush()
    return len(lines)


@contextmanager
def _stop_signals() -> Iterator[None]:
    def stop(number: int, frame: FrameType | None) -> None:
        for each, _ in before:  # a second one would break off the ending
            signal.signal(each, signal.SIG_IGN)
        raise _StopError

    before = [(number, signal.getsignal(number)) for number in (signal.SIGINT, signal.SIGTERM)]
    for number, _ in before:
        signal.signal(number, stop)
    try:
        yield
    except _StopError:  # asked to end while still starting
        pass
    finally:
        for number, handler in before:
            signal.signal(number, handler)


@contextmanager
def _link(link: Path | None, path: str) -> Iterator[None]:
    if link is None:
        yield
        return
    if link.exists() and not link.is_symlink():
        raise UseError(f"{link} exists and is not a link", hint="choose another path")
    try:
        link.unlink(missing_ok=True)
        link.symlink_to(path)
    except OSError as failed:
        raise UseError(f"the link {link} cannot be made", got=reason(failed), hint="choose another --path") from failed
    try:
        yield
    finally:
        link.unlink(missing_ok=True)
