"""What an install changes on a board, from the files found there and the files wanted. No I/O."""

from __future__ import annotations

import hashlib
import re
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from bainwright.core.errors import LinkError, RefusedError
from bainwright.files.firmware import (
    BACK,
    FOLDER,
    FROZEN,
    GOOD,
    MAIN,
    NEW,
    NONE,
    TRIED,
    Firmware,
    Record,
    read_record,
    version_of,
)
from bainwright.install.mpremote import GET_MICROPYTHON

OLDEST = (1, 24, 0)  # of MicroPython: the oldest release the firmware is written for and tested with
OURS = '"""bainwright\'s start:'  # how main.py begins, in every version
STAGED = "new"  # the folder under /fw for files that are arriving
BUNDLE = "bundle"  # what the files there are called in which they come, before their number
PART_BYTES = 36 << 10  # chosen: even where each erase takes the 400 ms of the data sheet, one is unpacked in 15 s
WINDOW_BITS = 12  # chosen: a board unpacks with 4 KB of memory
# The firmware's own files in the root: the stored slots, the log, the last error.
SLOTS = ("settings", "profile", "latch", "last", "boot", *(f"kept{place}" for place in range(1, 7)))
KEPT = {"main.py", "fw", "log", "crash.txt"} | {f"{name}.{slot}" for name in SLOTS for slot in "ab"}
OUR_NAME = re.compile(r"[0-9a-f]{8}|new|boot(\.new)?")  # under /fw; `board_scripts/put.py` leaves everything else alone
SPARE_BLOCKS = 8  # folders take two blocks each; the rest lets the file system move its own


@dataclass
class Seen:
    """What `board_scripts/look.py` found on a board.

    Attributes
    ----------
    about : dict
        ``implementation``, ``python``, ``mpy``, ``platform``, ``machine``, ``free``, ``block``, ``root``, ...
    files : dict of str to (int, str)
        Size and SHA-256 of main.py and of everything under ``/fw``.
    """

    about: dict[str, Any]
    files: dict[str, tuple[int, str]] = field(default_factory=dict)

    @property
    def record(self) -> Record | None:
        """The record of the version it starts."""
        return read_record(self.about.get("record", ""))

    @property
    def mpy(self) -> int | None:
        """The version of bytecode files it loads."""
        mpy = self.about.get("mpy")
        return mpy & 0xFF if mpy else None

    @property
    def foreign(self) -> list[str]:
        """The files there that are not the firmware's, by their path from the root."""
        under = {"/".join(path.split("/")[1:3]) for path in self.files if path.startswith(f"{FOLDER}/")}
        foreign = {path for path in under if not OUR_NAME.fullmatch(path.rpartition("/")[2])}
        return sorted(set(self.about.get("root", ())) - KEPT | foreign)

    def digest(self, path: str) -> str:
        """SHA-256 of a file; empty for none."""
        return self.files[path][1] if path in self.files else ""

    def version(self, name: str) -> dict[str, tuple[int, str]]:
        """A version's files by their path in its folder."""
        folder = f"{FOLDER}/{name}/"
        return {path[len(folder) :]: entry for path, entry in self.files.items() if path.startswith(folder)}

    def versions(self) -> set[str]:
        """Every version's folder, whole or not."""
        folders = {path.split("/")[2] for path in self.files if path.count("/") > 2}
        return {name for name in folders if OUR_NAME.fullmatch(name)} - {STAGED}

    def is_whole(self, name: str) -> bool:
        """Do a version's files match its name, which is their hash?"""
        return version_of({path: digest for path, (_, digest) in self.version(name).items()}) == name


def read_seen(lines: list[dict[str, Any]]) -> Seen:
    """Gather the lines of `board_scripts/look.py`."""
    seen = Seen({})
    for line in lines:
        if "path" in line:
            seen.files[line["path"]] = (line["size"], line["sha256"])
        else:
            seen.about.update(line)
    return seen


