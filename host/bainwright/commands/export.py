"""`bain export` and `bain gather`: the options."""

from __future__ import annotations

import click

from bainwright.commands import options
from bainwright.commands.console import remark, show_result


@click.command(short_help="Write holds to one file: .zip for another PC, .csv or .parquet.")
@click.argument("file", metavar="FILE")
@click.argument("holds", metavar="[HOLD]...", nargs=-1)
@options.json
def export(file: str, holds: tuple[str, ...], as_json: bool) -> int:
    """Write holds to one file.

    FILE.zip has the whole records; `bain gather` reads it on another PC. FILE.csv and FILE.parquet have a row a
    second for a spreadsheet or a program: the hold, the time (UTC), temperatures in °C, the duty from 0 to 1.

    HOLD is a name from `bain holds`, `last`, `yesterday` or a folder.  [default: last]
    """
    import os
    from datetime import datetime
    from pathlib import Path

    from bainwright.archive.export import check_target, write_table
    from bainwright.archive.finding import find
    from bainwright.archive.listing import list_holds
    from bainwright.archive.parcel import pack
    from bainwright.core.progress import progress

    target = Path(file)
    check_target(target)
    listed, today = list_holds(), datetime.now().astimezone().date()
    found = [find(named, listed, today) for named in holds or ("last",)]
    folders = list({os.path.realpath(folder): folder for folder in found}.values())  # one named twice is one
    left: list[Path] = []
    with progress("exporting"):
        if target.suffix.lower() == ".zip":
            left = pack(folders, target)
            what = f"{len(folders)} hold" + ("s" if len(folders) != 1 else "")
        else:
            what = f"{write_table(folders, target)} rows"
    result = {"file": str(target), "holds": [str(folder) for folder in folders]}
    for path in left:
        remark(f"left out {path}: it is a link, and a link may lead anywhere; put the file in its place")
    show_result(result, [f"wrote {target}: {what}"], as_json)
    return 1 if left else 0


@click.command(short_help="Bring in holds from another PC.")
@click.argument("sources", metavar="FILE|FOLDER...", nargs=-1, required=True)
@options.json
def gather(sources: tuple[str, ...], as_json: bool) -> int:
    """Bring in holds from another PC: files that `bain export` wrote, or folders of holds.

    A hold that is here already comes in only once, and nothing here is changed. A copy with more rows comes in beside
    it.
    """
    from pathlib import Path

    from bainwright.archive import parcel
    from bainwright.core.progress import progress

    added, known, refused = [], 0, 0
    for source in sources:
        with progress("bringing in holds"):
            found = parcel.gather(Path(source))
        added += found.added
        known, refused = known + len(found.known), refused + len(found.refused)
        for new, here in found.fuller:
            remark(f"{new.name} is {here.name} with rows that are not in it: look at both, and delete one")
        for why in found.refused:
            remark(f"left out {why}")
    lines = [f"added {path.name}" for path in added]
    lines += [f"{known} of them were here already"] if known else []
    result = {"added": [str(path) for path in added], "known": known, "refused": refused}
    show_result(result, lines or ["nothing new"], as_json)
    return 1 if refused else 0
