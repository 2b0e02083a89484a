"""Print how long `bain install` takes on a virtual board. Run by hand: python tests/bench/install_times.py

The whole command is timed, from the start of Python to its end, on a board served by another process as if on a port. A
real board adds the time of its flash and USB: on the virtual one they take no real time.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests" / "host"), str(ROOT / "host"), str(ROOT / "firmware")]

from install_tools import bare, board_with, newer_version, send  # noqa: E402

RUNS = 5


def seconds(path: str, *options: str) -> float:
    """How long one command takes."""
    began_s = time.monotonic()
    subprocess.run(
        [sys.executable, "-m", "bainwright.cli", "install", "--port", path, *options], check=True, capture_output=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path[1:3])},
    )
    return time.monotonic() - began_s


def main() -> None:
    """The table."""
    times: dict[str, list[float]] = {"first time": [], "nothing to do": [], "one file differs": [], "back": []}
    for _ in range(RUNS):
        with board_with(bare()) as board:
            times["first time"].append(seconds(board.path))
            times["nothing to do"].append(seconds(board.path))
            send(board, newer_version())
            times["one file differs"].append(seconds(board.path))
            times["back"].append(seconds(board.path, "--back"))
    for what, found in times.items():
        print(f"{what:18} median {statistics.median(found):5.2f} s, worst {max(found):5.2f} s of {len(found)}")


if __name__ == "__main__":
    main()
