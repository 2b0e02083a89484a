"""The board's own log on the virtual board: nights without a PC, cut power, hosts that read nothing or ask too much."""

from __future__ import annotations

import contextlib
import json
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from littlefs import LittleFS
from littlefs.errors import LittleFSError

from bainboard import framing, wire
from bainwright import cli
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import window_of
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document, flash_of
from bainwright.files.rig import load_rig
from bainwright.files.score import score
from bainwright.link import ports
from bainwright.link.protocol import Link
from bainwright.record.archive import STORED
from bainwright.record.boardlog import read_holds, read_segment
from bainwright.record.reader import read_log
from bainwright.report.report import trace_of
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.shared_memory import FLASH_BYTES

PATIENCE_S = 120.0  # real time after which something hangs; nothing is judged by speed
BLOCK = 4096


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def holds_on(chip):
    """The holds on a flash, by the segments' names, and the notes on them."""
    frames, notes = [frame for name in sorted(chip) for frame in read_segment(chip[name])[0]], []
    return list(read_holds(lambda: frames, notes)), notes


def until(condition):
    deadline_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline_s, "it did not come"
        time.sleep(0.02)


@contextlib.contextmanager
def alone(for_s, *, profile="dark", settings=None):
    """A board with a hold requested, its clock still stopped; nobody has the port."""
    rig = name_probes(load_rig("pot"))
    rig = replace(rig, settings={**rig.settings, **(settings or {})})
    with VirtualBoard(rig, seed=3, flash_files=flash_of(rig)) as board:
        transport = ports.open_port(board.path)
        link = Link(transport)
        link.hello()
        link.upload("profile", document("profile", load_profile(profile).document()))
        board.arm()
        stage = "melted" if profile == "melted" else "work"
        link.request("start", stage=stage, for_ms=round(1000 * for_s), room=20000)
        transport.close()
        yield board


def run_until(board, at_s):
    """Let time pass until then, then hold the clock."""
    board.run_clock()
    until(lambda: board.report()["now_s"] > at_s)
    board.hold_clock()


def bain(capsys, *arguments):
    """A command: exit status, its JSON, stderr."""
    code = cli.main([*arguments, "--json"])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, json.loads(out) if out else None, err


def scored(folder, end_s):
    """The figures of a hold, from its readings."""
    log = read_log(folder)
    return score(trace_of(log, None, end_s), window_of(resolve(HoldRequest("melted")))), log


def test_a_night_without_a_pc_is_reported_as_if_one_had_been_there(capsys):
    """The same seed twice: once watched all along, once alone with the port closed, and collected in the morning."""
    for_s = 100 * 60
    code, watched, _ = bain(capsys, "hold", "melted", "--virtual", "--for", "100m", "--seed", "3", "--room", "20")
    assert code == 0
    wanted, live = scored(watched["folder"], for_s)
    with alone(for_s, profile="melted") as board:
        run_until(board, for_s + 120)
        code, result, _ = bain(capsys, "collect", "--port", board.path, "--out", "later")
    assert (code, result["notes"]) == (0, [])
    hold = result["holds"][0]
    got, rows = scored(hold["folder"], for_s)
    # A row each ten seconds of the same evening.
    common, at, live_at = np.intersect1d(np.round(rows["t_s"]), np.round(live["t_s"]), return_indices=True)
    assert len(common) == len(rows) == for_s // 10
    for column in ("water_c", "bowl_c", "target_c"):
        apart = np.abs(rows[column][at] - live[column][live_at])
        # A look's sign is drawn from the moment, and the board that started alone did so some ms apart: two steps of
        # 1/16 K. The log's own steps are of 0.002 K.
        assert np.nanmax(apart) < 0.13, column
    assert np.mean(rows["duty"][at]) == pytest.approx(np.mean(live["duty"][live_at]), abs=0.01)
    told = [event["event"] for event in live.events if event["event"] != "boot"]
    assert [event["event"] for event in rows.events] == told
    assert got.in_window_fraction == pytest.approx(wanted.in_window_fraction, abs=0.002)
    # One step of 1/16 K takes the melt half a minute near its window, and the two may be two steps apart, as above; a
    # row comes each 10 s.
    assert got.warm_up_s == pytest.approx(wanted.warm_up_s, abs=70.0)
    assert got.bowl_rms_error_c == pytest.approx(wanted.bowl_rms_error_c, abs=0.025)  # as the warm-up
    assert got.whole.bowl_peak_c == pytest.approx(wanted.whole.bowl_peak_c, abs=0.065)
    assert got.whole.water_peak_c == pytest.approx(wanted.whole.water_peak_c, abs=0.065)
    assert got.unknown_s == pytest.approx(wanted.unknown_s, abs=10.0)
    assert (hold["ended"], hold["duration_s"], hold["lost_lines"], hold["virtual"]) == ("done", for_s, 0, True)
    assert "Held melted for 1 h 40 min: in its window" in hold["said"]


