"""The flash as it is sold: the firmware's files on a littlefs, made by the board's own interpreter."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Mapping
from pathlib import Path

import bainboard
from bainwright.errors import FileError
from bainwright.virtual import child
from bainwright.virtual.page import Page

LENGTH_BYTES = 4


def firmware_files() -> dict[str, bytes]:
    """Every file of the firmware by its path on the board."""
    package = Path(bainboard.__file__).parent
    beside = [package / "main.py", package.parent / "main.py"]  # in the wheel; in the source tree
    main = next((path for path in beside if path.is_file()), None)
    if main is None:
        raise FileError("the firmware's main.py is missing", wanted=f"{beside[0]} or {beside[1]}")
    files = {"/main.py": main.read_bytes()}
    for path in sorted(package.rglob("*.py")):
        if path != main:
            files[f"/bainboard/{path.relative_to(package).as_posix()}"] = path.read_bytes()
    return files


def pack(files: Mapping[str, bytes]) -> bytes:
    """Files as one string: path length, path, content length, content, over and over."""
    parts = []
    for path, content in sorted(files.items()):
        for part in (path.encode(), content):
            parts += [len(part).to_bytes(LENGTH_BYTES, "little"), part]
    return b"".join(parts)


def build(page: Page, packed: bytes) -> None:
    """Format the flash and write the files, by an interpreter that does only this."""
    source = ctypes.create_string_buffer(packed, len(packed))
    writer = child.start(page, source=(ctypes.addressof(source), len(packed)))
    _, writer.status = os.waitpid(writer.pid, 0)
    said = writer.last_output()
    writer.close()
    if writer.status:
        raise FileError("the flash image could not be made", got=said.decode(errors="replace").strip()[-200:])
