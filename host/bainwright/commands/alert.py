"""`bain alert`: the ways to a person, and whether they work; shared by the commands that call one."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from typing import TYPE_CHECKING

import click

from bainwright.commands import console
from bainwright.commands.usage import Commands

if TYPE_CHECKING:
    from bainwright.alarms.calls import Calls
    from bainwright.alarms.rules import Coming


@click.group(cls=Commands, short_help="Try the ways to call a person.")
def alert() -> None:
    """Ways to call a person, as bain hold --alert uses them."""


@alert.command(short_help="Send a test each way.")
@click.argument("ways", metavar="COMMAND|URL ...", nargs=-1, required=True)
def test(ways: tuple[str, ...]) -> int:
    """Send a test each way, and say whether it arrived. Exit status 1 if one did not.

    A way is a command ({} becomes the words), http://ADDRESS on your own network, or an address of a service that
    apprise knows, such as mailto://... (pip install 'bainwright[alerts]').
    """
    from bainwright.alarms.calls import Calls
    from bainwright.alarms.rules import Coming
    from bainwright.core.errors import DONE, NOT_AS_IT_SHOULD

    outcomes = Calls(ways, Coming()).tried()
    for each in outcomes:
        console.say(each.words)
    return DONE if all(each.arrived for each in outcomes) else NOT_AS_IT_SHOULD


def calls_of(alerts: tuple[str, ...], alive: tuple[str, ...], coming: Coming) -> AbstractContextManager[Calls | None]:
    """The ways to a person and of signs of life, tried once before the night: later is no time to find one dead.

    Raises
    ------
    UseError
        If a way cannot work, or one is dead and the person does not want to go on without it.
    """
    if not (alerts or alive):
        return nullcontext()
    from bainwright.alarms.calls import Calls
    from bainwright.core.errors import UseError

    calls = Calls(alerts, coming, alive)
    outcomes = calls.tried()
    for each in outcomes:
        console.remark(each.words)
    dead = sum(not each.arrived for each in outcomes)
    if dead and console.is_asked():
        question = f"{dead} of {len(outcomes)} ways (--alert, --alive) do not work. Start all the same? (y/n)"
        answer = console.ask_line(question, "n")
        if answer.strip().lower() not in ("y", "yes"):
            raise UseError("not started: a way to call you does not work", hint="bain alert test tries it again")
    return calls
