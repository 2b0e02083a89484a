"""The board's own log: nothing acknowledged is lost wherever the power goes, and no flash can stop the warmer."""

import binascii
import os
import struct

from fake_flash import PowerCutError
from fake_folder import HOWS, FakeFolder

from bainboard import flashlog, framing, log_folder, settings, stages

HOUR_MS = 3600000


def values(**more):
    """Settings, with some of log.* otherwise."""
    doc = {"log." + name: value for name, value in more.items()}
    checked, why = settings.check(settings.SETTINGS, doc)
    assert why is None, why
    return checked


def line(t_ms, state="hold", stage="work", fault=0, on=200, ask=""):
    """What a status line says, in its order."""
    return (1, t_ms, state, stage, 33124, 31500, 0, 31500, None, 2345, on, fault, 0, ask, 0)


def booted(folder, now_ms=0, **more):
    """A log as the board has it after its start."""
    log = flashlog.FlashLog(folder)
    log.open(values(**more), now_ms, 0)
    return log


def hold(log, seconds, from_ms=0, every=1):
    """So many seconds of a hold, the flash served whenever it is wanted; yields the number synced after each tick."""
    log.begin(from_ms, [("stage", "work")])
    log.event(from_ms, 0, "started", [])
    for tick in range(every, seconds + 1, every):
        now_ms = from_ms + 1000 * tick
        log.status(now_ms, line(1000 * tick))
        if tick % 900 == 0:
            log.event(now_ms, 1000 * tick, "inside", [])
        if log.overdue_ms(now_ms) is not None:
            log.sync(now_ms)
        yield log.synced


def kept(files):
    """Every whole frame that is found afterwards, as (sequence, entries), in order, each number once."""
    found = {}
    for name in sorted(files):
        if flashlog.first_of(name) is None:
            continue
        for kind, seq, payload, _ in framing.scan(files[name])[0]:
            if kind == flashlog.KIND:
                found[seq] = flashlog.entries(payload)
    return [(seq, found[seq]) for seq in sorted(found)]


def entries_of(files, kind):
    """Every entry of a kind."""
    return [body for _, found in kept(files) for each, body in found if each == kind]


def rows(files):
    """Times of the status entries."""
    return [struct.unpack_from(flashlog.STATUS_BODY, body)[1] for body in entries_of(files, flashlog.STATUS)]


# -- what is written ------------------------------------------------------------------------------------------------


def test_a_status_entry_is_this_to_the_byte():
    """Oracle: the specification's table, written out by hand."""
    folder = FakeFolder()
    log = booted(folder)
    log.begin(5000, [])
    log.status(66000, line(61000, fault=2, ask="seed_in"))
    log.flush(66000)
    body = entries_of(folder.survivors(), flashlog.STATUS)[0]
    assert body[:28] == (
        b"\xd0\x01\x01\x00" b"\x48\xee\x00\x00" b"\x02\x05"  # 66000 ms since power-on, 61000 of the hold, hold, work
        b"\xc2\x67" b"\x96\x64" b"\x96\x64" b"\xff\xff"  # 33.124, 31.5, 31.5 °C, none: (m°C + 20000) / 2
        b"\x29\x09" b"\xc8\x00" b"\x02" b"\x00\x00\x00\x00" b"\x00"  # duty 2345, 200 ms, fault 2, no warning, measured
    )
    assert body[28:] == b"seed_in"


def test_a_temperature_keeps_two_thousandths_from_minus_20_to_111_and_none_is_none():
    for milli, code in (
        (None, 0xFFFF), (0, 10000), (-20000, 0), (-99999, 0), (111068, 65534), (999999, 65534), (31501, 25750),
    ):
        assert flashlog.temp_code(milli) == code


def test_the_numbers_of_states_and_steps_cover_the_tables_and_never_change():
    assert flashlog.STATES == ("idle", "check", "hold", "pause", "off", "trip")
    assert flashlog.STAGES[:8] == ("", "melt", "seed", "settle", "test", "work", "rest", "melted")
    assert set(stages.RUNNABLE) <= set(flashlog.STAGES)


def test_unix_seconds_of_a_date():
    """Oracle: RFC 3339 dates with their POSIX times from `date -u -d`, from memory but for the epoch's own."""
    assert flashlog.unix_s(1970, 1, 1, 0, 0, 0) == 0
    assert flashlog.unix_s(2001, 9, 9, 1, 46, 40) == 1000000000
    assert flashlog.unix_s(2024, 2, 29, 12, 0, 0) == 1709208000
    assert flashlog.unix_s(2033, 5, 18, 3, 33, 20) == 2000000000


def test_a_status_is_logged_each_ten_seconds_and_at_a_fault_and_not_at_rest():
    folder = FakeFolder()
    log = booted(folder)
    for tick in range(1, 100):
        log.status(1000 * tick, line(0, state="idle", stage=""))
    log.begin(100000, [])
    for tick in range(1, 61):
        overdue_ms = 40 if tick == 21 else 0  # a tick that comes late must not shift the rest
        log.status(100000 + 1000 * tick, line(1000 * tick + overdue_ms, fault=4 if tick >= 35 else 0))
    log.flush(200000)
    assert rows(folder.survivors()) == [1000, 11000, 21040, 31000, 35000, 45000, 55000]
    bodies = entries_of(folder.survivors(), flashlog.STATUS)
    on_ms = [struct.unpack_from(flashlog.STATUS_BODY, body)[9] for body in bodies]
    assert on_ms == [200, 2000, 2000, 2000, 800, 2000, 2000]


