"""What the short names in a board's traceback stand for: python -m bainwright.files.traced crash.txt

Only for the very firmware that the board runs: `bain board` says its version.
"""

from __future__ import annotations

import re
import sys

from bainwright.files.firmware import sources
from bainwright.files.shrink import short_names

PLACE = re.compile(r'(File "([\w.]+)", line \d+, in )(_[A-Za-z]\d*)$', re.MULTILINE)
NAME = re.compile(r"'(_[A-Za-z]\d*)'")


def readable(trace: str) -> str:
    """The traceback with the names of the source; where several have one short name, all that it may mean."""
    main, files = sources()
    short = short_names(files, main)

    def meant(name: str, module: str) -> str:
        source = files[module.replace(".", "/") + ".py"].decode() if module else ""
        found = [each for (home, each), theirs in short.items() if theirs == name and home in ("", module or home)
                 and (not module or re.search(rf"\bdef {each}\b", source))]
        return " or ".join(sorted(found)) or name

    trace = PLACE.sub(lambda place: place[1] + meant(place[3], place[2]), trace)
    return NAME.sub(lambda quoted: f"'{meant(quoted[1], '')}'", trace)


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8", errors="replace") as file:
        sys.stdout.write(readable(file.read()))
