"""A name that a board, a file or a person gave, as the name of a file: always inside the folder it is meant for."""

from __future__ import annotations

import re
import sys

LONGEST = 48  # characters; chosen: with a number and an ending it fits every file system
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)$")  # Windows devices, from memory


def file_name(name: str, *, other: str = "-") -> str:
    """A file name of letters, digits, ``-`` and ``_``.

    Parameters
    ----------
    name : str
        Any text. A plain name comes back unchanged.
    other : str
        What replaces a run of other characters.

    Returns
    -------
    str
        Never empty, never a path, never like an option, at most `LONGEST` characters, of letters that this system's
        file names can have.
    """
    encoding = sys.getfilesystemencoding()
    name = "".join(letter if letter.isascii() else letter.encode(encoding, "ignore").decode(encoding) or " "
                   for letter in name)  # fmt: skip
    safe = re.sub(r"[^\w-]+", other, name).lstrip("-")[:LONGEST]
    if not safe.strip("-_"):
        return "unnamed"
    return f"{safe}_" if _RESERVED.match(safe) else safe
