"""The virtual board's firmware as stored between runs is that made from its sources, or it is made again."""

from collections.abc import Callable
from pathlib import Path

import platformdirs
import pytest

from bainwright.files import firmware
from bainwright.virtual import made_firmware
from bainwright.virtual.made_firmware import firmware_files, stored_at

MADE = firmware.Firmware(b"main", {"bainboard/app.mpy": b"M\x06" * 50})


@pytest.fixture(autouse=True)
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """A cache of one's own, and each making of the firmware counted."""
    count: list[int] = []

    def make(mpy: int) -> firmware.Firmware:
        count.append(mpy)
        return MADE

    monkeypatch.setattr(platformdirs, "user_cache_path", lambda name: tmp_path / "cache" / name)
    monkeypatch.setattr(firmware, "firmware", make)
    monkeypatch.setattr(made_firmware, "firmware_files", firmware_files.__wrapped__)
    return count


def again() -> dict[str, bytes]:
    return made_firmware.firmware_files()


def test_a_second_run_has_the_same_files_and_makes_nothing(made: list[int]) -> None:
    assert again() == MADE.image()
    assert again() == MADE.image()
    assert len(made) == 1


@pytest.mark.parametrize("damage", [
    lambda data: b"", lambda data: data[:-30], lambda data: data.replace(b"M\x06", b"M\x07", 1), lambda data: b"PK" * 9,
])  # fmt: skip
def test_a_damaged_store_is_made_again(made: list[int], damage: Callable[[bytes], bytes]) -> None:
    again()
    stored_at().write_bytes(damage(stored_at().read_bytes()))
    assert again() == MADE.image()
    assert again() == MADE.image()
    assert len(made) == 2


def test_other_sources_are_another_store_and_the_older_one_goes(
    made: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    again()
    before, (main, files) = stored_at(), firmware.sources()
    monkeypatch.setattr(firmware, "sources", lambda: (main, {**files, "bainboard/new.py": b""}))
    again()
    assert stored_at() != before
    assert list(before.parent.iterdir()) == [stored_at()]


def test_a_place_that_takes_no_file_costs_only_time(made: list[int], tmp_path: Path) -> None:
    (tmp_path / "cache").write_text("not a folder")
    assert again() == MADE.image()
    assert again() == MADE.image()
    assert len(made) == 2
