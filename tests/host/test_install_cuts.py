"""An install interrupted at any point leaves a board that starts the old version or the new one, never a mixture.

One real install is recorded, every flash operation of it. Each beginning of that record is a flash as a cut leaves it,
with the last operation not begun, half done, or done. On each of them main.py is run against littlefs-python.
"""

from __future__ import annotations

import contextlib
import itertools
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from install_tools import board_with, operations, other_version, recording, send, this_version
from start_tools import whole_start

from bainwright.core.errors import BainError
from bainwright.files.firmware import Firmware
from bainwright.install.installer import running_version
from bainwright.link import ports
from bainwright.link.protocol import Link
from bainwright.virtual.board import VirtualBoard

LAST = 40  # operations of an install that choose the version; the 500 before them only add files
SAMPLES, LIVE_CUTS, SEED = 5, 3, 20  # tests/bench/install_cuts.py does many more on a live board
PATIENCE_S = 60.0  # real time after which something hangs; nothing is judged by speed


def newer() -> Firmware:
    """A version that differs from this one in a few files and in main.py."""
    files = {f"bainboard/{name}.py": "\nCHANGED = [True]\n" for name in ("faults", "pins", "control/pid")}
    return other_version(files, main="# changed\n")


@dataclass
class Recorded:
    """The versions of an install, the flash before it, what was done to it, and the flash after."""

    old: Firmware
    new: Firmware
    before: bytes
    operations: list[tuple[int, bytes]]
    after: bytes

    @property
    def names(self) -> set[str]:
        """The versions that a board may start."""
        return {self.old.version, self.new.version}

    def started(self, flash: bytes) -> list[str]:
        """The versions that a board with this flash starts, one after the other."""
        return whole_start(flash, (self.old.main, self.new.main))

    def cuts(self) -> Iterator[tuple[str, bytes]]:
        """Every flash that a cut could leave."""
        flash = bytearray(self.before)
        for number, (at, data) in enumerate(self.operations):
            half = data[: len(data) // 2]
            torn = flash[:]
            torn[at : at + len(half)] = half
            yield f"{number}, torn", bytes(torn)
            flash[at : at + len(data)] = data
            yield f"{number}, done", bytes(flash)

    def telling(self) -> Iterator[tuple[str, bytes]]:
        """The cuts but for seven of eight while the new version's files come: they change nothing that is read."""
        files = len(self.operations) - LAST
        for number, cut in enumerate(self.cuts()):
            if number >= 2 * files or number % 16 < 2:
                yield cut


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    folder, new = tmp_path_factory.mktemp("record"), newer()
    image = folder / "flash"
    with board_with({"/boot.py": recording(folder)}, image=image):
        pass
    before = image.read_bytes()
    (folder / "journal").unlink()
    with board_with(image=image) as board:
        send(board, new)
    return Recorded(this_version(), new, before, operations(folder), image.read_bytes())


def test_the_record_is_the_whole_install(record: Recorded) -> None:
    *_, (_, replayed) = record.cuts()
    assert replayed == record.after
    assert record.started(record.before) == [record.old.version]
    assert record.started(record.after) == [record.new.version]


def test_every_beginning_of_the_record_starts_a_whole_version(record: Recorded) -> None:
    seen = []
    for where, flash in record.telling():
        try:
            started = record.started(flash)
        except Exception as failed:
            raise AssertionError(f"cut at operation {where}") from failed
        assert set(started) <= record.names, where
        seen.append(started[0])
    # To the new one in one operation; back while that is on its trial, for a cut there is a start that failed; then
    # for good.
    assert [name for name, _ in itertools.groupby(seen)] == 2 * [record.old.version, record.new.version]


def test_the_real_firmware_starts_from_cut_flashes(record: Recorded, tmp_path: Path) -> None:
    cuts = list(record.cuts())
    for where, flash in random.Random(SEED).sample(cuts, SAMPLES):
        image = tmp_path / "flash"
        image.write_bytes(flash)
        with board_with(image=image) as board:
            assert hello(board) in record.names, where


@pytest.mark.parametrize("cut", range(LIVE_CUTS))
def test_a_live_install_cut_short_is_finished_by_the_next_one(cut: int, record: Recorded, tmp_path: Path) -> None:
    image = tmp_path / "flash"
    image.write_bytes(record.before)
    at = random.Random(SEED + cut).randrange(1, len(record.operations))
    with board_with(image=image) as board:
        board.cut_flash_at(at, torn=bool(cut % 2))
        with contextlib.suppress(BainError):  # in words; late cuts leave nothing to fail
            send(board, record.new)
        assert hello(board) in record.names
        send(board, record.new)
        assert hello(board) == record.new.version


def hello(board: VirtualBoard) -> str:
    """The version that runs."""
    deadline_s = time.monotonic() + PATIENCE_S
    while True:
        link = Link(ports.open_port(board.path))
        try:
            return running_version(link.hello())
        except BainError:
            assert time.monotonic() < deadline_s, "the board does not come back"
        finally:
            link.transport.close()
