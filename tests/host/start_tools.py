"""main.py run here on a flash that is a dictionary or a littlefs image: which version does a board start?"""

from __future__ import annotations

import binascii
import builtins
import hashlib
import io
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, Protocol

from littlefs import LittleFS

from bainwright.files.firmware import MAIN, version_of

BLOCKS, BLOCK_BYTES = 352, 4096  # what a 2 MB RP2040 board gives to files


class Flash(Protocol):
    """What main.py needs of a file system."""

    def open(self, path: str, mode: str = "r") -> Any:
        """As the builtin."""

    def rename(self, old: str, new: str) -> None:
        """As os.rename: an existing file is replaced in one act."""


class Shelf:
    """Files in a dictionary; `full` refuses to write."""

    def __init__(self, files: dict[str, bytes], full: bool = False) -> None:
        self.files, self._full = dict(files), full

    def open(self, path: str, mode: str = "r") -> Any:
        if "w" in mode:
            if self._full:
                raise OSError(28, "ENOSPC")
            return _Kept(self.files, path)
        if path not in self.files:
            raise OSError(2, "ENOENT")
        return io.StringIO(self.files[path].decode())

    def rename(self, old: str, new: str) -> None:
        self.files[new] = self.files.pop(old)


class _Kept(io.StringIO):
    """A text file that is there once it is closed."""

    def __init__(self, files: dict[str, bytes], path: str) -> None:
        super().__init__()
        self._files, self._path = files, path

    def close(self) -> None:
        if not self.closed:
            self._files[self._path] = self.getvalue().encode()
        super().close()


class Chip:
    """A littlefs image, seen by the reference implementation (littlefs-python)."""

    def __init__(self, image: bytes) -> None:
        self.fs = LittleFS(block_size=BLOCK_BYTES, block_count=BLOCKS, prog_size=256, cache_size=1024,
                           lookahead_size=32, read_size=32, mount=False)  # fmt: skip
        self.fs.context.buffer = bytearray(image)
        self.fs.mount()

    def open(self, path: str, mode: str = "r") -> Any:
        return self.fs.open(path, mode)

    def rename(self, old: str, new: str) -> None:
        self.fs.rename(old, new)

    def read(self, path: str) -> bytes:
        with self.fs.open(path, "rb") as file:
            content: bytes = file.read()
            return content

    def version(self, name: str) -> dict[str, bytes]:
        """A version's files by their path in its folder."""
        folder = f"/fw/{name}"
        return {
            f"{where}/{file}"[len(folder) + 1 :]: self.read(f"{where}/{file}")
            for where, _, files in self.fs.walk(folder)
            for file in files
        }


class _ResetError(BaseException):
    """machine.reset() does not return."""


class Start:
    """One start of a board.

    Attributes
    ----------
    acts : list of str
        What it did, in order: ``Pin 15 OUT 0``, ``run NAME``, ``reset``, and what it printed.
    keep : callable or None
        The function the version must call once it has proved itself.
    """

    def __init__(self, main: bytes, flash: Flash, fails: tuple[str, ...] = (), platform: str = "rp2") -> None:
        self.acts: list[str] = []
        self.keep: Callable[[], None] | None = None
        self._fails = fails
        self.error: Exception | None = None
        self._sys = SimpleNamespace(platform=platform, path=["", "/lib"], print_exception=self._trace)
        pin = type("Pin", (), {"OUT": "OUT", "__new__": lambda kind, *at, value: self._pin(*at, value)})
        machine = SimpleNamespace(Pin=pin, reset=self._reset)
        modules = {"sys": self._sys, "machine": machine, "os": SimpleNamespace(rename=flash.rename),
                   "binascii": binascii, "bainboard": SimpleNamespace(start=SimpleNamespace(run=self._run))}
        mine = {**vars(builtins), "open": flash.open, "__import__": lambda name, *_: modules[name],
                "print": lambda text: self.acts.append(text)}  # fmt: skip
        try:
            exec(compile(main, MAIN, "exec"), {"__name__": "__main__", "__builtins__": mine})
        except _ResetError:
            self.acts.append("reset")
        except Exception as error:
            self.error = error

    @property
    def version(self) -> str:
        """The version that was started; empty for none."""
        return next((act.split()[1] for act in self.acts if act.startswith("run ")), "")

    def _pin(self, number: int, mode: str, value: int) -> None:
        self.acts.append(f"Pin {number} {mode} {value}")

    def _reset(self) -> None:
        raise _ResetError

    def _trace(self, error: Exception, file: Any) -> None:
        file.write(repr(error))

    def _run(self, version: str, keep: Callable[[], None] | None) -> None:
        assert self._sys.path[0] == f"/fw/{version}"
        self.acts.append(f"run {version}")
        self.keep = keep
        if version in self._fails:
            raise ValueError(f"{version} is broken")


def whole_start(image: bytes, mains: tuple[bytes, ...]) -> list[str]:
    """Start the board on this image as often as it takes; the versions it starts.

    Asserts that every one is whole: its files are those its name is the hash of, and main.py is one of those given.
    A start that does not prove itself is followed by another, which must find a whole version too.
    """
    chip = Chip(image)
    started = []
    for _ in range(2):
        main = chip.read(MAIN)
        assert main in mains, "main.py is none of those that were ever sent"
        start = Start(main, chip)
        assert start.error is None, start.error
        assert start.version, start.acts
        files = chip.version(start.version)
        hashes = {path: _sha256(content) for path, content in files.items()}
        assert version_of(hashes) == start.version, f"version {start.version} is not whole: {sorted(files)}"
        started.append(start.version)
        if start.keep is None:
            break
    return started


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
