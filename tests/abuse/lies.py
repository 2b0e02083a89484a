"""A board that lies: an honest board of the tests whose answers and messages are changed before they leave it."""

from __future__ import annotations

import binascii
import contextlib
import json
import os
import pty
import random
import select
import sys
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "host"))

from fake_board import event_line, status_line
from logging_board import LoggingBoard

from bainboard import settings, wire
from bainwright.files import rig
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document, short_hash
from bainwright.files.rig import load_rig

LIFE_S = 60.0  # a liar that was forgotten ends by itself
TEXTS = [
    "", "..", "../../../x", "/tmp/bain-abuse-escape", "a\0b", "\x1b]0;gone\x07\x1b[2J", "\x9b31m", "line\nend\r\n",
    "Crème\u202e", "x" * 150, "NaN", "-", "{}", "%s{0}", "[1]*?", "hold", "work", "ended", "trip",
]  # fmt: skip
NUMBERS = [0, 1, -1, 2**50, -(2**50), 2**40, 255, 256, 65536, 2**32, 0.5, 1e15]
KINDS = ("drop", "value", "value", "value", "extra", "raw", "garbage", "twice", "silent", "flip", "flood")
EXTRA = ["t_s", "event", "status", "re", "ok", "why", "t", "n", "first", "board", "fault", "name"]


