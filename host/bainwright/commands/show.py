"""`bain show`: the options."""

from __future__ import annotations

import click

from bainwright.commands import options
from bainwright.commands.console import remark, say, show_result


@click.command(short_help="Show a hold again: report, stages, events, picture.")
@click.argument("hold", metavar="[HOLD]", default="last")
@click.option("--open", "open_", is_flag=True, help="Open the picture.")
@options.json
def show(hold: str, open_: bool, as_json: bool) -> int:
    """Show a hold again: its report, stages, events with clock times, temper tests, what was left.

    HOLD is a name from `bain holds`, `last`, `yesterday` or a folder. A picture or sealed log that is
    missing is made.
    """
    from datetime import datetime

    from bainwright.archive.finding import find
    from bainwright.archive.listing import list_holds
    from bainwright.core.progress import progress
    from bainwright.review.show import look

    folder = find(hold, list_holds(shown=True), datetime.now().astimezone().date())
    with progress("reading the hold"):
        seen = look(folder)
    for note in seen.notes:
        remark(note)
    show_result(seen.result, seen.lines, as_json)
    if open_ and seen.picture:
        click.launch(str(seen.picture))
    elif open_:
        say("bain: there is no picture to open", err=True)
    return seen.exit_code
