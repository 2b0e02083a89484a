"""`bain hold`: from the options to the exit status."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from bainwright.commands import console, options

if TYPE_CHECKING:
    from bainwright.evening.options import HoldSetup
    from bainwright.review.report import Report


@click.command(short_help="Hold a chocolate in its window.")
@click.argument("profile", metavar="PROFILE", required=False)
@options.virtual
@options.port
@options.rig
@options.vessel
@options.plant
@click.option(
    "--from", "from_stage", metavar="STAGE",
    help="The step to begin with: melt, seed, cool, settle, test, work, rest or melted.  [default: work, or melted]",
)
@click.option("--method", metavar="METHOD", help="How it is tempered: seed or cool (cool, warm back).  [default: seed]")
@click.option("--for", "for_", metavar="DURATION", help="How long, from the start: 3h40m, 90m, 45s.")
@click.option("--until", metavar="HH:MM", help="Hold until this time of day.")
@click.option("--of", metavar="KIND", help="For melted stock: the kind of chocolate it is.  [default: milk]")
@options.room()
@options.speed
@click.option("--scenario", metavar="FILE", help="What happens on the simulated evening, as TOML.")
@options.seed
@click.option("--gains", metavar="FILE", help="Control gains from bain tune.  [default: the warmer's own]")
@click.option("--out", metavar="DIR", help="The folder for log and picture.  [default: a new one]")
@click.option("--image", metavar="FILE", help="Store the simulated board's flash in this file.")
@click.option("--join", is_flag=True, help="Watch the hold that already runs on the board.")
@click.option("--undrilled", is_flag=True, help="Hold overnight although bain drill has not passed.")
@click.option("--big", is_flag=True, help="Digits to read across the kitchen.")
@click.option("--quiet", is_flag=True, help="No bell when the warmer asks for somebody.")
@options.json
def hold(big: bool, quiet: bool, as_json: bool, **asked: Any) -> int:
    """Hold a chocolate in its window.

    PROFILE is a chocolate by name (bain profile list) or a TOML file. The bowl may start at any temperature.
    The log, a picture and the facts of the hold go into a folder of their own.
    """
    from bainwright.evening.options import HoldRequest, ask_about_stock, resolve

    ask = console.ask if console.is_asked() and not as_json else None
    done = _run(resolve(ask_about_stock(HoldRequest(**asked), ask)), big, quiet)
    _show(done, as_json)
    return done.exit_code


def _run(setup: HoldSetup, big: bool, quiet: bool) -> Report:
    """Run the hold; returns its report."""
    from bainwright.core.keys import Interrupts
    from bainwright.display.view import choose_view
    from bainwright.evening.keyboard import KEYS, KEYS_VIRTUAL
    from bainwright.evening.runner import Runner
    from bainwright.review.report import report
    from bainwright.virtual.opening import open_board

    console.remark("starting the virtual board ..." if setup.simulated else "looking for the warmer ...")
    with open_board(setup.port, setup.simulated) as session:
        view = choose_view(
            sys.stderr, full=sys.stdout.isatty(), big=big, keys=KEYS_VIRTUAL if session.virtual else KEYS, quiet=quiet
        )
        runner = Runner(setup, session, view)
        runner.prepare()
        for note in runner.notes():
            console.remark(note)
        ended = runner.run()
        console.remark("closing the log and drawing the picture ...")
        with Interrupts():  # Ctrl-C or an ending session must not cost the hold its picture; three more still do
            return report(runner, ended, session.truth())


def _show(done: Report, as_json: bool) -> None:
    """Print the result on stdout and hints on stderr."""
    for note in done.notes:
        console.remark(note)
    virtual = "VIRTUAL: " if done.result["virtual"] else ""
    console.show_result(done.result, [virtual + done.summary, done.where()], as_json)