def test_a_board_left_latched_logs_ten_times_less():
    folder = FakeFolder()
    log = booted(folder)
    log.begin(0, [])
    for tick in range(1, 1001):
        log.status(1000 * tick, line(1000 * tick, state="trip", fault=1))
        if log.overdue_ms(1000 * tick) is not None:
            log.sync(1000 * tick)
    log.flush(HOUR_MS)
    assert 10 <= len(rows(folder.survivors())) <= 12


def test_a_night_is_under_200_kb_and_synced_each_minute():
    """12 h; the figures of the specification: about 226 bytes a sync, a sync each 70 s."""
    folder = FakeFolder()
    log = booted(folder)
    for _ in hold(log, 12 * 3600):
        pass
    size = sum([len(data) for data in folder.survivors().values()])
    assert 130000 < size < 150000
    assert 600 < len(folder.acts) < 650
    # A segment at a time: a board's interpreter holds no night at once.
    assert sum([len(rows({name: data})) for name, data in folder.survivors().items()]) >= 12 * 360 - 6


def test_a_trip_a_start_and_an_end_are_wanted_on_the_flash_at_once_other_events_within_the_minute():
    at_once, within = ("trip", "started", "ended", "cleared"), ("below", "bowl_off", "boot")
    for name, wait_ms in [(name, 0) for name in at_once] + [(name, 60000) for name in within]:
        log = booted(FakeFolder())
        log.flush(0)
        assert log.overdue_ms(10**9) is None
        log.event(5000, 4000, name, [])
        assert log.overdue_ms(5000 + wait_ms) == 0, name
        assert log.overdue_ms(4999 + wait_ms) is None, name


# -- power cuts -----------------------------------------------------------------------------------------------------


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


def small(log, count, from_ms=0):
    """Fill segments fast: a long event a sync."""
    for i in range(count):
        log.event(from_ms + i, 0, "trip", [("note", "x" * 900)])
        log.sync(from_ms + i)


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


# -- damage ---------------------------------------------------------------------------------------------------------


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


# -- a flash that does not take it ------------------------------------------------------------------------------------


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


# -- counters and clocks --------------------------------------------------------------------------------------------


def origins(files):
    """(boot, hold, up_ms, wall_s, who) of each origin."""
    return [struct.unpack(flashlog.ORIGIN_BODY, body) for body in entries_of(files, flashlog.ORIGIN)]


def test_boots_and_holds_are_counted_across_boots_and_each_segment_says_where_it_is():
    folder = FakeFolder()
    for boot in range(1, 4):
        log = booted(folder)
        assert log.boot == boot
        for _ in range(2):
            log.begin(1000, [("stage", "work")])
            small(log, 12)
        assert log.hold == 2 * boot
    for name, data in folder.survivors().items():
        first = flashlog.entries(framing.scan(data)[0][0][2])[0]
        assert first[0] == flashlog.ORIGIN, name
    found = [origin[:2] for origin in origins(folder.survivors())]
    assert found == sorted(found)


def test_the_hosts_time_and_the_boards_own_clock_go_into_the_log():
    folder = FakeFolder()
    log = flashlog.FlashLog(folder)
    log.open(values(), 500, 1800000000)
    log.set_clock(10500, 1800000011)  # a second off: but the host's word counts more than the board's own clock
    log.set_clock(20500, 1800000021)  # nothing new
    log.set_clock(30500, 1700000000)  # set back
    log.flush(30500)
    assert [(up, wall, who) for _, _, up, wall, who in origins(folder.survivors())][1:] == [
        (500, 1800000000, flashlog.RTC), (10500, 1800000011, flashlog.HOST), (30500, 1700000000, flashlog.HOST)]


# -- what the host reads ----------------------------------------------------------------------------------------------


def test_the_host_can_list_read_and_forget_segments_and_the_newest_stays():
    folder = FakeFolder()
    log = booted(folder)
    small(log, 60)
    files = folder.survivors()
    listed, after = [], 0
    while log.segment(after) is not None:
        listed.append(log.segment(after))
        after = listed[-1][0]
    assert [flashlog.segment_name(each[0]) for each in listed] == sorted(files)
    assert [each[4] for each in listed] == [3, 2, 1, 0]
    assert [each[1] + 1 for each in listed[:-1]] == [each[0] for each in listed[1:]]
    assert listed[-1][1] == log.synced == 60
    for first, _, size, crc, _ in listed:
        data = b"".join([log.read(first, at, 120) for at in range(0, size, 120)])
        assert data == files[flashlog.segment_name(first)]
        assert crc == binascii.crc32(data)
        assert log.read(first, size, 120) is None
    assert log.read(2, 0, 120) is None
    assert log.forget(listed[1][1] - 1, 0) == 1
    assert log.forget(listed[1][1], 0) == 2
    assert log.forget(listed[3][1], 0) == 3
    while log.overdue_ms(0) is not None:
        log.sync(0)
    assert sorted(folder.survivors()) == [sorted(files)[-1]]
    small(log, 1)
    assert log.synced == 61


def test_the_real_folder_does_what_the_fake_one_does():
    path = "/tmp/check_flashlog_" + binascii.hexlify(os.urandom(8)).decode()
    folder = log_folder.Folder(path)
    try:
        log = booted(folder)
        small(log, 20)
        small(booted(folder), 20)
        assert sorted(map(flashlog.first_of, folder.names())) == [1, 18, 35]
        data = {name: folder.read(name, 0, 99999) for name in folder.names()}
        assert [seq for seq, _ in kept(data)] == list(range(1, 41))
        assert folder.size("0000000001.seg") == len(data["0000000001.seg"])
        assert folder.total() > 1000000
    finally:
        for name in folder.names():
            folder.remove(name)
        os.rmdir(path)
