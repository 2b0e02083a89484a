"""The board's log on littlefs itself (the C library, by littlefs-python): the power goes at every flash operation."""

from __future__ import annotations

import struct
import zlib
from itertools import pairwise
from typing import Any

import pytest
from littlefs import LittleFS
from littlefs.errors import LittleFSError

from bainboard import flashlog, framing, settings

BLOCK, BLOCKS, PROG = 4096, 64, 256  # geometry of the rp2 port's flash, fewer blocks
VALUES = settings.defaults(settings.SETTINGS)


class Chip:
    """A NOR flash in memory that remembers every operation on it."""

    def __init__(self, content: bytes | None = None) -> None:
        self.content = bytearray(content or b"\xff" * BLOCK * BLOCKS)
        self.operations: list[tuple[int, bytes]] = []  # where, and what is there afterwards

    def _do(self, at: int, data: bytes) -> int:
        self.operations.append((at, data))
        self.content[at : at + len(data)] = data
        return 0

    def read(self, cfg: Any, block: int, off: int, size: int) -> bytearray:
        return self.content[block * BLOCK + off : block * BLOCK + off + size]

    def prog(self, cfg: Any, block: int, off: int, data: bytes) -> int:
        return self._do(block * BLOCK + off, bytes(data))

    def erase(self, cfg: Any, block: int) -> int:
        return self._do(block * BLOCK, b"\xff" * BLOCK)

    def sync(self, cfg: Any) -> int:
        return 0


class LittleFolder:
    """The log's folder on a littlefs."""

    def __init__(self, chip: Chip, fresh: bool = False) -> None:
        self.fs = LittleFS(
            context=chip, block_size=BLOCK, block_count=BLOCKS, prog_size=PROG, read_size=32, cache_size=256,
            lookahead_size=32, block_cycles=100, mount=False,
        )  # fmt: skip
        if fresh:
            self.fs.format()
        self.fs.mount()

    def names(self) -> list[str]:
        try:
            return list(self.fs.listdir("/log"))
        except LittleFSError:
            self.fs.mkdir("/log")
            return []

    def size(self, name: str) -> int:
        return int(self.fs.stat(f"/log/{name}").size)

    def read(self, name: str, at: int, count: int) -> bytes:
        with self.fs.open(f"/log/{name}", "rb") as file:
            file.seek(at)
            return bytes(file.read(count))

    def crc(self, name: str, buffer: bytearray) -> int:
        return zlib.crc32(self.read(name, 0, 1 << 20))

    def _put(self, name: str, data: bytes, mode: str) -> None:
        try:
            with self.fs.open(f"/log/{name}", mode) as file:
                file.write(data)
        except LittleFSError as failed:
            raise OSError(-failed.code) from failed

    def write(self, name: str, data: bytes) -> None:
        self._put(name, data, "wb")

    def append(self, name: str, data: bytes) -> None:
        self._put(name, data, "ab")

    def sync(self) -> None:
        """Closing a file has synced it."""

    def remove(self, name: str) -> None:
        self.fs.remove(f"/log/{name}")

    def total(self) -> int:
        return BLOCK * BLOCKS

    def content(self) -> bytes:
        """Every segment, one after the other."""
        return b"".join(self.read(name, 0, 1 << 20) for name in sorted(self.names()))


def booted(folder: LittleFolder, **more: Any) -> flashlog.FlashLog:
    log = flashlog.FlashLog(folder)
    log.open({**VALUES, **more}, 0, 0)
    return log


def an_hour(log: flashlog.FlashLog) -> Any:
    """An hour of a hold with its events; yields after each tick."""
    log.begin(0, [("stage", "work"), ("name", "dark")])
    log.event(0, 0, "started", [])
    for t_ms in range(10_000, 3_600_001, 10_000):
        log.status(t_ms, (1, t_ms, "hold", "work", 33125, 31500, 0, 31500, 33300, 2345, 200, 0, 0, "", 0))
        if t_ms % 900_000 == 0:
            log.event(t_ms, t_ms, "trip", [("fault", 5), ("latched", False)])
        if log.overdue_ms(t_ms) is not None:
            log.sync(t_ms)
        yield


