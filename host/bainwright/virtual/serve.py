"""Serve a virtual board on a pseudo-terminal until stopped: what `bain board` does."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

from bainwright.errors import LinkError, UseError
from bainwright.virtual.board import VirtualBoard


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

    Raises
    ------
    UseError
        When there is something other than a link at `link_path`.
    LinkError
        When the board's supervisor ends by itself.
    """
    with (
        _stop_signals(),
        VirtualBoard(rig, plant_spec, scenario, seed, speed, flash_files, image, truth) as board,
        _link(link_path, board.path),
    ):
        board.arm()
        board.run_clock()
        print(board.path, flush=True)
        print(f"VIRTUAL board, rig {rig.name}: a simulated warmer. Ctrl-C ends it.", file=sys.stderr, flush=True)
        try:
            board.wait()
        except _StopError:
            return
        raise LinkError("the virtual board ended by itself", hint="see its last words on stderr")


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
    link.unlink(missing_ok=True)
    link.symlink_to(path)
    try:
        yield
    finally:
        link.unlink(missing_ok=True)
