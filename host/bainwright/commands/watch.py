"""`bain watch`: a hold that another bain on this PC runs, seen from here too."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from bainwright.commands import console, options
from bainwright.commands.alert import calls_of

if TYPE_CHECKING:
    from bainwright.alarms.calls import Calls
    from bainwright.alarms.rules import Coming
    from bainwright.live.joining import Joined

LOOK = ("Look at the warmer: it may still hold, for it needs no PC. Then look at the PC: bain hold --join watches the "
        "warmer again.")  # fmt: skip


@click.command(short_help="Watch a hold that another bain on this PC runs.")
@click.option("--warmer", metavar="NAME", help="Which warmer, where several hold.")
@click.option("--json", "as_json", is_flag=True, help="Print each report as one line of JSON, for a program.")
@click.option("--csv", "as_csv", is_flag=True, help="Print each report as a row of the log, for a program.")
@click.option("--big", is_flag=True, help="Digits to read across the kitchen.")
@options.alert
@click.option("--quiet", is_flag=True, help="No bell when the warmer asks for somebody.")
def watch(
    warmer: str | None, as_json: bool, as_csv: bool, big: bool, alert: tuple[str, ...], quiet: bool
) -> int:
    """Watch a hold that another bain on this PC runs, and act with the same keys.

    The hold and its log do not depend on who watches. Ctrl-C stops watching; the hold continues. With --alert it calls
    when the warmer needs somebody, and also when the bain that runs the hold ends or hangs. If that bain or the board
    is silent for 5 s, it says so, and says when it is back (with --json and --csv on stderr).

    Exit status 1 if the warmer may still hold and nobody watches it: its hold was left, its board was lost, or the bain
    that ran it has ended. Also if nobody answered the alarm with which it ended.
    """
    from bainwright.alarms.rules import Coming
    from bainwright.core.errors import DONE, NOT_AS_IT_SHOULD, UseError
    from bainwright.live import joining, watching

    if as_json and as_csv:
        raise UseError("--json and --csv both say how to print", hint="leave one of them out")
    if alert and (as_json or as_csv):
        raise UseError("--alert calls beside the screen, not beside --json or --csv",
                       hint="run bain watch --alert in another terminal")
    joined = joining.join(warmer)
    if as_json or as_csv:
        try:
            ended = watching.stream(joined, sys.stdout, console.remark, as_csv=as_csv)
        except BrokenPipeError:
            console.nobody_reads(sys.stdout)
            return DONE
        console.remark(ended)
        return NOT_AS_IT_SHOULD if ended in watching.NOT_WELL else DONE
    coming = Coming()
    with joined, calls_of(alert, (), coming) as calls:
        return follow(joined, big, quiet, calls, coming)


def follow(
    joined: Joined, big: bool, quiet: bool, calls: Calls | None = None, coming: Coming | None = None
) -> int:
    """Show a joined hold at this terminal until it is over, or the person leaves."""
    from bainwright.alarms.rules import Alarm
    from bainwright.core.errors import DONE, NOT_AS_IT_SHOULD
    from bainwright.display.view import choose_view
    from bainwright.live.watching import ALONE, KEY_LEAVE, KEYS, NOT_WELL, Watching

    console.remark(f"watching {joined.hello.chocolate} on the warmer {joined.hello.warmer!r}; the bain that runs the "
                   "hold records it")
    view = choose_view(sys.stderr, full=sys.stdout.isatty(), big=big, keys=KEYS, keys_alone=KEY_LEAVE, quiet=quiet)
    ended = Watching(joined, calls.view(view) if calls else view, coming).run()
    console.remark(ended)
    if ended in ALONE and calls:
        alarm = Alarm("program", True, "The PC's program for the warmer has ended", LOOK,
                      chocolate=joined.hello.chocolate, warmer=joined.hello.warmer)
        for each in calls.call(alarm):
            console.remark(each.words)
    return NOT_AS_IT_SHOULD if ended in NOT_WELL else DONE
