"""Interrupt live installs and count what the board starts afterwards. Run by hand: python tests/bench/install_cuts.py

Half of them by killing the installing process at a random moment (and mpremote with it), half by a power cut of the
board in a random flash operation, torn every other time. After each the board must start the old version or the new
one, whole, and the next install must finish the job.
"""

from __future__ import annotations

import contextlib
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests" / "host"), str(ROOT / "host"), str(ROOT / "firmware")]

from install_tools import board_with, send  # noqa: E402
from start_tools import Chip, whole_start  # noqa: E402
from test_install_cuts import MAINS, NAMES, NEW, OLD, hello  # noqa: E402

from bainwright.core.errors import BainError  # noqa: E402
from bainwright.virtual.board import VirtualBoard  # noqa: E402

CUTS, SEED = 50, 1
INSTALL_S, OPERATIONS = 1.6, 320  # about the length of one install, in real time and in flash operations


def kill_it(board: VirtualBoard, after_s: float) -> None:
    """Start an install in a process group of its own and kill the group."""
    process = os.fork()
    if process == 0:
        os.setsid()
        try:
            send(board.path, NEW)
        finally:
            os._exit(0)
    time.sleep(after_s)
    with contextlib.suppress(ProcessLookupError):  # it had already finished
        os.killpg(process, signal.SIGKILL)
    os.waitpid(process, 0)


def cut_it(board: VirtualBoard, operation: int, torn: bool) -> None:
    """Install, with a power cut in the middle."""
    board.cut_flash_at(operation, torn)
    with contextlib.suppress(BainError):
        send(board, NEW)


def main() -> None:
    """The count."""
    dice, outcomes = random.Random(SEED), Counter[str]()
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(CUTS):
            with board_with(image=Path(folder) / f"{number}") as board:
                if number % 2:
                    kill_it(board, dice.uniform(0.3, 0.3 + INSTALL_S))
                else:
                    cut_it(board, dice.randrange(1, OPERATIONS), torn=bool(number // 2 % 2))
                flash = board.flash()
                started = whole_start(flash, MAINS)
                assert set(started) <= NAMES, started
                board.power_cut()
                version = hello(board)
                part = "with a part of the new one" if "new" in Chip(flash).fs.listdir("/fw") else "tidy"
                outcomes[f"{'the old' if version == OLD.version else 'the new'} version, {part}"] += 1
                send(board, NEW)
                assert hello(board) == NEW.version
    for what, count in sorted(outcomes.items()):
        print(f"{count:3} started {what}")
    print(f"{sum(outcomes.values()):3} of {CUTS} started a whole version; all finished by the next install; "
          f"{time.monotonic() - began_s:.0f} s")


if __name__ == "__main__":
    main()
