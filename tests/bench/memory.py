"""Print how much of a board's heap the firmware takes. Run by hand: python tests/bench/memory.py [MICROPYTHON]

MICROPYTHON may be a 32-bit build, whose objects are as large as a board's: Debian's package for i386, for example. The
64-bit interpreter that is used without it has larger ones, and its figures are divided by 1.5. The modules are
bytecode, as on a board. Code is the memory for loading them, display and panel included; data is what a running hold
adds.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from bainwright.files.firmware import as_on_board, firmware
from bainwright.virtual.interpreter import MPY

FIRMWARE = Path(__file__).parents[2] / "firmware"
WORD_FACTOR = 1.5
HEAP_KB, AIM_KB = 201, 140
RESERVE_KB = 12
FITTED = ["drivers.onewire_probe", "display_task"]  # loaded where a warmer has them


def compile_all(folder: Path) -> None:
    """Every module of the firmware as bytecode under `folder`, as an install sends it, and the probes beside them."""
    for path, content in firmware(MPY).files.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    for name in ("memory_probe.py", "long_hold_probe.py"):
        source = Path(__file__).with_name(name).read_text(encoding="utf-8")
        (folder / name).write_text(as_on_board(source), encoding="utf-8")


def layers() -> list[str]:
    """The order in which the board loads them."""
    block = re.search(r"LAYERS = \((.*?)\)\n", (FIRMWARE / "bainboard" / "start.py").read_text(), re.DOTALL)
    assert block, "start.py has no list of layers"
    return re.findall(r'"([a-z_.]+)"', block[1])


def main() -> None:
    """The table."""
    with tempfile.TemporaryDirectory() as folder:
        compile_all(Path(folder))
        interpreter = sys.argv[1] if len(sys.argv) > 1 else str(Path(sys.executable).with_name("micropython"))
        command = [interpreter, "-X", "heapsize=1M"]
        command += [f"{folder}/memory_probe.py", folder]
        said = subprocess.run(command + layers() + FITTED, capture_output=True, text=True, check=False)
    if said.returncode:
        sys.exit(said.stdout + said.stderr)
    factor = WORD_FACTOR if "word 8" in said.stdout else 1.0
    for name, size, *others in re.findall(r"^(\S+) (\d+)(.*)$", said.stdout.partition("word")[0], re.MULTILINE):
        print(f"{kilobytes(size, factor):6.1f} KB  {name:20}{others[0]}")
    state, *sizes = re.search(r"^state (.+)$", said.stdout, re.MULTILINE)[1].split()
    code, data, garbage = (kilobytes(size, factor) for size in sizes)
    print(f"state reached    {state}")
    print(f"code, loaded     {code:6.1f} KB")
    print(f"data of a hold   {data:6.1f} KB")
    print(f"garbage a tick   {garbage:6.1f} KB")
    print(f"live             {code + data + RESERVE_KB:6.1f} KB with the reserve of {RESERVE_KB} KB "
          f"(a wireless RP2040 has {HEAP_KB} KB, aim {AIM_KB} KB)")
    print("names            " + re.search(r"n_qstr=(\d+)", said.stdout)[1])


def kilobytes(size: str, factor: float) -> float:
    """So many bytes of an interpreter, whose objects are larger than a board's by a factor, as a board's kilobytes."""
    return int(size) / factor / 1024


if __name__ == "__main__":
    main()
