"""The log on the flash: what is written and when, its counters and clocks, and what the host reads of it."""

import binascii
import os
import struct

from fake_folder import FakeFolder
from fake_log import HOUR_MS, booted, entries_of, hold, kept, line, rows, small, values

from bainboard import flashlog, framing, log_folder, stages


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
