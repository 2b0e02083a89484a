"""The virtual board's console: interrupts, bytes both ways, and readers who are slow or gone."""

from __future__ import annotations

import os
from types import SimpleNamespace

import pytest
from board_tools import line, lines, running, said_until, until

from bainwright.virtual.console import Console
from bainwright.virtual.shared_memory import SharedMemory


def test_ctrl_c_interrupts_a_wait_and_the_prompt_follows() -> None:
    main = "try:\n    while True: time.sleep(1)\nexcept KeyboardInterrupt:\n    print('stopped')\n"
    with running(main, speed=1.0) as (board, port):
        port.write(b"\x03")
        said_until(port, ">>> ")
        assert not board.report()["in_main"]
        port.write(b"6*7\r")
        said_until(port, "42\r\n>>> ")


def test_ctrl_c_on_a_frozen_board_works_as_well() -> None:
    with running("while True: poller.poll(1000)\n", frozen=True) as (_, port):
        port.write(b"\x03")
        said_until(port, "KeyboardInterrupt: \r\n")
        said_until(port, ">>> ")


def test_firmware_may_carry_on_after_ctrl_c_and_hears_what_follows() -> None:
    main = """
while True:
    try:
        print("heard", line())
    except KeyboardInterrupt:
        print("off")
"""
    with running(main) as (_, port):
        port.write(b"one\n")
        assert line(port) == "heard one"
        port.write(b"\x03two\n")
        assert lines(port, 2) == ["off", "heard two"]


def test_bytes_go_both_ways_unchanged() -> None:
    main = """
while True:
    poller.poll(-1)
    sys.stdout.buffer.write(sys.stdin.buffer.read(1))
"""
    # All but Ctrl-C, which interrupts.
    data = bytes(byte for byte in range(256) if byte != 3)
    with running(main) as (_, port):
        port.write(data)
        assert port.read(len(data)) == data


def test_print_ends_lines_as_a_board_does_and_the_raw_stream_leaves_them_alone() -> None:
    main = "print('a')\nsys.stdout.buffer.write(b'b\\n')\nprint('c', end='')\nwhile True: time.sleep(1)\n"
    with running(main) as (_, port):
        assert port.read(6) == b"a\r\nb\nc"


def test_a_large_message_from_the_host_arrives_whole_at_a_busy_board() -> None:
    main = "n = 0\nwhile n < 20000:\n    poller.poll(1000)\n    sys.stdin.buffer.read(1)\n    n += 1\nprint('all')\n"
    with running(main) as (_, port):
        port.write(b"x" * 20000)
        assert line(port) == "all"


FLOOD = """
out = select.poll()
out.register(sys.stdout, select.POLLOUT)
dropped = sent = 0
while True:
    poller.poll(1000)
    text = b"%d %d " % (sent, dropped) + b"x" * 200 + b"\\n"
    if out.poll(0):
        sys.stdout.buffer.write(text)
        sent += 1
    else:
        dropped += 1
"""


def test_at_full_speed_a_slow_reader_loses_nothing() -> None:
    with running(FLOOD) as (_, port):
        for n in range(2000):
            assert line(port).split()[:2] == [str(n), "0"]


def test_a_reader_who_stopped_costs_lines_and_no_time() -> None:
    with running(FLOOD) as (board, port):
        until(lambda: board.report()["stalled"])
        began_s = board.report()["now_s"]
        until(lambda: board.report()["now_s"] > began_s + 1000.0)  # the board runs on
        last = 0
        while last == 0:  # and once we read again, lines come again, whole
            sent, dropped, *_ = line(port).split()
            last = int(dropped)
        assert int(sent) > 0


@pytest.mark.parametrize("pieces", [
    [b"OK\x04\x04>"], [b"OK\x04\x04", b">"], [b"OK\x04\x04>\r\nMicroPython v1.28\r\n>>> "],
])  # fmt: skip
def test_the_end_of_code_at_the_raw_prompt_is_seen_however_it_arrives(pieces: list[bytes]) -> None:
    """Missed, the next Ctrl-C would end the interpreter and all that it knew."""
    reads, writes = os.pipe()
    console = Console(SharedMemory())
    console.attach(SimpleNamespace(terminal=reads), raw=False)
    console.raw_prompt = console._raw_runs = True
    for piece in pieces:
        os.write(writes, piece)
        console.read_terminal()
    assert not console._raw_runs
    console.close()
    os.close(reads)
    os.close(writes)
