"""A disk that fills up while a file is written leaves the file before it, whole, and no other."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from test_picture import drawn

from bainwright.cli import bain
from bainwright.core.errors import FullDiskError
from bainwright.tuning import report

BEFORE = b"what was there before"


def page_of_plan(folder: Path) -> None:
    """`bain plan --page`."""
    bain.main(["plan", "dark", "--total", "1kg", "--page", str(folder / "plan.svg")], standalone_mode=False)


def page_of_tuning(folder: Path) -> None:
    """The report of `bain tune`."""
    report.write(folder / "report.html", "<html></html>")


def picture(folder: Path) -> None:
    """The picture of a hold."""
    drawn(folder)


@pytest.mark.parametrize(("write", "names"), [
    (page_of_plan, ["plan.svg"]), (page_of_tuning, ["report.html"]), (picture, ["hold.png"]),
])  # fmt: skip
def test_a_file_is_replaced_whole_or_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, write: Callable[[Path], Any], names: list[str]
) -> None:
    """The disk takes ten bytes of each file and then no more."""
    for name in names:
        (tmp_path / name).write_bytes(BEFORE)

    def short_of_room(path: Path, content: bytes) -> int:
        with path.open("wb") as file:
            file.write(content[:10])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", short_of_room)
    monkeypatch.setattr(Path, "write_text", lambda path, text, **_: short_of_room(path, text.encode()))
    with pytest.raises(FullDiskError):
        write(tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == dict.fromkeys(names, BEFORE)
