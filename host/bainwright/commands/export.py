"""`bain export` and `bain gather`: the options."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from bainwright.commands import options
from bainwright.commands.console import remark, show_result

if TYPE_CHECKING:
    from pathlib import Path


@click.command(short_help="Write holds to a .zip for another PC, a .csv or .parquet, or an archive.")
@click.argument("file", metavar="FILE|FOLDER/")
@click.argument("holds", metavar="[HOLD]...", nargs=-1)
@click.option("--warmer", metavar="NAME", help="The holds on this warmer, by its name or its board's id.")
@click.option("--kind", metavar="KIND", help="The holds of this chocolate.")
@click.option("--since", metavar="DATE|DAYS", help="The holds from this date on: 2026-11-01, or 7d.")
@options.json
def export(file: str, holds: tuple[str, ...], warmer: str | None, kind: str | None, since: str | None,
           as_json: bool) -> int:
    """Write holds to one file, or add them to an archive.

    FILE.zip has the whole records; `bain gather` reads it on another PC. FILE.csv and FILE.parquet have a row a
    second for a spreadsheet or a program: the hold, the time (UTC), temperatures in °C, the duty from 0 to 1.

    FOLDER/ is an archive that several PCs may share: Parquet files by warmer and month, a hold once however often it
    is added. `bain holds --per warmer --archive FOLDER` sums it.

    HOLD is a name from `bain holds`, `last`, `yesterday` or a folder.  [default: last]
    """
    import os
    from pathlib import Path

    from bainwright.archive import store
    from bainwright.archive.export import check_target, write_table
    from bainwright.archive.parcel import pack
    from bainwright.core.progress import progress

    target = Path(file)
    to_archive = target.is_dir() or file.endswith(("/", os.sep))
    if not to_archive:
        check_target(target)
    found = _chosen(holds, warmer, kind, since)
    folders = list({os.path.realpath(folder): folder for folder in found}.values())  # one named twice is one
    left: list[Path] = []
    holds_words = f"{len(folders)} hold" + ("s" if len(folders) != 1 else "")
    result: dict[str, Any] = {"file": str(target), "holds": [str(folder) for folder in folders]}
    with progress("exporting", len(folders) if to_archive else 0) as done:
        if to_archive:
            added = store.add(target, folders, done)
            what = f"{added} of {holds_words} added" + ("" if added == len(folders) else "; the rest was there already")
            result["added"] = added
        elif target.suffix.lower() == ".zip":
            left = pack(folders, target)
            what = holds_words
        else:
            what = f"{write_table(folders, target)} rows"
    for path in left:
        remark(f"left out {path}: it is a link, and a link may lead anywhere; put the file in its place")
    show_result(result, [f"wrote {target}: {what}"], as_json)
    return 1 if left else 0


def _chosen(holds: tuple[str, ...], warmer: str | None, kind: str | None, since: str | None) -> list[Path]:
    """The folders of the holds that were named, or of those that fit the options."""
    from datetime import datetime
    from pathlib import Path

    from bainwright.archive.finding import find, parse_since
    from bainwright.archive.listing import list_holds, select
    from bainwright.core.errors import FileError, UseError

    listed, now = list_holds(shown=True), datetime.now().astimezone()
    if warmer is None and kind is None and since is None:
        return [find(named, listed, now.date()) for named in holds or ("last",)]
    if holds:
        raise UseError("HOLD with --warmer, --kind or --since", wanted="holds by name, or the options; not both")
    begin = parse_since(since, now) if since else None
    found = [Path(each.folder) for each in select(listed, warmer=warmer, kind=kind, since=begin)]
    if not found:
        raise FileError("no hold matches", hint="bain holds lists all of them")
    return found


@click.command(short_help="Bring in holds from another PC.")
@click.argument("sources", metavar="FILE|FOLDER...", nargs=-1, required=True)
@options.json
def gather(sources: tuple[str, ...], as_json: bool) -> int:
    """Bring in holds from another PC: files that `bain export` wrote, or folders of holds.

    A hold that is here already comes in only once; what was entered for it elsewhere (bain stock, bain temper) is added
    to what is entered here. A copy with more rows comes in beside it.
    """
    from pathlib import Path

    from bainwright.archive import parcel
    from bainwright.core.progress import progress

    added: list[Path] = []
    entered: list[tuple[Path, list[str]]] = []
    known = refused = 0
    for source in sources:
        with progress("bringing in holds"):
            found = parcel.gather(Path(source))
        added, entered = added + found.added, entered + found.entered
        known, refused = known + len(found.known), refused + len(found.refused)
        for new, here in found.fuller:
            remark(f"{new.name} is {here.name} with rows that are not in it: look at both, and delete one")
        for why in found.refused:
            remark(f"left out {why}")
    lines = [f"added {path.name}" for path in added]
    lines += [f"{known} of them were here already"] if known else []
    lines += [f"{path.name}: {' and '.join(what)} that were entered elsewhere are added" for path, what in entered]
    result = {"added": [str(path) for path in added], "known": known, "refused": refused,
              "entered": [{"hold": str(path), "what": what} for path, what in entered]}
    show_result(result, lines or ["nothing new"], as_json)
    return 1 if refused else 0
