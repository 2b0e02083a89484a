"""The virtual board's flash: a littlefs any other littlefs reads, unchanged by resets, and cut at any operation."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from board_tools import line, lines, running, until
from littlefs import LittleFS

from bainwright.core.errors import FileError
from bainwright.virtual.image import Claim
from bainwright.virtual.made_firmware import firmware_files

BLOCKS, BLOCK_BYTES = 352, 4096  # what a 2 MB RP2040 board gives to files


def mounted(image: bytes) -> LittleFS:
    """The image as littlefs-python sees it: another build of the reference implementation."""
    fs = LittleFS(block_size=BLOCK_BYTES, block_count=BLOCKS, prog_size=256, cache_size=1024, lookahead_size=32,
                  read_size=32, mount=False)
    fs.context.buffer = bytearray(image)
    fs.mount()
    return fs


def content(fs: LittleFS, path: str) -> bytes:
    with fs.open(path, "rb") as file:
        data: bytes = file.read()
        return data


def test_the_flash_holds_the_firmware_byte_for_byte() -> None:
    with running("line()\n", frozen=True) as (board, _):
        fs = mounted(board.flash())
    for path, source in firmware_files().items():
        if path != "/main.py":  # the test's own
            assert content(fs, path) == source


def test_what_the_firmware_writes_is_on_the_image(tmp_path: Path) -> None:
    main = "with open('/log.bin', 'wb') as file: file.write(bytes(range(256)) * 40)\n" \
           "print('done')\nwhile True: time.sleep(1)\n"
    image = tmp_path / "board.flash"
    with running(main, image=image) as (_, port):
        assert line(port) == "done"
    assert content(mounted(image.read_bytes()), "/log.bin") == bytes(range(256)) * 40


def test_a_board_started_from_an_image_finds_its_files(tmp_path: Path) -> None:
    main = "n = int(open('/n').read()) if 'n' in __import__('os').listdir('/') else 0\nprint(n)\n" \
           "with open('/n', 'w') as file: file.write(str(n + 1))\nprint('saved')\nwhile True: time.sleep(1)\n"
    image = tmp_path / "board.flash"
    for expected in range(3):
        with running(main, image=image) as (_, port):
            assert lines(port, 2) == [str(expected), "saved"]


def test_erasing_and_programming_take_the_time_they_take_on_the_chip() -> None:
    main = """
line()
t = time.ticks_ms()
with open('/big', 'wb') as file: file.write(bytes(40960))
print(time.ticks_diff(time.ticks_ms(), t))
while True: time.sleep(1)
"""
    with running(main) as (_, port):
        port.write(b"go\n")
        # Ten sectors of 4 KB at 45 ms and 160 pages at 0.4 ms at the least; the file system's own come on top.
        assert 10 * 45 + 160 * 0.4 <= int(line(port)) < 2 * (10 * 45 + 160 * 0.4)


WRITER = """
import os
try:
    before = open('/data').read()
except OSError:
    before = 'none'
print(before)
line()
with open('/new', 'w') as file: file.write('new' * 100)
os.rename('/new', '/data')
print('written')
while True: time.sleep(1)
"""


@pytest.mark.parametrize("torn", [False, True], ids=["clean", "torn"])
def test_power_cut_in_any_operation_leaves_the_old_content_or_the_new(torn: bool, tmp_path: Path) -> None:
    # littlefs promises it (its DESIGN.md: atomic rename, copy on write); so this checks that our cuts are cuts.
    old, new = "old" * 100, "new" * 100
    outcomes = set()
    for operation in range(1, 40):
        with running(WRITER, flash_files={"/data": old.encode()}) as (board, port):
            assert line(port) == old
            board.cut_flash_at(operation, torn=torn)
            port.write(b"go\n")
            said = line(port)
            if said == "written":
                outcomes.add("after")
                break
            assert said in (old, new)  # it has restarted
            outcomes.add("old" if said == old else "new")
            assert board.report()["resets"][0]["cause"] == "power_cut"
    assert "after" in outcomes
    assert "old" in outcomes


def test_erases_are_counted() -> None:
    main = "line()\nfor n in range(5):\n    with open('/f', 'wb') as file: file.write(bytes(4096))\n" \
           "print('done')\nline()\n"
    with running(main) as (board, port):
        before = board.report()["flash_erases"]
        port.write(b"go\n")
        assert line(port) == "done"
        assert board.report()["flash_erases"] >= before + 5


def test_a_place_where_no_image_can_be_stored_is_refused_before_anything_starts(tmp_path: Path) -> None:
    from bainwright.core.errors import UseError

    for image in (tmp_path, tmp_path / "none" / "board.flash"):
        place: Any = image
        with pytest.raises(UseError, match="cannot be written"), running("line()", image=place):
            pass


def test_an_image_is_one_board_s_until_that_ends(tmp_path: Path) -> None:
    from bainwright.core.errors import BusyPortError

    image: Any = tmp_path / "board.flash"
    (tmp_path / "link.flash").symlink_to(image)
    claim = Claim(image)
    for place in (image, tmp_path / "link.flash"):
        with pytest.raises(BusyPortError, match="another virtual board uses"):
            Claim(place)
    with pytest.raises(BusyPortError, match=r"board\.flash"), running("line()", image=image):
        pass
    claim.release()
    Claim(image).release()
    assert [path.name for path in tmp_path.iterdir()] == ["link.flash"]


def test_a_flash_that_cannot_be_saved_is_an_error_with_the_image_s_name(tmp_path: Path) -> None:
    from bainwright.core.errors import UnsavedError

    image: Any = tmp_path / "gone" / "board.flash"
    image.parent.mkdir()
    with pytest.raises(UnsavedError, match=r"not saved to .*board\.flash: no such file") as failed:  # noqa: SIM117
        with running("line()", image=image):
            shutil.rmtree(image.parent)
    assert failed.value.exit_code == 1


def test_a_file_of_an_image_s_length_that_is_none_is_refused_and_unchanged(tmp_path: Path) -> None:
    from bainwright.core.errors import UseError
    from bainwright.virtual.shared_memory import FLASH_BYTES

    image: Any = tmp_path / "photo.raw"
    image.write_bytes(bytes(range(256)) * (FLASH_BYTES // 256))
    before = image.read_bytes()
    with pytest.raises(UseError, match="no file system that a board can read"), running("line()", image=image):
        pass
    assert image.read_bytes() == before
    assert list(tmp_path.iterdir()) == [image]


def test_a_link_in_the_place_of_a_claim_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / ".board.flash.in-use").symlink_to(tmp_path / "outside")
    with pytest.raises(FileError, match="cannot be written"):
        Claim(tmp_path / "board.flash")
    assert not (tmp_path / "outside").exists()


def test_a_mistaken_image_is_refused_in_words(tmp_path: Path) -> None:
    from bainwright.core.errors import UseError

    image: Any = tmp_path / "not.flash"
    image.write_bytes(b"hello")
    with pytest.raises(UseError, match=r"not\.flash"), running("line()", image=image):
        until(lambda: False)
