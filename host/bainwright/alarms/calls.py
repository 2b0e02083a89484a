"""The alarms of one hold: its rules, its ways to a person, and the view that ties them to it."""

from __future__ import annotations

from collections.abc import Sequence
from types import TracebackType

from bainwright.alarms.alarm_view import AlarmView
from bainwright.alarms.channels import channel
from bainwright.alarms.rules import Coming, Rules
from bainwright.alarms.sender import TEST, Sender, outcome
from bainwright.display.view import View


class Calls:
    """Calls a person during a hold, from `with` to its end.

    Parameters
    ----------
    typed : sequence of str
        The ways, as typed after ``--alert``.
    coming : Coming
        Whether somebody is on their way.

    Raises
    ------
    UseError
        If one of the ways cannot work.
    """

    def __init__(self, typed: Sequence[str], coming: Coming) -> None:
        self._channels = [channel(each) for each in typed]
        self._rules, self._sender = Rules(coming), Sender(self._channels)

    def __enter__(self) -> Calls:
        self._sender.__enter__()
        return self

    def __exit__(self, *details: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._sender.__exit__(*details)

    def tried(self) -> list[str]:
        """Send a test each way; returns how that went, a line each."""
        return [outcome(each, TEST) for each in self._channels]

    def view(self, view: View) -> View:
        """A view that also calls."""
        return AlarmView(view, self._rules, self._sender)
