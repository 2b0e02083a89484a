"""Boards to install on: virtual ones with a flash of the test's own, and other versions of the firmware to send."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

from bainwright.files import firmware as wheel
from bainwright.files.documents import flash_of
from bainwright.files.firmware import Firmware
from bainwright.files.rig import load_rig
from bainwright.install import installer
from bainwright.install.installer import InstallAsked, Installed, Progress
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.interpreter import MPY
from bainwright.virtual.made_firmware import firmware_files

# Runs before main.py at every start and gives the flash anew: recorded, or read-only.
REMOUNT = """
import os, _clock, _flash, _shared, uctypes
_, out, _, at, size = _shared.areas()
memory = uctypes.bytearray_at(uctypes.addressof(_clock.out_ring) - out + at, size - at)
{device}
os.umount("/")
os.mount(os.VfsLfs2({made}, progsize=256), "/"{options})
os.chdir("/")
"""
READ_ONLY = REMOUNT.format(device="", made="_flash.Flash(memory)", options=", readonly=True")


def this_version() -> Firmware:
    """The firmware of this tree, for the virtual board's interpreter."""
    return wheel.firmware(MPY)


def other_version(changes: dict[str, str], main: str = "") -> Firmware:
    """Another version: text appended to some source files, and to main.py."""
    base, (source, files) = this_version(), wheel.sources()
    changed = {path: files[path] + text.encode() for path, text in changes.items()}
    made = wheel.shrunk({**files, **changed}, source)
    return Firmware(source + main.encode(), {**base.files, **wheel._compile({path: made[path] for path in changed})})


def newer_version() -> Firmware:
    """One with another version number and everything else the same."""
    return other_version({"bainboard/__init__.py": '\nVERSION = "9.9.9"\n'})


@contextmanager
def board_with(files: dict[str, bytes | None] | None = None, **options: Any) -> Iterator[VirtualBoard]:
    """A running board, in real time: a commissioned warmer with this version, and with these files or without."""
    rig = options.pop("rig", None) or load_rig("pot")
    with VirtualBoard(rig, speed=1.0, flash_files={**flash_of(rig), **(files or {})}, **options) as board:
        board.arm()
        board.run_clock()
        yield board


def bare() -> dict[str, bytes | None]:
    """No firmware, nothing stored."""
    return dict.fromkeys([*firmware_files(), *flash_of(load_rig("pot"))])


def send(board: VirtualBoard | str, version: Firmware | None = None, **asked: Any) -> Installed:
    """Install on a board: this version or another one, with options."""
    path = board if isinstance(board, str) else board.path
    with mock.patch.object(installer, "firmware", lambda mpy: version or wheel.firmware(mpy)):
        return installer.install(InstallAsked(**asked), path, Progress())


# -- flash operations --------------------------------------------------------------------------------------------------

RECORDER = """
class Recorder(_flash.Flash):
    def writeblocks(self, block, buf, offset=0):
        _flash.Flash.writeblocks(self, block, buf, offset)
        journal.write(struct.pack("<BII", 0, block * 4096 + offset, len(buf)))
        journal.write(buf)
        journal.flush()
    def ioctl(self, operation, block):
        done = _flash.Flash.ioctl(self, operation, block)
        if operation == 6:
            journal.write(struct.pack("<BII", 1, block * 4096, 4096))
            journal.flush()
        return done
import struct
os.mount(os.VfsPosix({journal!r}), "/pc")
journal = open("/pc/journal", "ab")
os.umount("/pc")
"""
HEAD = struct.Struct("<BII")  # erase?, address, length; a write's bytes follow


def recording(folder: Path) -> bytes:
    """A boot.py that records every write and erase of the flash in a file of the PC."""
    device = RECORDER.format(journal=str(folder))
    return REMOUNT.format(device=device, made="Recorder(memory)", options="").encode()


def operations(folder: Path) -> list[tuple[int, bytes]]:
    """What was recorded: address and the bytes that lie there afterwards, in order."""
    data, at, found = (folder / "journal").read_bytes(), 0, []
    while at < len(data):
        erase, address, length = HEAD.unpack_from(data, at)
        at += HEAD.size
        found.append((address, b"\xff" * length if erase else data[at : at + length]))
        at += 0 if erase else length
    return found
