"""The campaign's figures, written into hardware/SAFETY.md between its markers."""

from __future__ import annotations

import json
import statistics
import textwrap
from collections import Counter, defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from bainwright.core.errors import FileError

from . import campaign
from .campaign import good, read_results
from .cases import parse
from .evenings import EVENINGS, EVERYDAY
from .mutants import mutants
from .search import hunt, report
from .strikes import BY_NAME, NUMBERS, STRIKES, Strike

PAGE = Path(__file__).parents[2] / "hardware" / "SAFETY.md"
BEFORE, AFTER = "<!-- campaign: written by tests/faults -->\n", "<!-- end of campaign -->"
NAMED = 40  # cases named at most

Row = dict[str, Any]


def page(results: Path, hunted: Path, searched: Iterable[Path]) -> str:
    """Everything between the markers; of a case that was played again, its last result.

    Raises
    ------
    FileError
        When there are no results, or one of the files is none.
    """
    try:
        found = [row for path in searched for row in hunt.load(path, None).values()]
    except ValueError as error:
        raise FileError(str(error)) from error
    everything = read_results(results)
    if not everything and not found:
        raise FileError(f"{results}: no results yet", hint="python -m tests.faults run")
    rows = list({row["case"]: row for row in everything}.values())
    blocks = [report.page(found)] if found else []
    if rows:
        blocks += ["### The whole board\n", _summary(rows), _unplayed(rows), _single_table(rows), _misses(rows)]
    else:
        blocks.append("The board's campaign was not played in full for these figures; the tests play a sample of it.")
    blocks.append(_mutants(hunted, campaign.firmware_hash()))
    return "\n\n".join(block for block in blocks if block)


def renew(text: str) -> None:
    """Put it into the page.

    Raises
    ------
    FileError
        When the page has no markers for it.
    """
    head, found, rest = PAGE.read_text(encoding="utf-8").partition(BEFORE)
    if not found or AFTER not in rest:
        raise FileError(f"{PAGE.name}: no markers of the campaign", wanted=f"{BEFORE.strip()} and {AFTER}")
    PAGE.write_text(head + BEFORE + text + "\n" + AFTER + rest.partition(AFTER)[2], encoding="utf-8")


def _summary(rows: list[Row]) -> str:
    played = Counter(row["firmware"] for row in rows)
    ordinary = [row for row in rows if parse(row["case"]).phase in EVENINGS]
    everyday = [row for row in rows if set(parse(row["case"]).acts) & set(EVERYDAY)]
    hours, soaked = (sum(row["seconds"] for row in some) / 3600 for some in (rows, ordinary))
    return report.table(("what", "figure"), [
        ("firmware played (hash of its files): cases",
         ", ".join(f"`{name}`: {count}" for name, count in played.items())),
        ("cases; simulated hours", f"{len(rows)}; {hours:.0f}"),
        ("cases with an invariant broken", f"{sum(bool(row['broken']) for row in rows)}"),
        ("cases with a fault reported late or never", f"{sum(bool(row['missed']) for row in rows)}"),
        ("everyday acts played / that tripped", f"{len(everyday)} / {sum(bool(row['trips']) for row in everyday)}"),
        ("hours of ordinary evenings and nights; false trips in them",
         f"{soaked:.0f}; {sum(row['trips'] for row in ordinary)}"),
    ])


def _unplayed(rows: list[Row]) -> str:
    """What was not played: said, so that no one takes a part for the whole."""
    alone = _alone(rows)
    absent = [f"`{strike.name}`" for strike in STRIKES if strike.name not in alone]
    return f"Not played alone in this run: {', '.join(absent)}." if absent else ""


def _mutants(hunted: Path, firmware: str) -> str:
    if not hunted.exists():
        return "Mutants: the whole set was not played for these figures; the tests play a sample."
    reported = [json.loads(line) for line in hunted.read_text(encoding="utf-8").splitlines()]
    fates = list({fate["mutant"]: fate for fate in reported}.values())
    lived = [fate["mutant"] for fate in fates if not fate["killed_by"]]
    other = {fate["firmware"] for fate in fates} - {firmware}
    killed = len(fates) - len(lived)
    by_case = sum("/" in fate["killed_by"] for fate in fates)
    words = (f"Mutants of supervisor and self-test: {len(mutants())} exist, {len(fates)} were played, {killed} were "
             f"killed: {killed - by_case} by the firmware's own checks, {by_case} by a case of search or board.")
    if lived:
        words += " These lived: " + "; ".join(f"`{name}`" for name in lived) + "."
    words += f" (Played on firmware {', '.join(sorted(other))}.)" if other else ""
    return textwrap.fill(words, 118, break_long_words=False, break_on_hyphens=False)


def _alone(rows: list[Row]) -> dict[str, list[Row]]:
    by_name: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        acts = parse(row["case"]).acts
        if len(acts) == 1 and acts[0] in BY_NAME and "told_s" in row:
            by_name[acts[0]].append(row)
    return by_name


def _single_table(rows: list[Row]) -> str:
    alone = _alone(rows)
    return report.table(
        ("fault", "reported as", "cases", "due", "reported, median / last, s", "late or never",
         "water over its limit, at most, K", "warmest water, °C"),
        [_single(BY_NAME[name], some) for name, some in sorted(alone.items(), key=lambda item: _order(item[0]))])


def _order(name: str) -> int:
    return [strike.name for strike in STRIKES].index(name)


def _single(strike: Strike, rows: list[Row]) -> tuple[str, ...]:
    due = [row for row in rows if parse(row["case"]).phase in strike.phases]
    reported = [row["told_s"] for row in due if row["told_s"] is not None]
    missed = sum(bool(row["missed"]) for row in due)
    names = ", ".join(name.lower() for name in strike.tells if name in NUMBERS) or "-"
    times = f"{statistics.median(reported):.1f} / {max(reported):.0f}" if reported else "-"
    over = max(row["over_k"] for row in rows)
    return (f"`{strike.name}`", names, str(len(rows)), str(len(due)), times, str(missed), f"{max(0.0, over):.1f}",
            f"{max(row['warmest_c'] for row in rows):.1f}")


def _misses(rows: list[Row]) -> str:
    bad = [row for row in rows if not good(row)]
    if not bad:
        return "No case broke an invariant or missed its time."
    lines = [f"- `{row['case']}`: {(row['broken'] or [row['missed']])[0]}" for row in bad[:NAMED]]
    more = [f"- and {len(bad) - NAMED} more"] if len(bad) > NAMED else []
    return "### Misses, by name\n\n" + "\n".join(lines + more)
