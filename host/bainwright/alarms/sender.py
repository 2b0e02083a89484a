"""Sends alarms from a thread of its own: a slow channel delays neither the hold nor the other channels' next call."""

from __future__ import annotations

import queue
import threading
from collections.abc import Sequence
from types import TracebackType
from typing import NamedTuple

from bainwright.alarms.channels import Channel
from bainwright.alarms.delivery_log import record
from bainwright.alarms.rules import Alarm

MOST_WAITING = 4  # of a channel: an alarm that waits behind four others is repeated by its own rule
ENDS_S = 2.0  # at the hold's end, for the alarm that is on its way
TEST = Alarm("test", False, "bainwright: this is a test", "Alarms of tonight's hold come this way.")


class Sender:
    """Sends to every channel, from `with` to its end.

    Parameters
    ----------
    channels : sequence of Channel
        The ways to a person.
    """

    def __init__(self, channels: Sequence[Channel]) -> None:
        self._lanes = [(each, queue.Queue[Alarm | None](MOST_WAITING)) for each in channels]
        self._results: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._threads = [threading.Thread(target=self._work, args=lane, daemon=True) for lane in self._lanes]

    def __enter__(self) -> Sender:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        for _channel, waiting in self._lanes:
            _put(waiting, None)
        for thread in self._threads:
            thread.join(ENDS_S)

    def send(self, alarm: Alarm) -> None:
        """Send an alarm; returns at once."""
        for channel, waiting in self._lanes:
            if not _put(waiting, alarm):
                self._results.put(f"alarm NOT sent by {channel.name}: it is still busy with earlier ones")

    def results(self) -> list[str]:
        """How deliveries went since the last look, a line each."""
        found = []
        while not self._results.empty():
            found.append(self._results.get())
        return found

    def _work(self, channel: Channel, waiting: queue.Queue[Alarm | None]) -> None:
        while (alarm := waiting.get()) is not None:
            self._results.put(outcome(channel, alarm).words)


class Outcome(NamedTuple):
    """How a delivery went: did it arrive, and a sentence."""

    arrived: bool
    words: str


def outcome(channel: Channel, alarm: Alarm) -> Outcome:
    """Deliver an alarm, record it, and say how that went."""
    try:
        why = channel.deliver(alarm)
    except Exception as failed:
        why = repr(failed)
    words = f"alarm NOT delivered by {channel.name}: {why}" if why else (
        f"alarm delivered by {channel.name}: {alarm.title}")  # fmt: skip
    try:
        record(alarm, channel.name, why)
    except OSError as failed:
        words += f" (and not recorded: {failed.strerror or failed})"
    return Outcome(not why, words)


def _put(waiting: queue.Queue[Alarm | None], alarm: Alarm | None) -> bool:
    try:
        waiting.put_nowait(alarm)
    except queue.Full:
        return False
    return True
