"""No host changes a duty: a hold that is asked something all the time heats as one that nobody talks to."""

from __future__ import annotations

import random
import types
from dataclasses import replace
from typing import Any

import pytest

from bainboard import requests_board, service, wire
from bainboard.chunks import CHUNK, base64_text, sha256_hex
from bainwright.virtual import python_modules as modules

from .cases import build, parse
from .fast import Player, Trace

HOLD_S = 900
EVERY_S = 0.23  # about as fast as a host gets its answers
SLICE_US = 100_000  # what one takes on a board; 42 to 137 ms on an emulated RP2040
GAINS = b"{" + b" " * 600 + b"}"  # says nothing new, and is as long as gains are


def requests(chance: random.Random) -> list[bytes]:
    """Requests that only ask, or bring what is there already, and some that are damaged."""
    lines, number = [], 0

    def say(do: str, **fields: Any) -> None:
        nonlocal number
        number += 1
        lines.append(wire.encode([("id", number), ("do", do), *fields.items()]))

    while len(lines) < HOLD_S / EVERY_S:
        kind = chance.randrange(7)
        if kind == 0:
            say("hello")
        elif kind == 1:
            for place in range(6):
                say("profiles", at=place)
        elif kind == 2:
            say("segments", after=0)
        elif kind == 3:
            say("begin", what="gains", size=len(GAINS), sha256=sha256_hex(GAINS))
            for at in range(0, len(GAINS), CHUNK):
                say("chunk", at=at, data=base64_text(GAINS[at : at + CHUNK]))
            say("hello")  # and no commit: new gains may change a duty
        elif kind == 4:
            say("start", stage="work", room=68000)
        elif kind == 5:
            lines.append(b'{"id":1,"do":"commit"}*00000000\n')
        else:
            lines.append(chance.randbytes(90) + b"\n")
    return lines


def play(name: str, asked: bool) -> Trace:
    """A hold of a quarter of an hour, asked all the time or left alone."""
    player = Player(replace(build(parse(name)).play, end_s=float(HOLD_S), ends_latched=False))
    desk = player.desk
    everything = desk._cross

    def cross() -> None:
        """Bytes from a host are no step of the plant's: another step is another rounding, and a reading that flips."""
        if desk.now_us >= min(desk.wiring.next_event_us, desk._watchdog_us):
            everything()
        while desk.timers and desk.timers[0][0] <= desk.now_us:
            desk.timers.pop(0)[1]()
        desk._look_ahead()

    desk._cross = cross  # type: ignore[method-assign]
    chance = random.Random(4)
    at_s = 60.0
    for line in requests(chance) if asked else ():
        at_s += chance.uniform(0.0, 2.0 * EVERY_S)
        desk.at(round(at_s * 1e6), lambda line=line: desk.heard.extend(line))
    return player.run()


@pytest.mark.slow
@pytest.mark.parametrize("name", ["17 pot/quiet/none", "17 mat/quiet/none"])
def test_a_hold_that_is_asked_all_the_time_heats_as_one_that_is_left_alone(
    name: str, monkeypatch: pytest.MonkeyPatch,
) -> None:
    serve = service.Service._serve

    def slowly(self: Any, line: bytes, now_ms: int) -> None:
        modules.desk.charge(SLICE_US)
        serve(self, line, now_ms)

    monkeypatch.setattr(service.Service, "_serve", slowly)
    monkeypatch.setattr(requests_board, "sys", types.SimpleNamespace(implementation=("micropython", (1, 28, 0))))
    quiet, asked = play(name, False), play(name, True)
    assert len([doc for doc in asked.events if "re" in doc]) > 500  # requests
    assert not asked.crashes
    differ = [(a, b) for a, b in zip(quiet.rows, asked.rows, strict=True)
              if (a.duty, a.guard) != (b.duty, b.guard) or abs(a.t_ms - b.t_ms) > 1]
    assert differ == []