def check_board(seen: Seen) -> None:
    """Make sure that the firmware can run there and that no other program would be lost.

    Raises
    ------
    LinkError
        If the interpreter is not MicroPython, or is too old.
    RefusedError
        If another program is on the board.
    """
    about = seen.about
    if about.get("implementation") != "micropython":
        raise LinkError("the board does not run MicroPython", got=about.get("implementation"), hint=GET_MICROPYTHON)
    if tuple(about["python"]) < OLDEST:
        raise LinkError(
            "the board's MicroPython is too old",
            got=".".join(map(str, about["python"])),
            wanted=".".join(map(str, OLDEST[:2])) + " or newer",
            hint="put a newer one on it: micropython.org/download",
        )
    if MAIN in seen.files and not str(about.get("main", "")).startswith(OURS):
        raise RefusedError(
            "another program is on this board, in its main.py",
            hint="if it may go, keep a copy (mpremote fs cp :main.py main_old.py), delete it there "
            "(mpremote fs rm :main.py) and try again",
        )


def refuse_frozen(hello: dict[str, Any]) -> None:
    """Make sure that the board starts what is installed.

    Raises
    ------
    RefusedError
        If its firmware is frozen into its image.
    """
    version = str(hello.get("version"))
    if version.endswith("+" + FROZEN):
        raise RefusedError("this warmer's firmware is part of this board's MicroPython image, so files change nothing",
                           got=version,
                           hint="build a new image with it, or put plain MicroPython on the board and install")


@dataclass(frozen=True)
class Piece:
    """A file to put in its place: sent from here, or copied from another place on the board."""

    path: str  # its place on the board
    content: bytes
    source: str | None = None  # where the board already has the same content

    @property
    def digest(self) -> str:
        """Its SHA-256."""
        return hashlib.sha256(self.content).hexdigest()

    @property
    def staged(self) -> str:
        """Its name while it arrives."""
        return self.path.strip("/").replace("/", ".")


@dataclass(frozen=True)
class Plan:
    """What to do to a board.

    Attributes
    ----------
    pieces : list of Piece
        Files that are not in their place yet.
    places : list
        Every file of the version, and main.py: its place, hash, name while it arrives, and source, as
        `board_scripts/put.py` wants.
    record : Record, optional
        The record to write at the end; None to leave it.
    keep, left : list of str
        What stays under ``/fw`` before the switch, and after it.
    strays : list of str
        Files in the version's folder that do not belong to it.
    inflates : bool
        Can the board unpack what was packed?
    """

    pieces: list[Piece]
    places: list[tuple[str, str, str, str | None]]
    record: Record | None
    keep: list[str]
    left: list[str]
    strays: list[str] = field(default_factory=list)
    inflates: bool = False

    def bundles(self) -> list[bytes]:
        """What is sent, in a few files: each piece after a line with its name and size. Each file takes a second."""
        plain = [b""]
        for piece in self.sent:
            if len(plain[-1]) + len(piece.content) > PART_BYTES and plain[-1]:
                plain.append(b"")
            plain[-1] += b"%s %d\n%s" % (piece.staged.encode(), len(piece.content), piece.content)
        return [_packed(part) if self.inflates else part for part in plain if part]

    @property
    def sent(self) -> list[Piece]:
        """The pieces whose content is nowhere on the board."""
        return [piece for piece in self.pieces if piece.source is None]

    @property
    def nothing(self) -> bool:
        """Is there nothing to change?"""
        return not self.pieces and self.record is None  # with strays there is always a record


def _packed(plain: bytes) -> bytes:
    packer = zlib.compressobj(9, zlib.DEFLATED, WINDOW_BITS)
    return packer.compress(plain) + packer.flush()


