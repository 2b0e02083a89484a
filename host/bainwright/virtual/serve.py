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
from bainwright.link.served_boards import announced
from bainwright.virtual import panel_view
from bainwright.virtual.board import VirtualBoard

LOOK_S = 0.1  # chosen: a lamp that winks for 0.2 s is seen to
PICTURE_S = 2.0  # chosen: a picture takes a second of a processor


class _StopError(Exception):
    """Someone asked us to end."""


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
) -> None:
    """Run a virtual board until SIGINT or SIGTERM; its first line on stdout is the path to open.

    Parameters
    ----------
    rig : Rig
        The warmer as built.
    plant_spec : str, optional
        ``FILE.py:NAME`` of a plant to use instead of the built-in one.
    speed : float, optional
        Simulated over real seconds; None runs as fast as it goes.
    link_path : Path, optional
        A symbolic link to make to the pseudo-terminal, for a name that stays the same.
    flash_files, scenario, seed, image, truth
        As `VirtualBoard` takes them.
    panel : bool
        Show the board's front in the terminal, and let keys press its buttons.
    png : Path, optional
        Keep a picture of the front in this file.

    Raises
    ------
    UseError
        When there is something other than a link at `link_path`, or no place for a file at `png`.
    LinkError
        When the board's supervisor ends by itself.
    """
    if png is not None and (png.is_dir() or not png.absolute().parent.is_dir()):
        raise UseError(f"no picture can be kept at {png}", wanted="a file in a folder that is there",
                       hint="choose another file for --png")
    with (
        _stop_signals(),
        VirtualBoard(rig, plant_spec, scenario, seed, speed, flash_files, image, truth) as board,
        _link(link_path, board.path),
        announced(str(link_path.absolute()) if link_path else board.path),
    ):
        board.arm()
        board.run_clock()
        print(board.path, flush=True)
        print(f"VIRTUAL board, rig {rig.name}: a simulated warmer. Ctrl-C ends it.", file=sys.stderr, flush=True)
        try:
            if panel or png is not None:
                _show(board, rig.name, panel, png)
            board.wait()
        except _StopError:
            return
        raise LinkError("the virtual board ended by itself", hint="see its last words on stderr")


def _show(board: VirtualBoard, name: str, panel: bool, png: Path | None) -> None:
    """The front, drawn anew when it changes; keys press its buttons. Until stopped, or the board ends."""
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
            if png is not None:
                panel_view.save(panel_view.read_panel(board), png, name)
            raise


def _draw(lines: list[str], above: int) -> int:
    """Lines on stderr, over those drawn before on a terminal; how many they are."""
    back = f"\x1b[{above}A" if above and sys.stderr.isatty() else ""
    sys.stderr.write(back + "".join(f"\x1b[2K{line}\n" if sys.stderr.isatty() else f"{line}\n" for line in lines))
    sys.stderr.flush()
    return len(lines)


@contextmanager
def _stop_signals() -> Iterator[None]:
    def stop(number: int, frame: FrameType | None) -> None:
        raise _StopError

    before = [(number, signal.signal(number, stop)) for number in (signal.SIGINT, signal.SIGTERM)]
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
        raise UseError(f"{link} is there already and is not a link", hint="choose another path")
    try:
        link.unlink(missing_ok=True)
        link.symlink_to(path)
    except OSError as failed:
        raise UseError(f"no link can be made at {link}", got=reason(failed), hint="choose another --path") from failed
    try:
        yield
    finally:
        link.unlink(missing_ok=True)
