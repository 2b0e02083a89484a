"""The home of records: one folder a user, found from any folder.

``BAIN_HOME`` moves it. Holds are in ``HOME/holds``; a hold that went elsewhere (``--out``) is listed in
``HOME/elsewhere.txt``, a line a folder, so that it is found too.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from bainwright.core.errors import FileError
from bainwright.core.os_errors import file_error
from bainwright.core.read_file import read_bytes

VARIABLE = "BAIN_HOME"
ELSEWHERE = "elsewhere.txt"
MOST_BYTES = 4_000_000  # of the list of holds elsewhere: some 40,000 lines (chosen)


def home() -> Path:
    """The user's home of records; it need not exist yet."""
    if moved := os.environ.get(VARIABLE):
        return Path(os.path.expanduser(moved))  # an unknown ~user stays a plain name
    import platformdirs

    return platformdirs.user_data_path("bainwright")


def holds_folder() -> Path:
    """Where the folders of holds are, and the boards' logs beside them."""
    return home() / "holds"


def elsewhere() -> list[Path]:
    """Folders of holds outside the home, in the order they were made.

    Raises
    ------
    FileError
        If there is a list and it cannot be read.
    """
    listed = home() / ELSEWHERE
    if not os.path.lexists(listed):
        return []
    lines = os.fsdecode(read_bytes(listed, "the list of holds outside the home", MOST_BYTES)).split("\n")
    return [Path(line) for line in dict.fromkeys(lines) if line and "\0" not in line and is_text(line)]


def is_text(name: str) -> bool:
    """Is a file's name text? A system may give other bytes, which no list or page can show."""
    return name.isascii() or not any("\ud800" <= letter <= "\udfff" for letter in name)


def hold_folders(notes: list[str] | None = None) -> Iterator[Path]:
    """As `hold_paths`, as folders."""
    yield from map(Path, hold_paths(notes))


def hold_paths(notes: list[str] | None = None) -> Iterator[str]:
    """Every folder that may be a hold's, and whose name is text: those of the home, then those elsewhere.

    Plain text, as ten thousand of them are looked at for a list.

    Parameters
    ----------
    notes : list of str, optional
        Takes what could not be read, in words.
    """
    notes = [] if notes is None else notes
    try:
        with os.scandir(holds_folder()) as found:
            yield from sorted(each.path for each in found if is_text(each.name) and _is_folder(each))
    except FileNotFoundError:
        pass
    except OSError as failed:
        notes.append(str(file_error(f"the holds in {holds_folder()} cannot be listed", failed)))
    try:
        yield from map(str, elsewhere())
    except FileError as failed:
        notes.append(f"holds outside {holds_folder()} are not listed: {failed}")


def _is_folder(found: os.DirEntry[str]) -> bool:
    try:
        return found.is_dir()
    except OSError:  # a link to itself
        return False


def remember(folder: Path) -> str | None:
    """Add a folder outside the home to the list, and return why that failed, if it did.

    The line is appended by one write, so two holds that start together are both listed, and a list that cannot be read
    is not replaced. It begins with a newline: half a line that a full disk left spoils no other.
    """
    folder = Path(os.path.realpath(folder))  # also of a link to itself, where pathlib raises an error of its own
    if str(folder.parent) == os.path.realpath(holds_folder()):  # one further down is not looked for there
        return None
    if "\n" in str(folder):
        return f"bain holds does not list {folder}: its name has more than one line"
    try:
        home().mkdir(parents=True, exist_ok=True)
        how = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_NONBLOCK", 0)  # no wait for a pipe's reader
        with open(os.open(home() / ELSEWHERE, how, 0o666), "ab", buffering=0) as listed:
            listed.write(b"\n" + os.fsencode(folder) + b"\n")
    except OSError as failed:
        return str(file_error(f"{folder} is not added to the list of holds in {home() / ELSEWHERE}", failed))
    return None