def make_plan(seen: Seen, wanted: Firmware) -> Plan:
    """Plan the install of a version.

    Raises
    ------
    RefusedError
        If its flash has no room.
    """
    name, record = wanted.version, seen.record
    known = set(record[:2]) - {NONE} if record else set()
    files = {f"{wanted.folder}/{path}": content for path, content in wanted.files.items()}
    pieces, places = [], []
    for path, content in [*files.items(), (MAIN, wanted.main)]:
        piece = Piece(path, content)
        if seen.digest(path) != piece.digest:
            piece = Piece(path, content, _source(seen, piece, known - {name}))
            pieces.append(piece)
        places.append((path, piece.digest, piece.staged, piece.source))
    strays = [f"{wanted.folder}/{path}" for path in sorted(set(seen.version(name)) - set(wanted.files))]
    good = record is not None and record.current == name and record.state in (GOOD, BACK)
    repaired = bool(strays) or any(piece.path != MAIN for piece in pieces)
    new = None if good and not repaired else Record(name, _before(seen, name), NEW)
    left = {*(new or record or ())[:2], "boot"} - {NONE}
    plan = Plan(pieces, places, new, sorted(known | left | {name, STAGED}), sorted(left), strays,
                seen.about.get("inflates") is True)
    _check_room(seen, plan)
    return plan


def _source(seen: Seen, piece: Piece, versions: Iterable[str]) -> str | None:
    """Where the board already has the same content: left by an interrupted install, or in another version."""
    staged = f"{FOLDER}/{STAGED}/{piece.staged}"
    if seen.digest(staged) == piece.digest:
        return staged
    places = [f"{FOLDER}/{name}/{path}" for name in sorted(versions) for path in sorted(seen.version(name))]
    return next((path for path in places if seen.digest(path) == piece.digest), None)


def _before(seen: Seen, name: str) -> str:
    """The version to go back to: the newest whole one that has started well; failing that, any whole one."""
    record = seen.record
    candidates = [record.current, record.before] if record else []
    if record and record.state == BACK:
        candidates = candidates[:1]  # the other one failed
    if record and record.state in (NEW, TRIED):
        candidates.reverse()
    return next((each for each in candidates if each not in (name, NONE) and seen.is_whole(each)), NONE)


def plan_back(seen: Seen) -> Plan:
    """Plan the return to the version before.

    Raises
    ------
    RefusedError
        If there is none that can be trusted.
    """
    record = seen.record
    if record is None or record.before == NONE:
        raise RefusedError("there is no version before on this board", hint="bain install puts this program's on it")
    if record.state == BACK:
        raise RefusedError(f"the version before, {record.before}, failed its first start", hint="this one stays")
    if not seen.is_whole(record.before):
        raise RefusedError(f"the version before, {record.before}, is not whole on this board",
                           hint="bain install puts this program's on it")  # fmt: skip
    back = Record(record.before, record.current, GOOD)
    kept = sorted({*back[:2], "boot"})
    return Plan([], [], back, kept, kept)


def _check_room(seen: Seen, plan: Plan) -> None:
    block = seen.about["block"]

    def room(sizes: Iterable[int]) -> int:
        return sum(-(-size // block) * block for size in sizes)

    going = seen.versions() - set(plan.keep)
    freed = room([size for name in going for size, _ in seen.version(name).values()])
    there = [size for size, _ in seen.version(STAGED).values()]
    sizes = [len(piece.content) for piece in plan.pieces]
    needed = room([*sizes, *map(len, plan.bundles())]) + SPARE_BLOCKS * block if plan.pieces else 0
    free = seen.about["free"] + freed + room(there)
    if needed > free:
        what = ", ".join(seen.foreign) or "nothing that this program knows of"
        raise RefusedError("the board's flash is full", got=f"{free // 1024} KB free", wanted=f"{needed // 1024} KB",
                           hint=f"beside the firmware there is: {what}")  # fmt: skip


def damage(seen: Seen) -> list[str]:
    """What is wrong with the version the board starts, in words; empty if nothing is."""
    record = seen.record
    if not seen.files:
        return []  # bare
    if MAIN not in seen.files:
        return ["there is no main.py"]
    if record is None:
        return ["no version is chosen"]
    return [] if seen.is_whole(record.current) else [f"version {record.current} is not whole"]
