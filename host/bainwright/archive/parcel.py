"""Holds in one file for another PC, and back: a ZIP with a folder for each hold and only a record's files in it."""

from __future__ import annotations

import os
import shutil
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path, PurePosixPath

from bainwright.archive.entries import bring_entries
from bainwright.archive.identity import SAME_C, SAME_SHARE, names_of_copies, rows_file
from bainwright.core.atomic_write import alone, move_folder_into_place, saved_from, scratch_folder
from bainwright.core.errors import BainError, FileError
from bainwright.core.file_names import file_name
from bainwright.core.home import holds_folder
from bainwright.core.os_errors import file_error
from bainwright.core.read_file import LOG_BYTES, is_own, read_bytes
from bainwright.record.archive import FOLDER as BOARDS
from bainwright.record.names import CSV, EVENTS, FACTS, PARQUET
from bainwright.record.reader import HoldLog, read_log
from bainwright.record.scraps import COMING, delete_scraps

FILES = (CSV, PARQUET, EVENTS, FACTS, "temper.json", "stock.json", "hold.png", "hold.svg")  # of a hold's folder
MOST_HOLDS = 10_000  # of one file; chosen
Reader = Callable[[], bytes]
# Of a packed file's size. Chosen: logs come to a tenth of theirs, and a small file says little.
TIGHTEST, TIGHT_BYTES = 200, 1 << 16
DAMAGED = (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, RuntimeError, UnicodeDecodeError)
FIXED_TIME = (2020, 1, 1, 0, 0, 0)  # so that the same holds give the same bytes


@dataclass
class Gathered:
    """What came in.

    Attributes
    ----------
    added : list of Path
        New folders.
    fuller : list of tuple
        Those of them with rows that the same hold had not here: the new folder and the one here.
    known : list of str
        Names of holds that were here already.
    entered : list of tuple
        Those of them for which leftovers or temper tests were entered elsewhere: the folder here, and what was added.
    refused : list of str
        Why the others, or something that was entered for them, were left out.
    """

    added: list[Path] = field(default_factory=list)
    fuller: list[tuple[Path, Path]] = field(default_factory=list)
    known: list[str] = field(default_factory=list)
    entered: list[tuple[Path, list[str]]] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)


def pack(folders: Sequence[Path], target: Path) -> list[Path]:
    """Write holds into one file; returns the files that were left out, because they are links.

    Parameters
    ----------
    folders : sequence of Path
        The holds' folders; two of one name get different names inside.
    target : Path
        The ZIP file.

    Raises
    ------
    FileError
        When a file cannot be read, or the disk does not take the archive.
    """
    names, left = set[str](), list[Path]()
    with saved_from(target, what="the archive") as coming, zipfile.ZipFile(coming, "w") as archive:
        for folder in folders:
            inside = _free_name(file_name(folder.absolute().name), names)
            names.add(inside)
            for name in FILES:
                if os.path.islink(folder / name):
                    left.append(folder / name)
                elif is_own(folder / name):
                    data = read_bytes(folder / name, limit=LOG_BYTES, follow=False)
                    archive.writestr(zipfile.ZipInfo(f"{inside}/{name}", FIXED_TIME), data, zipfile.ZIP_DEFLATED)
    return left


def _free_name(name: str, taken: set[str]) -> str:
    return next(each for each in (name, *(f"{name}-{n}" for n in range(2, MOST_HOLDS))) if each not in taken)


def gather(source: Path) -> Gathered:
    """Bring holds from an archive, or from a folder of holds, into the home of records.

    Of a hold that is here nothing is changed; what people entered for it elsewhere is added.

    Parameters
    ----------
    source : Path
        A file of `pack`, another home, or a folder with holds in it.

    Raises
    ------
    FileError
        When the source is neither, or the home cannot be written.
    """
    if not source.exists():
        raise FileError(f"there is no {source}", wanted="a file that bain export wrote, or a folder of holds")
    holds, found = holds_folder(), Gathered()
    try:
        holds.mkdir(parents=True, exist_ok=True)
        with alone(holds):  # two that bring the same hold at once would both take it
            delete_scraps(holds)
            _gather(source, holds, found)
    except DAMAGED as failed:
        raise FileError(f"{source} is not an archive of holds, or is damaged", got=str(failed),
                        hint="bain export writes one") from failed
    except OSError as failed:
        raise file_error(f"the holds of {source} cannot be stored in {holds}", failed) from failed
    return found


def _gather(source: Path, holds: Path, found: Gathered) -> None:
    known: dict[str, list[Path]] = {}
    for here in sorted(holds.iterdir()):
        if os.path.isfile(here / FACTS):
            known.setdefault(names_of_copies(here)[0], []).append(here)
    with scratch_folder(holds, COMING) as coming:
        for name, files in _holds_in(source):
            folder = coming / "hold"
            folder.mkdir()
            if _fetched(folder, name, files, found):
                _take(folder, name, known, found)
            shutil.rmtree(folder, ignore_errors=True)  # what was not taken


def _fetched(folder: Path, name: str, files: dict[str, Reader], found: Gathered) -> bool:
    """Bring a hold's files; one that is damaged leaves out its hold alone."""
    for file, read in files.items():
        try:
            data = read()
        except FileError as failed:
            found.refused.append(f"{name}: {failed.words()}")
            return False
        except DAMAGED as failed:
            found.refused.append(f"{name}: its {file} is damaged: {failed}")
            return False
        (folder / file).write_bytes(data)
    return True


