"""Two hours of a hold in the heap of a wireless RP2040. Run by hand: python tests/bench/long_hold.py MICROPYTHON

MICROPYTHON is a 32-bit build, whose objects are as large as a board's: Debian's package for i386, for example. Panel,
display and log are on, the host sends 12 requests a minute and gains twice. Prints the least memory that was free in
one piece, and what was refused.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from memory import FITTED, HEAP_KB, compile_all, layers

BLOCK = 16  # bytes of a 32-bit interpreter's heap block
PROBE_KB = 17  # what the probe itself takes; `free before` shows what is left for the firmware


def main(interpreter: str) -> None:
    """The figures."""
    with tempfile.TemporaryDirectory() as name:
        folder, log = Path(name) / "fw", Path(name) / "log"
        compile_all(folder)
        log.mkdir()
        command = [interpreter, "-X", f"heapsize={HEAP_KB + PROBE_KB}K",
                   str(folder / "long_hold_probe.py"), str(folder), str(log), *layers(), FITTED[0]]
        said = subprocess.run(command, capture_output=True, text=True, check=False)
    end = re.search(r"^end (\S+) (\d+) (\d+) (\d+) (\d+) (\d+)$", said.stdout, re.MULTILINE)
    if end is None:
        sys.exit(said.stdout[-2000:] + said.stderr[-2000:])
    state, fault, asked, answers, refused, collections = end.groups()
    pieces = [int(each) * BLOCK for each in re.findall(r"max free sz: (\d+)", said.stdout)]
    before = int(re.search(r"free before (\d+)", said.stdout)[1])
    print(f"free for the firmware  {before / 1024:6.1f} KB")
    print(f"state, fault           {state}, {fault}")
    print(f"requests               {asked}, answered {answers}, refused {refused}")
    print(f"least piece free       {min(pieces) / 1024:6.1f} KB beside the reserve")
    print(f"collections a minute   {int(collections) / 120:6.1f}")


if __name__ == "__main__":
    main(sys.argv[1])
