"""What a killed command left of a hold that was coming into the folder of all holds: the next command deletes it."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from bainwright.core.atomic_write import delete_left

# What a scratch folder's name begins with. A new hold in it has the name of the folder that it claims.
COMING = ".coming-"


def delete_scraps(parent: Path) -> None:
    """Delete what killed commands left in the folder of all holds and in the holds; used inside `alone`."""
    for claimed in delete_left(parent, COMING):
        with suppress(OSError):  # it has something in it, or it is gone
            (parent / claimed).rmdir()
    for path in parent.iterdir():
        delete_left(path, COMING)