class Board(LoggingBoard):
    """The honest part: a log with a night in it, settings, a chocolate, two probes."""

    def __init__(self, flash: Path) -> None:
        super().__init__(flash)
        self.start()
        self.hold(120)
        self.end()
        self.stored["settings"] = document("settings", dict(load_rig("pot").settings))
        self.stored["profile"] = document("profile", load_profile("dark").document())
        for name, payload in self.stored.items():
            self.hello[name] = short_hash(payload)
        assert settings.check(settings.SETTINGS, json.loads(self.stored["settings"]))[1] is None
        self._script = self._evening

    def _evening(self) -> Iterator[bytes]:
        for second in range(1, 16):
            yield status_line(second, 1000 * second)
        yield event_line("warm", 1, 5000)
        yield event_line("ended", 2, 15000, why="done")

    def _do_profiles(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        if message.get("at", 0):
            return [("count", 1)]
        return [("name", "dark"), ("profile", self.hello["profile"])]

    def _do_bus(self, message: dict[str, Any]) -> list[tuple[str, Any]]:
        if not message.get("at", 0):
            return [("kind", "pico"), ("count", 2)]
        return [("rom", f"28000000000000{message['at']:02x}"), ("temp", 21000), ("code", 0)]


def rig_file() -> str:
    """The pot's rig file with its probes named, so that it may go to a board."""
    text = rig.BUNDLED.joinpath("pot.toml").read_text()
    for at, place in enumerate(("water", "bowl"), 1):
        text = text.replace(f"[probe.{place}]", f'[probe.{place}]\nrom = "28000000000000{at:02x}"')
    return text


def sealed(body: bytes) -> bytes:
    """Any bytes as a line whose check value is right."""
    return body + b"*%08X\n" % binascii.crc32(body)


def lie(line: bytes, rng: random.Random) -> bytes:
    """A line of a board, changed."""
    message, _ = wire.decode(line)
    if message is None:
        return line
    kind = rng.choice(KINDS)
    if kind == "drop":
        message.pop(rng.choice(list(message)))
    elif kind == "value":
        name = rng.choice([name for name in message if name not in ("re", "ok")] or list(message))
        message[name] = rng.choice([*TEXTS, *NUMBERS, None, True, False])
    elif kind == "extra":
        message[rng.choice(EXTRA)] = rng.choice([*TEXTS, *NUMBERS, None, True])
    elif kind == "raw":
        return sealed(rng.choice((b"[1,2]", b'{"a":{"b":1}}', b'{"re":1e999}', b'{"status":' + b"9" * 200 + b"}",
                                  b"{}", b'{"event":5,"t":"x"}', b'{"a":' + b"[" * 150)))  # fmt: skip
    elif kind == "garbage":
        return rng.randbytes(rng.randrange(400)) + b"\n"
    elif kind == "twice":
        return line * rng.randrange(2, 5)
    elif kind == "silent":
        return b""
    elif kind == "flip":
        at = rng.randrange(len(line))
        return line[:at] + bytes([line[at] ^ 1 << rng.randrange(8)]) + line[at + 1 :]
    elif kind == "flood":
        return status_line(rng.randrange(2**40), rng.randrange(2**40)) * 200 + line
    body = json.dumps(message, separators=(",", ":")).encode()
    return sealed(body) if len(body) < 246 else line


# Rules a liar follows besides: what it always answers to a request.
ALWAYS: list[tuple[str, Callable[[dict[str, Any], int], list[tuple[str, Any]]]]] = [
    ("segments", lambda asked, count: _segment(asked.get("after", 0) + 1)),
    ("segments", lambda asked, count: _segment(1)),
    ("segments", lambda asked, count: _segment(asked.get("after", 0) + 1, 2**50)),
    ("send", lambda asked, count: [("size", 2**50), ("sha256", "0" * 64)]),
    ("send", lambda asked, count: [("size", 4096), ("sha256", "0" * 64)]),
    ("forget", lambda asked, count: [("going", 2**40)]),
    ("profiles", lambda asked, count: [("name", f"p{count}"), ("profile", "00000000")]),
    ("bus", lambda asked, count: [("kind", "pico"), ("count", 2**40)]),
    ("read", lambda asked, count: [("at", asked["at"]), ("data", "AA==")]),
    ("hello", lambda asked, count: [("wire", 1), ("state", "hold")]),
]  # fmt: skip


def _segment(first: int, size: int = 100) -> list[tuple[str, Any]]:
    return [("first", first), ("last", first), ("size", size), ("crc", "00000000")]


def serve(host: int, flash: Path, seed: int) -> None:
    """Answer on a pseudo-terminal until it closes."""
    rng = random.Random(seed)
    board, count, until_s = Board(flash), 0, time.monotonic() + LIFE_S
    share = rng.choice((0.0, 0.05, 0.2, 0.5, 1.0))
    name, always = rng.choice(ALWAYS) if rng.random() < 0.3 else ("", None)
    assembler = wire.Assembler()
    while time.monotonic() < until_s:
        if not select.select([host], [], [], 0.5)[0]:
            continue
        try:
            data = os.read(host, 4096)
        except OSError:
            continue  # nobody has it open yet, or any more
        for line in assembler.feed(data):
            asked, _ = wire.decode(line)
            if asked is None:
                continue
            count += 1
            try:
                board.write(line + b"\n")
            except (AssertionError, KeyError):
                board.say(wire.encode([("re", asked.get("id")), ("ok", False), ("why", "\x1b[31mno")]))
            if always is not None and asked.get("do") == name:
                board._said.clear()
                board.say(wire.encode([("re", asked["id"]), ("ok", True), *always(asked, count)]))
            while piece := board.read():
                spared = asked.get("do") in ("hello", "clock") and rng.random() < 0.7  # or few lies would get further
                with contextlib.suppress(OSError):
                    os.write(host, lie(piece, rng) if not spared and rng.random() < share else piece)


@contextmanager
def liar(flash: Path, seed: int) -> Iterator[str]:
    """A lying board in a process of its own; its port."""
    host, terminal = pty.openpty()
    tty.setraw(terminal)
    child = os.fork()
    if child == 0:
        try:
            os.setsid()
            serve(host, flash, seed)
        finally:
            os._exit(0)
    try:
        yield os.ttyname(terminal)
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, 9)
        os.waitpid(child, 0)
        os.close(host)
        os.close(terminal)


COMMANDS: list[tuple[list[str], float | None]] = [
    (["collect"], None),
    (["collect"], None),
    (["collect", "--keep", "--json"], None),
    (["hold", "dark", "--for", "15s"], 6.0),
    (["hold", "dark", "--for", "15s", "--rig", "r.toml"], 6.0),
    (["hold", "dark", "--join"], 6.0),
    (["rig", "get"], None),
    (["rig", "send", "r.toml"], None),
    (["rig", "check", "r.toml"], None),
    (["profile", "list"], None),
    (["profile", "get"], None),
    (["profile", "get", "dark"], None),
    (["profile", "send", "dark"], None),
    (["profile", "use", "dark"], None),
    (["drill", "--show"], None),
    (["calibrate", "--fever", "38.2"], 12.0),
]