def _take(folder: Path, name: str, known: dict[str, list[Path]], found: Gathered) -> None:
    """Move a hold to its place, unless it is not a hold, or every row of it is here already."""
    try:
        log = read_log(folder)
    except BainError as failed:
        found.refused.append(f"{name}: {failed.words().replace(str(folder), name)}")
        return
    names = names_of_copies(folder, log.facts)
    copies = [here for each in names for here in known.get(each, []) if _agree(here, log)]
    if copies and _is_in(copies, folder, log):
        found.known.append(name)
        added, left_out = bring_entries(copies[0], folder)
        found.entered += [(copies[0], added)] if added else []
        found.refused += [f"{name}, {why}" for why in left_out]
        return
    target = _placed(folder, name)
    found.added.append(target)
    if copies:
        found.fuller.append((target, copies[0]))
    for copy in copies:  # it is one bowl, and what got into it counts whichever of them is asked for
        added, _ = bring_entries(copy, target)
        bring_entries(target, copy)
        found.entered += [(copy, added)] if added else []
    known.setdefault(names[0], []).append(target)


def _placed(folder: Path, name: str) -> Path:
    """Move a hold to a new folder in the home that no other process has or takes: making it is what claims it."""
    taken = {BOARDS}
    while True:
        free = _free_name(name, taken)
        folder = folder.rename(folder.with_name(free))  # first, so that a claim is never left without its name here
        target = holds_folder() / free
        try:
            target.mkdir()
            break
        except FileExistsError:
            taken.add(free)
    try:
        move_folder_into_place(folder, target)
    except OSError:
        with suppress(OSError):
            target.rmdir()
        raise
    return target


def _agree(here: Path, log: HoldLog) -> bool:
    """Do they agree on the water in the seconds that both have? An erased board numbers its holds from 1 again."""
    try:
        own = read_log(here)
    except BainError:  # it says nothing against it
        return True
    known = dict(zip(own["t_s"], own["water_c"], strict=True))
    both = [(known[t_s], water_c) for t_s, water_c in zip(log["t_s"], log["water_c"], strict=True) if t_s in known]
    return sum(not abs(one - other) > SAME_C for one, other in both) >= SAME_SHARE * len(both)


def _is_in(copies: list[Path], folder: Path, log: HoldLog) -> bool:
    """Is every row of this hold in one of its copies here? A copy cut short must not keep the rest out."""
    rows = rows_file(folder)
    if rows is not None and any(rows_file(copy) == rows for copy in copies):
        return True
    times_s: set[float] = set()
    for copy in copies:
        with suppress(BainError):  # a damaged one has none
            times_s.update(read_log(copy)["t_s"])
    return times_s.issuperset(log["t_s"])


def _holds_in(source: Path) -> Iterator[tuple[str, dict[str, Reader]]]:
    """Each hold's name and what reads its files, one at a time: together they may be too large for memory."""
    if source.is_dir():
        inside = source / "holds" if os.path.isdir(source / "holds") else source
        for folder in sorted([inside, *inside.iterdir()]):
            if is_own(folder / FACTS) or is_own(folder / CSV):
                yield file_name(folder.absolute().name), {
                    name: partial(read_bytes, folder / name, limit=LOG_BYTES, follow=False)
                    for name in FILES if is_own(folder / name)}  # fmt: skip
        return
    if not source.is_file():
        raise FileError(f"{source} is not a plain file", hint="name a file that bain export wrote")
    with zipfile.ZipFile(source) as archive:
        for name, files in _packed(archive, source).items():
            yield file_name(name), {file: partial(_unpacked, archive, each, source) for file, each in files.items()}


def _packed(archive: zipfile.ZipFile, source: Path) -> dict[str, dict[str, zipfile.ZipInfo]]:
    holds: dict[str, dict[str, zipfile.ZipInfo]] = {}
    for each in archive.infolist():
        parts = PurePosixPath(each.filename).parts
        if len(parts) == 2 and parts[1] in FILES:  # nothing else is ever written, wherever its name points
            holds.setdefault(parts[0], {})[parts[1]] = each  # by its whole name: two may be one as a folder's
    if not holds:
        raise FileError(f"{source} has no holds in it", hint="bain export writes an archive of holds")
    if len(holds) > MOST_HOLDS:
        raise FileError(f"{source} has too many holds", got=str(len(holds)), wanted=f"at most {MOST_HOLDS}")
    return holds


def _unpacked(archive: zipfile.ZipFile, each: zipfile.ZipInfo, source: Path) -> bytes:
    if each.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise FileError(f"{source}: {each.filename} is packed in another way", hint="bain export writes one")
    with archive.open(each) as opened:
        data = opened.read(LOG_BYTES + 1)  # the size that the archive says may be a lie
    if len(data) > TIGHTEST * each.compress_size + TIGHT_BYTES:
        raise FileError(f"{source}: {each.filename} is packed more tightly than any record can be",
                        hint="bain export writes one")  # fmt: skip
    if len(data) > LOG_BYTES:
        raise FileError(f"{source}: {each.filename} is too large", wanted=f"at most {LOG_BYTES} bytes")
    return data