def sequence_numbers(folder: LittleFolder) -> list[int]:
    frames, _, gaps = framing.scan(folder.content())
    assert gaps == []
    return [seq for _, seq, _, _ in frames]


@pytest.fixture(scope="module")
def hour() -> tuple[bytes, list[tuple[int, bytes]], dict[int, int]]:
    """The empty flash, every operation of an hour on it, and {operations done: newest number acknowledged then}."""
    chip = Chip()
    LittleFolder(chip, fresh=True)
    empty = bytes(chip.content)
    chip.operations.clear()
    log = booted(LittleFolder(chip))
    acked_at = {0: 0}
    for _ in an_hour(log):
        acked_at[len(chip.operations)] = log.synced
    return empty, chip.operations, acked_at


@pytest.mark.parametrize("torn", [False, True], ids=["clean", "torn"])
def test_a_cut_at_every_flash_operation_of_an_hour_loses_nothing_acknowledged(hour, torn):
    """Acknowledged is what `synced` said before that operation began; one more may be there, never a half one."""
    empty, operations, acked_at = hour
    content, acked = bytearray(empty), 0
    for count, (at, data) in enumerate(operations):
        acked = acked_at.get(count, acked)
        done = data[: len(data) // 2] if torn else b""
        after = bytearray(content)
        after[at : at + len(done)] = done
        found = sequence_numbers(LittleFolder(Chip(bytes(after))))
        assert found in (list(range(1, acked + 1)), list(range(1, acked + 2))), count
        if count % 7 == 0:
            again = LittleFolder(Chip(bytes(after)))
            more = booted(again)
            more.event(0, 0, "trip", [])
            more.sync(0)
            assert more.trouble == ""
            assert sequence_numbers(again) == list(range(1, len(found) + 2))
        content[at : at + len(data)] = data


def test_an_hour_costs_few_erases(hour):
    """What firmware/FLASH.md says of wear: about one sector a sync, and one in fourteen for the folder's own log."""
    _, operations, _ = hour
    erases = [at // BLOCK for at, data in operations if len(data) == BLOCK]
    assert 45 <= len(erases) <= 75


def test_a_full_flash_gives_way_segment_by_segment_and_the_newest_is_always_there():
    """Without a limit on its share: littlefs itself reports that it is full."""
    folder = LittleFolder(Chip(), fresh=True)
    log = booted(folder, **{"log.share": 0.8})
    with folder.fs.open("/big", "wb") as file:
        file.write(b"x" * (BLOCK * BLOCKS // 2))
    for i in range(300):
        log.event(i, 0, "trip", [("note", "x" * 900)])
        for _ in range(5):
            if log.overdue_ms(i) is not None:
                log.sync(i)
    assert log.trouble == ""
    numbers = sequence_numbers(folder)
    assert numbers[-1] == log.synced == 300
    assert len(numbers) < 120
    assert all(later == earlier + 1 for earlier, later in pairwise(numbers))


def test_the_first_entry_of_each_segment_says_which_boot_and_hold_it_belongs_to():
    folder = LittleFolder(Chip(), fresh=True)
    for boot in (1, 2):
        log = booted(folder)
        log.begin(0, [("stage", "work")])
        for i in range(40):
            log.event(i, 0, "trip", [("note", "x" * 900)])
            log.sync(i)
        assert (log.boot, log.hold) == (boot, boot)
    for name in folder.names():
        payload = framing.scan(folder.read(name, 0, 1 << 20))[0][0][2]
        kind, body = flashlog.entries(payload)[0]
        assert kind == flashlog.ORIGIN
        assert struct.unpack(flashlog.ORIGIN_BODY, body)[:2] in ((1, 0), (1, 1), (2, 1), (2, 2)), name
