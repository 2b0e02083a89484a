"""The home of records: one folder a user, found from any folder.

``BAIN_HOME`` moves it. Holds are in ``HOME/holds``; a hold that went elsewhere (``--out``) is listed in
``HOME/elsewhere.txt``, so that it is found too.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from bainwright.core.atomic_write import replace_file
from bainwright.core.errors import FileError
from bainwright.core.read_file import read_bytes

VARIABLE = "BAIN_HOME"
ELSEWHERE = "elsewhere.txt"
MOST_BYTES = 4_000_000  # of the list of holds elsewhere: some 40,000 lines (chosen)


def home() -> Path:
    """The user's home of records; it need not exist yet."""
    if moved := os.environ.get(VARIABLE):
        return Path(moved).expanduser()
    import platformdirs

    return platformdirs.user_data_path("bainwright")


def holds_folder() -> Path:
    """Where the folders of holds are, and the boards' logs beside them."""
    return home() / "holds"


def elsewhere() -> list[Path]:
    """Folders of holds outside the home, in the order they were made; none when the list cannot be read."""
    try:
        listed = read_bytes(home() / ELSEWHERE, limit=MOST_BYTES).decode(errors="replace")
        return [Path(line) for line in listed.splitlines() if line and "\0" not in line]
    except FileError:
        return []


def is_text(name: str) -> bool:
    """Whether a file's name is text: a system may give bytes that are none, and no list or page can show them."""
    return not any("\ud800" <= letter <= "\udfff" for letter in name)


def hold_folders() -> Iterator[Path]:
    """Every folder that may be a hold's, and whose name is text: those of the home, then those elsewhere."""
    try:
        with os.scandir(holds_folder()) as found:
            yield from sorted(Path(each.path) for each in found if is_text(each.name) and each.is_dir())
    except OSError:
        pass
    yield from elsewhere()


def remember(folder: Path) -> None:
    """Add a folder outside the home to the list. A home that cannot be written loses the entry, never the hold."""
    known, folder = elsewhere(), folder.resolve()
    if folder in known or folder.is_relative_to(holds_folder().resolve()) or "\n" in str(folder):
        return
    try:
        home().mkdir(parents=True, exist_ok=True)
        replace_file(home() / ELSEWHERE, "".join(f"{path}\n" for path in (*known, folder)))
    except OSError:
        return