def segments_by_littlefs(image):
    """The log's files in a flash image, by the C library outside the board."""
    fs = LittleFS(block_size=BLOCK, block_count=FLASH_BYTES // BLOCK, prog_size=256, mount=False)
    fs.context.buffer[:] = image
    fs.mount()
    found = {}
    for name in fs.listdir("/log"):
        with fs.open(f"/log/{name}", "rb") as file:
            found[name] = file.read()
    return found


def test_what_is_collected_is_what_littlefs_finds_on_the_chip(capsys):
    """Oracle: littlefs-python on the raw image."""
    with alone(2400) as board:
        run_until(board, 2600)
        chip = segments_by_littlefs(board.flash())
        code, result, _ = bain(capsys, "collect", "--port", board.path, "--keep")
        assert code in (0, 1)
    folder = next(Path("holds/boards").iterdir())
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.name != STORED} == chip
    assert result["bytes_read"] == sum(map(len, chip.values()))
    for data in chip.values():
        frames, end, gaps = framing.scan(data)
        assert (end, gaps) == (len(data), [])
        assert frames


def test_an_image_is_collected_from_and_what_is_safe_is_deleted_in_it(capsys):
    bain(capsys, "hold", "melted", "--virtual", "--for", "100m", "--image", "chip", "--out", "live")
    before = segments_by_littlefs(Path("chip").read_bytes())
    assert len(before) > 1
    _, result, _ = bain(capsys, "collect", "--virtual", "chip")
    after = segments_by_littlefs(Path("chip").read_bytes())
    assert result["bytes_read"] == sum(map(len, before.values()))
    assert sorted(after) == sorted(before)[-1:]
    newest = sorted(before)[-1]
    assert after[newest].startswith(before[newest])


@pytest.mark.parametrize(("operation", "torn"), [
    (1, True), (2, False), (8, False), (21, True),
])
def test_a_power_cut_in_a_flash_operation_leaves_whole_records_and_the_board_continues(operation, torn):
    """Through the whole board: the chip is read from outside before and after. tests/abuse cuts hundreds of times."""
    with alone(7200) as board:
        run_until(board, 300)
        before = [len(framing.scan(data)[0]) for data in segments_by_littlefs(board.flash()).values()]
        board.cut_flash_at(operation, torn)
        board.run_clock()
        until(lambda: board.report()["power_cuts"] == 1)
        run_until(board, board.report()["now_s"] + 200)
        after = segments_by_littlefs(board.flash())
    frames = [frame for name in sorted(after) for frame in framing.scan(after[name])[0]]
    numbers = [seq for _, seq, _, _ in frames]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) > sum(before)
    assert b'"boot"' in frames[-1][2]


def test_a_port_that_another_program_has_open_is_named_and_nothing_is_touched(capsys):
    """Two PCs, or two programs, at once: the port is for one."""
    with alone(600) as board:
        transport = ports.open_port(board.path)
        code, result, err = bain(capsys, "collect", "--port", board.path)
        transport.close()
    assert (code, result) == (3, None)
    assert "another program has" in err
    assert not Path("holds").exists()


def test_an_image_that_is_not_there_and_a_port_beside_one_are_wrong_use(capsys):
    assert bain(capsys, "collect", "--virtual", "nowhere")[0] == 2
    Path("chip").write_bytes(b"")
    assert bain(capsys, "collect", "--virtual", "chip", "--port", "x")[0] == 2
    assert bain(capsys, "collect", "--virtual", "chip")[0] == 2


# -- what a host does to the heat: nothing ----------------------------------------------------------------------------


def quiet_reader(board):
    """Reads everything."""
    transport = ports.open_port(board.path)
    board.run_clock()
    while board.report()["now_s"] < 1900:
        transport.read()
    return transport


def absent(board):
    """Has closed the port."""
    board.run_clock()
    until(lambda: board.report()["now_s"] > 1900)


def stalled(board):
    """Has the port open and reads nothing."""
    transport = ports.open_port(board.path)
    board.run_clock()
    until(lambda: board.report()["now_s"] > 1900)
    return transport


def flooding(board):
    """Asks, without end, for what changes nothing, and sends garbage in between."""
    transport = ports.open_port(board.path)
    board.run_clock()
    number = 0
    while board.report()["now_s"] < 1900:
        number += 1
        asks = [("hello", {}), ("segments", {}), ("read", {"segment": 1, "at": 0}), ("send", {"what": "settings"})]
        do, fields = asks[number % 4]
        with contextlib.suppress(Exception):  # it takes no more just now: that is the flood
            transport.write(wire.encode([("id", number), ("do", do), *fields.items()]))
            transport.write(b'{"id":9,"do":"stop"}*00000000\n\xff\x00{[}\n' + b"x" * 300 + b"\n")
        transport.read()
    return transport


