"""The log on a flash that fails: power cuts, damage, no room, and a memory that is full.

Nothing acknowledged is lost wherever the power goes, and no flash can stop the warmer.
"""

import struct

from fake_flash import PowerCutError
from fake_folder import HOWS, FakeFolder
from fake_log import HOUR_MS, booted, entries_of, hold, kept, small

from bainboard import flashlog, framing


def cut(files, how, steps, seconds):
    """Log until the power goes: what survives, the newest number acknowledged, and whether it went."""
    folder = FakeFolder(files, how, steps)
    acked = 0
    try:
        log = booted(folder)
        for synced in hold(log, seconds, every=10):
            acked = synced
    except PowerCutError:
        return folder.survivors(), acked, True
    return folder.survivors(), acked, False


def judge(before, after, acked):
    """Nothing acknowledged lost, at most one record more, and the next start continues with rising numbers."""
    found = kept(after)
    numbers = [seq for seq, _ in found]
    old = [seq for seq, _ in kept(before)]
    acked = max(acked, old[-1] if old else 0)
    assert numbers[: len(old)] == old
    assert [seq for seq in numbers if seq <= acked] == list(range(1, acked + 1))
    assert len([seq for seq in numbers if seq > acked]) <= 1
    folder = FakeFolder(after)
    log = booted(folder)
    log.event(0, 0, "trip", [])
    log.sync(0)
    again = [seq for seq, _ in kept(folder.survivors())]
    assert again[:-1] == numbers
    assert again[-1] == (numbers[-1] + 1 if numbers else 1)
    # The start counts on from what it found.
    boots = [struct.unpack(flashlog.ORIGIN_BODY, body)[0] for body in entries_of(folder.survivors(), flashlog.ORIGIN)]
    assert boots == sorted(boots)


def test_a_cut_at_every_step_of_half_an_hour_clean_and_torn_loses_nothing_acknowledged():
    for how in HOWS:
        for steps in range(2000):
            after, acked, gone = cut({}, how, steps, 1800)
            judge({}, after, acked)
            if not gone:
                break
        assert not gone
        assert steps > 50


def test_a_second_cut_after_a_first_one_loses_nothing_either():
    for how in HOWS:
        for first in (0, 1, 3, 9, 20):
            files, acked, _ = cut({}, how, first, 600)
            for steps in range(40):
                after, more, _ = cut(files, how, steps, 300)
                judge(files, after, max(acked, more))


def end_or_cut(log):
    """Log on; the power may go."""
    try:
        small(log, 20)
    except PowerCutError:
        return


def test_a_cut_while_the_oldest_segment_gives_way_costs_that_segment_at_most():
    folder = FakeFolder()
    small(booted(folder, share=0.05), 49)  # 52 KB may be kept: the 50th begins another segment and one must go
    before = folder.survivors()
    oldest = kept(before)[0][0]
    for how in HOWS:
        for steps in range(60):
            torn = FakeFolder(before, how, steps)
            log = booted(torn, share=0.05)
            end_or_cut(log)
            numbers = [seq for seq, _ in kept(torn.survivors())]
            assert numbers == list(range(numbers[0], numbers[-1] + 1))
            assert numbers[-1] >= log.synced
            assert numbers[0] == oldest or numbers[-1] - numbers[0] > 30


def logged(count=60):
    """The files of some records."""
    folder = FakeFolder()
    small(booted(folder), count)
    return folder.survivors()


def test_damage_in_the_middle_costs_what_it_touched_and_the_board_continues_behind_it():
    files = logged()
    name = sorted(files)[1]
    whole = files[name]
    for at in (0, 2, 7, 100, 1000, 5000, len(whole) - 1):
        damaged = dict(files)
        damaged[name] = whole[:at] + bytes([whole[at] ^ 0x40]) + whole[at + 1 :]
        numbers = [seq for seq, _ in kept(damaged)]
        assert len(numbers) == 59
        folder = FakeFolder(damaged)
        log = booted(folder)
        small(log, 1)
        again = [seq for seq, _ in kept(folder.survivors())]
        assert again[:-1] == numbers
        assert again[-1] == 61


def test_any_tail_is_left_behind_and_a_new_segment_begun():
    files = logged(10)
    name = sorted(files)[-1]
    for tail in (b"\xff", b"\x00" * 40, framing.MAGIC, framing.pack(flashlog.KIND, 11, b"abc")[:-1], b"\xba" * 700):
        torn = dict(files)
        torn[name] += tail
        folder = FakeFolder(torn)
        small(booted(folder), 2)
        after = folder.survivors()
        assert after[name] == torn[name]
        assert [seq for seq, _ in kept(after)] == list(range(1, 13))
        assert flashlog.segment_name(11) in after


