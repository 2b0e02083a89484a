"""The alarms of one hold: its rules, its ways to a person, and the view that ties them to it."""

from __future__ import annotations

from collections.abc import Sequence
from types import TracebackType

from bainwright.alarms.alarm_view import AlarmView
from bainwright.alarms.alive_view import AliveView
from bainwright.alarms.channels import channel
from bainwright.alarms.rules import SIGN, Alarm, Coming, Rules
from bainwright.alarms.sender import TEST, Outcome, Sender, outcome
from bainwright.display.view import View

ALIVE = "--alive"


class Calls:
    """Calls a person during a hold, from `with` to its end.

    Parameters
    ----------
    alerts : sequence of str
        The ways, as typed after ``--alert``.
    coming : Coming
        Whether somebody is on their way.
    alive : sequence of str
        The ways that a sign of life takes, as typed after ``--alive``.

    Raises
    ------
    UseError
        If one of the ways cannot work.
    """

    def __init__(self, alerts: Sequence[str], coming: Coming, alive: Sequence[str] = ()) -> None:
        self._channels, self._alive = [channel(each) for each in alerts], [channel(each, ALIVE) for each in alive]
        self._rules, self._sender, self._signs = Rules(coming), Sender(self._channels), Sender(self._alive)

    def __enter__(self) -> Calls:
        self._sender.__enter__()
        self._signs.__enter__()
        return self

    def __exit__(self, *details: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._sender.__exit__(*details)
        self._signs.__exit__(*details)

    def tried(self) -> list[Outcome]:
        """Send a test each way to a person, and a first sign of life; returns how each went."""
        return [outcome(each, TEST) for each in self._channels] + [outcome(each, SIGN) for each in self._alive]

    def call(self, alarm: Alarm) -> list[Outcome]:
        """Call at once, each way, and wait for how it went."""
        return [outcome(each, alarm) for each in self._channels]

    def view(self, view: View) -> View:
        """A view that also calls, and sends signs of life."""
        return AliveView(AlarmView(view, self._rules, self._sender), self._signs)
