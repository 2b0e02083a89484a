"""Sends alarms from a thread of its own: a slow channel delays neither the hold nor the other channels' next call."""

from __future__ import annotations

import math
import queue
import threading
import time
from collections.abc import Sequence
from datetime import datetime
from types import TracebackType
from typing import NamedTuple

from bainwright.alarms.channels import DELIVERS_S, Channel
from bainwright.alarms.delivery_log import record
from bainwright.alarms.rules import SIGN, Alarm

MOST_WAITING = 4  # of a channel: an alarm that waits behind four others is repeated by its own rule
ENDS_S = 2.0  # at the hold's end, until the last waiting alarm must be on its way
ENDED = "the hold had ended before its turn came"
TEST = Alarm("test", False, "bainwright: this is a test", "Alarms of tonight's hold come this way.")


class Sender:
    """Sends to every channel, from `with` to its end.

    Parameters
    ----------
    channels : sequence of Channel
        The ways to a person.
    """

    def __init__(self, channels: Sequence[Channel]) -> None:
        self._lanes = [(each, queue.SimpleQueue[Alarm | None]()) for each in channels]
        self._until_s = math.inf
        self._results: queue.SimpleQueue[Outcome] = queue.SimpleQueue()
        self._threads = [threading.Thread(target=self._work, args=lane, daemon=True) for lane in self._lanes]

    def __enter__(self) -> Sender:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        """What is on its way ends first, by itself or at its limit: what a command started does not outlive us."""
        self._until_s = time.monotonic() + ENDS_S
        for _channel, waiting in self._lanes:
            waiting.put(None)
        for thread in self._threads:
            thread.join(ENDS_S + DELIVERS_S + ENDS_S)

    @property
    def has_ways(self) -> bool:
        """Is there a way to a person?"""
        return bool(self._lanes)

    def send(self, alarm: Alarm) -> None:
        """Send an alarm; returns at once. It may wait behind others, so it says when it was called."""
        alarm = _dated(alarm)
        for channel, waiting in self._lanes:
            if waiting.qsize() < MOST_WAITING:
                waiting.put(alarm)
            else:
                self._results.put(not_sent(channel, alarm, "it is still busy with earlier ones"))

    def results(self) -> list[Outcome]:
        """How deliveries went since the last look."""
        found = []
        while not self._results.empty():
            found.append(self._results.get())
        return found

    def _work(self, channel: Channel, waiting: queue.SimpleQueue[Alarm | None]) -> None:
        while (alarm := waiting.get()) is not None:
            late = time.monotonic() > self._until_s
            self._results.put(not_sent(channel, alarm, ENDED) if late else outcome(channel, alarm))


class Outcome(NamedTuple):
    """How a delivery of an alarm went: did it arrive, and a sentence."""

    alarm: Alarm
    arrived: bool
    words: str


def outcome(channel: Channel, alarm: Alarm) -> Outcome:
    """Deliver an alarm, record it, and say how that went."""
    alarm = _dated(alarm)
    try:
        why = channel.deliver(alarm)
    except Exception as failed:
        why = repr(failed)
    words = f"{_kind(alarm)} NOT delivered by {channel.name}: {why}" if why else (
        f"{_kind(alarm)} delivered by {channel.name}: {alarm.title}")  # fmt: skip
    return Outcome(alarm, not why, words + _recorded(channel, alarm, why))


def not_sent(channel: Channel, alarm: Alarm, why: str) -> Outcome:
    """Record an alarm that was not even tried, and say so."""
    return Outcome(alarm, False, f"{_kind(alarm)} NOT sent by {channel.name}: {why}" + _recorded(channel, alarm, why))


def _dated(alarm: Alarm) -> Alarm:
    """The same, with the present time unless it has one."""
    return alarm if alarm.at else alarm._replace(at=datetime.now().astimezone().isoformat(timespec="seconds"))


def _kind(alarm: Alarm) -> str:
    return "sign of life" if alarm.cause == SIGN.cause else "alarm"


def _recorded(channel: Channel, alarm: Alarm, why: str) -> str:
    """Record how it went; says so where that fails."""
    try:
        record(alarm, channel.name, why)
    except OSError as failed:
        return f" (and not recorded: {failed.strerror or failed})"
    return ""