def at_rest(board):
    """The segments on a board whose clock has just been held; it may be in the middle of a write."""
    found = {}

    def readable():
        with contextlib.suppress(LittleFSError):
            found.update(segments_by_littlefs(board.flash()))
        return bool(found)

    until(readable)
    return found


def trace(host):
    """Each second of half an hour of a hold, as the board itself logged it: what it read and what it gave."""
    with alone(7200, settings={"log.status_s": 1}) as board:
        transport = host(board)
        board.hold_clock()
        if transport:
            transport.close()
        report = board.report()
        assert (report["resets"], report["dead"]) == ([], None)
        chip = at_rest(board)
    holds, notes = holds_on(chip)
    assert notes == []
    rows = [row for row in holds[0].rows if row.t < 1_800_000]
    return [(round(row.t / 1000), row.state, row.water, row.bowl, row.duty, row.fault, row.warn) for row in rows]


@pytest.fixture(scope="module")
def normal():
    """The trace when the host reads all the time."""
    rows = trace(quiet_reader)
    assert [row[0] for row in rows] == list(range(1, 1800))
    assert max(row[4] for row in rows) == 10000
    return rows


@pytest.mark.parametrize("host", [absent, stalled, flooding])
def test_a_host_that_is_gone_stalls_or_floods_gets_the_same_heat(normal, host):
    """Safety's invariant 15: duty in 1/10000, readings and state of each second, to the digit."""
    assert trace(host) == normal


# -- a flash that takes nothing more -----------------------------------------------------------------------------------


def filled(image):
    """The same flash, full to the last sector with a file that is not the log's."""
    fs = LittleFS(block_size=BLOCK, block_count=FLASH_BYTES // BLOCK, prog_size=256, mount=False)
    fs.context.buffer[:] = image
    fs.mount()
    size, mode = 0, "wb"
    with contextlib.suppress(LittleFSError):
        while True:
            with fs.open("/big", mode) as file:
                file.write(b"x" * BLOCK)
            size, mode = size + BLOCK, "ab"
    assert size > 100 * BLOCK
    return bytes(fs.context.buffer)


def test_a_full_flash_is_reported_once_and_the_hold_continues():
    """No room for the first segment: the hold is held to its end, and the person hears of the log once."""
    with alone(900) as board:
        image = filled(board.flash())
    Path("full").write_bytes(image)
    events, states = [], set()
    with VirtualBoard(name_probes(load_rig("pot")), seed=3, image=Path("full")) as board:
        transport = ports.open_port(board.path)
        link = Link(transport)
        link.hello()
        board.arm()
        link.request("start", drop_earlier=True, stage="work", for_ms=900_000, room=20000)
        board.run_clock()
        while not events or events[-1]["event"] != "ended":
            for message in link.poll():
                if isinstance(message, dict) and "event" in message:
                    events.append(message)
                elif not isinstance(message, dict):
                    states.add(message.state)
        report = board.report()
        transport.close()
    stopped = [event for event in events if event["event"] == "log_stopped"]
    assert [event["why"] for event in stopped] == ["the flash is full"]
    assert events[-1]["why"] == "done"
    assert states >= {"check", "hold"}
    assert (report["resets"], report["dead"]) == ([], None)


@pytest.mark.parametrize("first", ["dark", "melted"])
def test_a_board_that_has_run_for_a_while_still_takes_documents(first):
    """Nobody reads, lines pile up, the log has an entry a second: the heap at its fullest, then another evening."""
    with alone(7200, profile=first, settings={"log.status_s": 1}) as board:
        run_until(board, 1500)
        transport = ports.open_port(board.path)
        board.run_clock()
        link = Link(transport)
        link.hello()
        for name in ("milk", "white", "dark"):
            board.hold_clock()  # else a busy PC lets 15 s of the board's pass between two pieces of a document
            link.request("stop")
            link.upload("profile", document("profile", load_profile(name).document()))
            link.upload("settings", document("settings", name_probes(load_rig("pot")).settings))
            link.request("start", stage="work", for_ms=7_200_000, room=20000)
            board.run_clock()
            until_s = board.report()["now_s"] + 600
            while board.report()["now_s"] < until_s:
                transport.read()
        board.hold_clock()
        transport.close()
        report = board.report()
        assert (report["resets"], report["dead"]) == ([], None)
        chip = at_rest(board)
    holds, notes = holds_on(chip)
    assert (len(holds), notes) == (4, [])
    assert not [event for hold in holds for event in hold.events if event["event"] == "log_stopped"]
