"""Malformed, damaged and out-of-place messages to a virtual board, at rest and in a hold."""

from __future__ import annotations

import json
import random
import time
from dataclasses import dataclass, field
from typing import Any

import serial

from bainboard import commands, wire
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document, flash_of
from bainwright.files.rig import load_rig
from bainwright.link.messages import Status, decode
from bainwright.link.session import linked
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes

from .lies import NUMBERS, TEXTS, sealed

BATCH = 16  # lines at once; the board's queue of answers holds 24
ANSWER_S = 5.0
HOLD_S = 1800
MINUTE = 60
# What a person or a program may ask of a running hold without changing its heat, and what it must refuse.
HARMLESS = ("hello", "send", "chunk", "commit", "begin", "profiles", "segments", "read", "clock", "silence", "lock",
            "bus", "use", "start", "cold", "forget")  # fmt: skip
AT_REST = (*HARMLESS, "stop", "pause", "resume", "bowl", "announce", "confirm", "thicker", "thinner", "test", "finish",
           "change")  # fmt: skip
REFUSED_STAGES = ("", "x", 5, None)  # `start` never starts one


@dataclass
class Result:
    """How a board took it.

    Attributes
    ----------
    sent, answered : int
        Lines, and answers to them.
    resets : list
        Restarts of the board.
    duties : dict of int to int
        Duty in 1/10000 by the hold's time, s.
    late_ms : int
        The latest of its ticks.
    states : set of str
        Every state it was in.
    """

    sent: int = 0
    answered: int = 0
    resets: list[Any] = field(default_factory=list)
    duties: dict[int, int] = field(default_factory=dict)
    late_ms: int = 0
    states: set[str] = field(default_factory=set)


def message(rng: random.Random, number: int, requests: tuple[str, ...]) -> bytes:
    """A line for the board: a request with fields that may be anything, or no request at all."""
    kind = rng.random()
    if kind < 0.08:
        return bytes(byte for byte in rng.randbytes(rng.randrange(300)) if byte != 3) + b"\n"
    do = rng.choice(requests)
    row = next(row for row in commands.COMMANDS if row[0] == do)
    fields: dict[str, Any] = {"id": 1 + number % (2**30 - 2), "do": do}
    for wanted in row[1]:
        if rng.random() < 0.85:
            fields[wanted[0]] = _value(rng, wanted)
    if do == "start":
        fields["stage"] = rng.choice(REFUSED_STAGES)
    if kind < 0.25:
        fields[rng.choice([*fields, "x"])] = rng.choice([*TEXTS, *NUMBERS, None, True])
    if do == "start" and fields.get("stage") not in REFUSED_STAGES:
        fields["stage"] = ""
    body = json.dumps(fields, separators=(",", ":")).encode()
    line = sealed(body)
    if kind < 0.35:
        at = rng.randrange(len(line) - 1)
        flipped = line[at] ^ 1 << rng.randrange(8)
        line = line[:at] + bytes([flipped if flipped != 3 else 2]) + line[at + 1 :]
    return line


def _value(rng: random.Random, wanted: tuple[Any, ...]) -> Any:
    """A value of a field, mostly one that is right."""
    kind, low, high = wanted[1], wanted[2], wanted[3]
    if rng.random() < 0.15:
        return rng.choice([*TEXTS, *NUMBERS, None, True])
    if isinstance(low, tuple):
        return rng.choice(low)
    if isinstance(low, int) and isinstance(high, int):
        if kind in (commands.WHOLE, commands.TEMP):
            return rng.choice((low, high, rng.randint(low, high)))
        return "".join(rng.choice("0123456789abcdef") for _ in range(rng.randint(low, min(high, 120))))
    return rng.choice(TEXTS)


def fuzz(port: serial.Serial, result: Result, rng: random.Random, count: int, requests: tuple[str, ...]) -> None:
    """Send so many lines in batches, each once the one before is answered."""
    assembler = wire.Assembler()
    while result.sent < count:
        lines = [message(rng, result.sent + at + 10, requests) for at in range(min(BATCH, count - result.sent))]
        port.write(b"\n".join(line.rstrip(b"\n") for line in lines) + b"\n")
        result.sent += len(lines)
        owed, until_s = len(lines), time.monotonic() + ANSWER_S
        while owed > 0 and time.monotonic() < until_s:
            owed -= listen(port, assembler, result)


def listen(port: serial.Serial, assembler: wire.Assembler, result: Result) -> int:
    """Read what is there; how many answers were among it."""
    answers = 0
    for line in assembler.feed(port.read(max(1, port.in_waiting))):
        said = decode(bytes(line).rstrip(b"\r"))
        if isinstance(said, Status):
            result.states.add(said.state)
            if said.t:
                result.duties[said.t // 1000] = said.duty
                result.late_ms = max(result.late_ms, said.t % 1000)
        elif said is not None and "re" in said:
            answers += 1
    result.answered += answers
    return answers


def at_rest(count: int, seed: int) -> Result:
    """Lines to a board that holds nothing."""
    rig, result = name_probes(load_rig("pot")), Result()
    with (
        VirtualBoard(rig, seed=seed, speed=50.0, flash_files=flash_of(rig)) as board,
        serial.Serial(board.path, timeout=0.2) as port,
    ):
        board.arm()
        board.run_clock()
        fuzz(port, result, random.Random(seed), count, AT_REST)
        result.resets = board.report()["resets"]
    return result


def in_hold(count: int, seed: int, *, fitted: bool = False) -> Result:
    """Lines to a board that holds; with `fitted`, a display and a panel share its heap."""
    rig = name_probes(load_rig("pot"))
    if fitted:
        rig = rig.with_settings({"panel": True, "display": True})
    result = Result()
    with VirtualBoard(rig, seed=seed, flash_files=flash_of(rig)) as board:
        with linked(board.path) as link:
            link.hello()
            link.upload("profile", document("profile", load_profile("dark").document()))
            board.arm()
            link.request("start", drop_earlier=True, stage="work", for_ms=0, room=20000)
        with serial.Serial(board.path, timeout=0.2) as port:
            board.set_speed(60.0)
            board.run_clock()
            if count:
                fuzz(port, result, random.Random(seed), count, HARMLESS)
            assembler, until_s = wire.Assembler(), time.monotonic() + HOLD_S / 60.0 + 60.0
            while max(result.duties, default=0) < HOLD_S and time.monotonic() < until_s:
                listen(port, assembler, result)
            board.hold_clock()
            result.resets = board.report()["resets"]
    return result


@dataclass(frozen=True)
class Apart:
    """How far the duty of two holds differs: seconds that both have, those that differ, and 1/10000 of full heat."""

    seconds: int
    differ: int
    second: int  # the most of one second: of one reading on the probe's next step
    minute: float  # the most of a minute's mean, which is what the bath feels


def apart(quiet: Result, fuzzed: Result) -> Apart:
    """Compare a hold with the same hold without messages."""
    both = sorted(set(quiet.duties) & set(fuzzed.duties))
    more = [fuzzed.duties[at] - quiet.duties[at] for at in both]
    minutes = [sum(more[at:at + MINUTE]) / MINUTE for at in range(len(more) - MINUTE + 1)]
    return Apart(len(both), sum(1 for each in more if each), max(map(abs, more), default=0),
                 max(map(abs, minutes), default=0.0))  # fmt: skip
