"""`bain temper`: the options."""

from __future__ import annotations

from typing import Any

import click

from bainwright.commands import options
from bainwright.commands.console import say
from bainwright.commands.usage import Minutes, OneOf


@click.command(short_help="Show or complete the temper tests of a hold.")
@click.argument("hold", metavar="HOLD")
@click.option("--minutes", type=Minutes(), metavar="MIN",
              help="A test piece had set after so many minutes: 4.5 or 4:30.")
@click.option("--not-set", is_flag=True, help="It did not set.")
@click.option("--gloss", type=OneOf("good", "dull"), help="How it shone.")
@click.option("--streaks", type=OneOf("none", "some", "many"), help="How streaked it was.")
@click.option("--undo", is_flag=True, help="Take the last entry back.")
@options.room("Room temperature where it set, in °C or 68F.")
@options.json
def temper(hold: str, as_json: bool, **asked: Any) -> int:
    """Show or complete the temper tests of a hold.

    HOLD is a name from `bain holds`, `last`, `yesterday` or a folder. A test that the warmer timed is there already;
    how the piece looked is yours to say, and a time of your own adds a test; --undo takes the last entry back. The
    record lies beside the log as temper.json.
    """
    from bainwright.archive.finding import folder_named
    from bainwright.record.temper_entry import TemperOptions, run_temper

    return run_temper(folder_named(hold), TemperOptions(**asked), as_json=as_json, say=say)