def test_segments_that_are_all_damaged_are_not_written_over():
    files = {name: b"\x00" * len(data) for name, data in logged().items()}
    folder = FakeFolder(files)
    small(booted(folder), 1)
    after = folder.survivors()
    for name in sorted(files)[:-1]:
        assert after[name] == files[name]
    assert kept(after)[0][0] == flashlog.first_of(sorted(files)[-1])


def test_foreign_files_are_neither_read_nor_counted_nor_deleted():
    foreign = {"notes.txt": b"mine", "0000000001.segx": b"", "1.seg": b"", "abcdefghij.seg": framing.pack(16, 9, b"")}
    folder = FakeFolder(foreign)
    log = booted(folder, share=0.05)
    small(log, 200)
    log.forget(2**32 - 1, 0)
    while log.overdue_ms(10**6) is not None:
        log.sync(10**6)
    after = folder.survivors()
    for name, data in foreign.items():
        assert after[name] == data
    assert len(after) == len(foreign) + 1


def test_the_log_keeps_within_its_share_and_the_oldest_goes():
    folder = FakeFolder()
    log = booted(folder, share=0.1)
    most = 0
    for i in range(40):
        small(log, 10, i * 100)
        most = max(most, sum([len(data) for data in folder.survivors().values()]))
    assert most <= 0.1 * folder.room
    numbers = [seq for seq, _ in kept(folder.survivors())]
    assert numbers == list(range(numbers[0], 401))
    assert log.trouble == ""


def test_a_full_flash_costs_the_oldest_and_never_an_error():
    folder = FakeFolder()
    log = booted(folder)
    small(log, 60)
    folder.room = sum([len(data) for data in folder.survivors().values()]) + 100
    for i in range(200):
        small(log, 1, 1000 * i)
        while log.overdue_ms(1000 * i) is not None:  # it makes room one segment at a time
            log.sync(1000 * i)
    assert log.trouble == ""
    numbers = [seq for seq, _ in kept(folder.survivors())]
    assert numbers[-1] == 260
    assert numbers == list(range(numbers[0], 261))


def test_a_flash_full_of_other_things_is_reported_and_asked_again_a_minute_later():
    folder = FakeFolder({"other": b"x" * 1000}, room=1000)
    log = booted(folder)
    log.event(0, 0, "trip", [])
    log.sync(0)
    assert log.trouble == "the flash is full"
    log.event(1000, 0, "trip", [])
    assert log.overdue_ms(59999) is None
    assert log.overdue_ms(60000) == 0
    folder.room = 1 << 20
    log.sync(60000)
    assert log.trouble == ""
    # What was let go shows as a number left out.
    assert [seq for seq, _ in kept(folder.survivors())] == [2]


def test_a_flash_that_cannot_be_written_never_raises_and_does_not_fill_the_memory():
    for number in (30, 5, 28):  # EROFS, EIO, ENOSPC of POSIX
        folder = FakeFolder(logged(10))
        folder.fails = number
        log = booted(folder)
        for _ in hold(log, 3 * 3600):
            assert log._used <= flashlog.FRONT + flashlog.BUFFER_BYTES
        assert log.trouble
        assert [seq for seq, _ in kept(folder.survivors())] == list(range(1, 11))
        folder.fails = None
        for _ in hold(log, 300, 4 * HOUR_MS):
            pass
        assert log.trouble == ""
        numbers = [seq for seq, _ in kept(folder.survivors())]
        assert numbers[9] + 1 < numbers[10]


class Cramped(FakeFolder):
    """A board whose memory is too full for another file, until it is not."""

    cramped = True

    def write(self, name, data):
        if self.cramped:
            raise MemoryError
        FakeFolder.write(self, name, data)


def test_a_full_memory_does_not_stop_the_warmer_and_what_was_gathered_waits():
    folder = Cramped()
    log = booted(folder)
    log.event(0, 0, "trip", [])
    log.sync(0)
    assert log.trouble == "no memory"
    folder.cramped = False
    assert log.overdue_ms(60000) == 0
    log.sync(60000)
    assert log.trouble == ""
    assert [seq for seq, _ in kept(folder.survivors())] == [1]
    assert len(entries_of(folder.survivors(), flashlog.EVENT)) == 1


class Unreadable(FakeFolder):
    """A flash whose folder cannot be read until it is mended."""

    broken = True

    def names(self):
        if self.broken:
            raise OSError(5)  # EIO
        return FakeFolder.names(self)


def test_a_folder_that_cannot_be_looked_at_is_not_written_to_before_it_can():
    files = logged(20)
    folder = Unreadable(files)
    log = booted(folder)
    log.event(0, 0, "trip", [])
    log.sync(60000)
    assert log.trouble == "the flash gave error 5"
    assert folder.survivors() == files
    folder.broken = False
    log.event(70000, 0, "trip", [])
    log.sync(200000)
    assert kept(folder.survivors())[-1][0] == 22
    assert [seq for seq, _ in kept(folder.survivors())][:20] == list(range(1, 21))
