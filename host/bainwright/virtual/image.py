"""A new board's flash: the firmware's files on littlefs, written by the board's own interpreter."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Mapping
from pathlib import Path

from bainwright.core.errors import FileError, UseError
from bainwright.core.read_file import read_bytes
from bainwright.files.firmware import firmware
from bainwright.virtual import child
from bainwright.virtual.shared_memory import FLASH_BYTES, SharedMemory

LENGTH_BYTES = 4
MPY = 6  # the bytecode version of the pinned interpreter; a test asks it


def firmware_files() -> dict[str, bytes]:
    """Every file of the firmware by its path on the board, as after `bain install`."""
    return firmware(MPY).image()


def pack(files: Mapping[str, bytes]) -> bytes:
    """Files as one string: path length, path, content length, content, repeated."""
    parts = []
    for path, content in sorted(files.items()):
        for part in (path.encode(), content):
            parts += [len(part).to_bytes(LENGTH_BYTES, "little"), part]
    return b"".join(parts)


def read(path: Path) -> bytes:
    """The flash image of a file.

    Raises
    ------
    UseError, FileError
        When the file is no image, or cannot be read.
    """
    content = read_bytes(path, "the flash image", FLASH_BYTES)
    if len(content) != FLASH_BYTES:
        raise UseError(f"{path} is not a flash image", got=f"{len(content)} bytes", wanted=FLASH_BYTES)
    return content


def build(shared: SharedMemory, packed: bytes) -> None:
    """Format the flash and write the files, in an interpreter started only for this."""
    source = ctypes.create_string_buffer(packed, len(packed))
    writer = child.start(shared, source=(ctypes.addressof(source), len(packed)))
    _, writer.status = os.waitpid(writer.pid, 0)
    said = writer.last_output()
    writer.close()
    if writer.status:
        raise FileError("the flash image could not be made", got=said.decode(errors="replace").strip()[-200:])
