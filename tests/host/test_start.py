"""main.py: the pin first, then the version that the record names, back to the one before when a new one fails."""

from __future__ import annotations

import inspect
import itertools

import pytest
from start_tools import Shelf, Start

from bainboard import pins, start
from bainwright.files.firmware import BACK, GOOD, NEW, NONE, RECORD, TRIED, Record, read_record, sources

MAIN, _ = sources()
A, B = "aaaaaaaa", "bbbbbbbb"


def shelf(*record: str, full: bool = False) -> Shelf:
    return Shelf({RECORD: Record(*record).line().encode()} if record else {}, full)


def stored(flash: Shelf) -> Record | None:
    return read_record(flash.files[RECORD].decode())


@pytest.mark.parametrize("platform", ["rp2", "esp32"])
def test_the_heater_pin_is_low_before_anything_else_and_is_the_one_of_the_pin_map(platform: str) -> None:
    pin = pins.for_platform(platform)["heater"]
    for flash in (shelf(A, NONE, GOOD), shelf()):
        assert Start(MAIN, flash, platform=platform).acts[0] == f"Pin {pin} OUT 0"


def test_nothing_is_loaded_before_the_pin_is_low_but_what_every_interpreter_has_built_in() -> None:
    before = MAIN.decode().partition("machine.Pin(HEATER")[0]
    assert [line for line in before.splitlines() if "import" in line.split()] == ["import sys", "import machine"]


def test_a_version_that_proved_itself_is_started_every_time() -> None:
    flash = shelf(A, B, GOOD)
    for _ in range(3):
        began = Start(MAIN, flash)
        assert (began.version, began.keep) == (A, None)
    assert stored(flash) == (A, B, GOOD)


def test_a_new_version_is_marked_as_tried_before_it_starts_and_as_good_when_it_has_proved_itself() -> None:
    flash = shelf(A, B, NEW)
    began = Start(MAIN, flash)
    assert (began.version, stored(flash)) == (A, (A, B, TRIED))
    assert began.keep is not None
    began.keep()
    assert stored(flash) == (A, B, GOOD)
    assert Start(MAIN, flash).version == A


def test_a_new_version_that_never_proved_itself_makes_room_for_the_one_before() -> None:
    flash = shelf(A, B, NEW)
    assert [Start(MAIN, flash).version for _ in range(3)] == [A, B, B]
    assert stored(flash) == (B, A, BACK)


def test_a_new_version_that_breaks_resets_the_board_which_then_starts_the_one_before() -> None:
    flash = shelf(A, B, NEW)
    assert Start(MAIN, flash, fails=(A,)).acts[-1] == "reset"
    assert b"aaaaaaaa is broken" in flash.files["/crash.txt"]
    assert Start(MAIN, flash, fails=(A,)).version == B


def test_the_first_version_of_all_is_started_again_since_there_is_no_other() -> None:
    flash = shelf(A, NONE, NEW)
    assert [Start(MAIN, flash).version for _ in range(3)] == [A, A, A]
    broken = Start(MAIN, flash, fails=(A,))
    assert isinstance(broken.error, ValueError)  # shown at the prompt; a reset would go on for ever
    began = Start(MAIN, flash)
    assert began.keep is not None
    began.keep()
    assert stored(flash) == (A, NONE, GOOD)


def test_a_proved_version_that_breaks_later_stays_and_shows_its_error() -> None:
    began = Start(MAIN, shelf(A, B, GOOD), fails=(A,))
    assert isinstance(began.error, ValueError)
    assert "reset" not in began.acts


def test_on_a_full_flash_a_new_version_is_not_tried_because_its_failing_could_not_be_noted() -> None:
    assert Start(MAIN, shelf(A, B, NEW, full=True)).version == B
    assert Start(MAIN, shelf(A, B, TRIED, full=True)).version == B
    assert Start(MAIN, shelf(A, NONE, NEW, full=True)).version == A


@pytest.mark.parametrize("damage", [b"", b"x", b"aaaaaaaa - good 00000000\n", b"aaaaaaaa - good\n"])
def test_without_a_whole_record_nothing_is_started_and_the_next_step_is_said(damage: bytes) -> None:
    began = Start(MAIN, Shelf({RECORD: damage}))
    assert began.version == ""
    assert "bain install" in began.acts[-1]


def test_the_pc_and_the_board_read_and_write_the_same_record() -> None:
    for current, before, state in itertools.product((A, B), (NONE, A), (NEW, TRIED, GOOD, BACK)):
        record = Record(current, before, state)
        assert read_record(record.line()) == record
        for at in range(len(record.line()) - 1):
            assert read_record(record.line()[:at]) is None
    flash = shelf(A, B, NEW)
    Start(MAIN, flash)
    assert flash.files[RECORD].decode() == Record(A, B, TRIED).line()


def test_what_main_py_calls_in_a_version_never_changes() -> None:
    # main.py on a board is at least as new as any version it starts; older versions are started by this call too.
    assert list(inspect.signature(start.run).parameters) == ["version", "keep"]
