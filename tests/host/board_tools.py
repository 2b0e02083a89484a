"""A virtual board with a small main.py of the test's own, and a port to talk to it."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import serial
from still_world import still

from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard

PATIENCE_S = 30.0  # real time after which something hangs; nothing is judged by speed

LOOP = """
import sys, time, select, machine
poller = select.poll()
poller.register(sys.stdin, select.POLLIN)
def line():
    got = b""
    while not got.endswith(b"\\n"):
        poller.poll(-1)
        got += sys.stdin.buffer.read(1)
    return got[:-1].decode()
"""


def micropython() -> str:
    """The MicroPython that belongs to this Python, else the one on the path; a test is skipped where there is none."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        pytest.skip("this PC has no MicroPython")
    return found


@contextmanager
def running(main: str, *, frozen: bool = False, **options: Any) -> Iterator[tuple[VirtualBoard, serial.Serial]]:
    """A board with this main.py, its clock running from whole second zero unless `frozen`."""
    options.setdefault("make_world", still())
    options.setdefault("rig", load_rig("pot"))
    files = {"/main.py": (LOOP + main).encode(), **options.pop("flash_files", {})}
    with VirtualBoard(flash_files=files, **options) as board, serial.Serial(board.path, timeout=PATIENCE_S) as port:
        if not frozen:
            board.arm()
            board.run_clock()
        yield board, port


def lines(port: serial.Serial, count: int) -> list[str]:
    """The next lines."""
    return [line(port) for _ in range(count)]


def line(port: serial.Serial) -> str:
    """The next line."""
    got = port.readline()
    assert got.endswith(b"\n"), f"waited for a line, got {got!r}"
    return str(got.decode().rstrip("\r\n"))


def said_until(port: serial.Serial, wanted: str) -> str:
    """Everything up to and with some text."""
    got = port.read_until(wanted.encode())
    assert got.endswith(wanted.encode()), f"waited for {wanted!r}, got {got[-2000:]!r}"
    return str(got.decode())


def until(condition: Any) -> None:
    """Wait in real time for something that will come."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline_s, "it did not come"
        time.sleep(0.005)
