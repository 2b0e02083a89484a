"""The campaign's figures, written into hardware/SAFETY.md between its markers."""

from __future__ import annotations

import json
import statistics
from collections import Counter, defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from bainwright.core.errors import FileError

from .campaign import good, read_results
from .cases import build, parse
from .evenings import EVENINGS, EVERYDAY
from .mutants import mutants
from .strikes import BY_NAME, NUMBERS, STRIKES, Strike

PAGE = Path(__file__).parents[2] / "hardware" / "SAFETY.md"
BEFORE, AFTER = "<!-- campaign: written by tests/faults -->\n", "<!-- end of campaign -->"
NAMED = 40  # cases named at most

Row = dict[str, Any]


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A Markdown table."""
    head = list(head)
    return "\n".join("| " + " | ".join(line) + " |" for line in [head, ["---"] * len(head), *map(list, rows)])


def page(results: Path, hunted: Path) -> str:
    """Everything between the markers; of a case that was played again, its last result.

    Raises
    ------
    FileError
        When there are no results.
    """
    everything = read_results(results)
    if not everything:
        raise FileError(f"{results}: no results yet", hint="python -m tests.faults run")
    firmware = everything[-1]["firmware"]
    rows = list({row["case"]: row for row in everything}.values())
    blocks = [_summary(rows), _unplayed(rows), _mutants(hunted, firmware),
              "### Each fault alone\n", _single_table(rows),
              "### Faults that are not told, or not always\n", _untold(rows), _both(rows), _misses(rows)]
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
    trips = sum(row["trips"] for row in ordinary)
    broken, missed = sum(bool(row["broken"]) for row in rows), sum(bool(row["missed"]) for row in rows)
    rate = f"{1000 * trips / soaked:.2f}" if soaked else "none played"
    return table(("what", "figure"), [
        ("firmware played (hash of its files): cases",
         ", ".join(f"`{name}`: {count}" for name, count in played.items())),
        ("cases, of 20,000 aimed at", f"{len(rows)}"),
        ("simulated hours", f"{hours:.0f}"),
        ("cases with an invariant broken", f"{broken}"),
        ("cases with a fault not told in its time", f"{missed}"),
        ("everyday acts played / that tripped", f"{len(everyday)} / {sum(bool(row['trips']) for row in everyday)}"),
        ("hours of ordinary evenings and nights, of 10,000 aimed at", f"{soaked:.0f}"),
        ("false trips in them, per 1,000 h", f"{trips}, {rate}"),
        ("false warnings (`probe_out`, `bowl_out`, `heater_lost`, `strong_heater`) in everyday acts / in those hours",
         f"{_alarmed(everyday)} / {_alarmed(ordinary)}"),
        ("heat off in them since warmer water was poured than the stage allows",
         f"{sum(row.get('rightly', 0) for row in ordinary)}"),
        ("heat held back in them to look, s per h", f"{sum(row['looks_s'] for row in ordinary) / max(1, soaked):.1f}"),
    ])


DOUBTS = {"probe_out", "bowl_out", "heater_lost", "strong_heater"}  # warnings that a sound evening must not give


def _alarmed(rows: list[Row]) -> str:
    """How many were warned of with nothing wrong, and of what; a bowl's probe pulled to be washed is rightly told."""
    names: Counter[str] = Counter()
    count = 0
    for row in rows:
        doubts = DOUBTS & set(row["seen"])
        if doubts and any(mishap.name == "bowl_out" for mishap in build(parse(row["case"])).setting.mishaps):
            doubts -= {"bowl_out"}
        names.update(doubts)
        count += bool(doubts)
    what = ", ".join(f"`{name}` {number}" for name, number in sorted(names.items()))
    return f"{count}" + (f" ({what})" if what else "")


def _unplayed(rows: list[Row]) -> str:
    """What the aims still lack: said, so that no one takes a part for the whole."""
    hours = sum(row["seconds"] for row in rows if parse(row["case"]).phase in EVENINGS) / 3600
    short = [aim for aim, reached in (("20,000 cases", len(rows) >= 20_000), ("10,000 h of evenings", hours >= 10_000))
             if not reached]
    alone = _alone(rows)
    absent = [f"`{strike.name}`" for strike in STRIKES if strike.name not in alone]
    words = f"**Not reached: {' and '.join(short)}.** " if short else ""
    return words + (f"Not played alone in this run: {', '.join(absent)}." if absent else "")


def _mutants(hunted: Path, firmware: str) -> str:
    if not hunted.exists():
        return "Mutants: not hunted."
    told = [json.loads(line) for line in hunted.read_text(encoding="utf-8").splitlines()]
    fates = list({fate["mutant"]: fate for fate in told}.values())
    lived = [fate["mutant"] for fate in fates if not fate["killed_by"]]
    other = {fate["firmware"] for fate in fates} - {firmware}
    by_case = sum("/" in fate["killed_by"] for fate in fates)
    killed = len(fates) - len(lived)
    words = (f"Mutants of supervisor and self-test: {len(mutants())} there are, {len(fates)} were hunted, "
             f"{killed} of them killed, {by_case} by a case "
             f"of the campaign and {killed - by_case} by the firmware's own checks.")
    if lived:
        words += " These lived: " + "; ".join(f"`{name}`" for name in lived) + "."
    return words + (f" (Hunted on firmware {', '.join(sorted(other))}.)" if other else "")


def _alone(rows: list[Row]) -> dict[str, list[Row]]:
    by_name: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        acts = parse(row["case"]).acts
        if len(acts) == 1 and acts[0] in BY_NAME and "told_s" in row:
            by_name[acts[0]].append(row)
    return by_name


def _single_table(rows: list[Row]) -> str:
    alone = _alone(rows)
    return table(
        ("fault", "told as", "cases", "due", "told, median / last, s", "late or never",
         "water over its limit, at most, K", "warmest water, °C"),
        [_single(BY_NAME[name], some) for name, some in sorted(alone.items(), key=lambda item: _order(item[0]))])


def _order(name: str) -> int:
    return [strike.name for strike in STRIKES].index(name)


def _single(strike: Strike, rows: list[Row]) -> tuple[str, ...]:
    due = [row for row in rows if parse(row["case"]).phase in strike.phases]
    told = [row["told_s"] for row in due if row["told_s"] is not None]
    missed = sum(bool(row["missed"]) for row in due)
    names = ", ".join(name.lower() for name in strike.tells if name in NUMBERS) or "-"
    times = f"{statistics.median(told):.1f} / {max(told):.0f}" if told else "-"
    over = max(row["over_k"] for row in rows)
    return (f"`{strike.name}`", names, str(len(rows)), str(len(due)), times, str(missed), f"{max(0.0, over):.1f}",
            f"{max(row['warmest_c'] for row in rows):.1f}")


def _untold(rows: list[Row]) -> str:
    alone = _alone(rows)
    lines = []
    for strike in STRIKES:
        some = [row for row in alone.get(strike.name, []) if parse(row["case"]).phase not in ("idle", "pause")]
        if not strike.layer or not some:
            continue
        never = sum(row["told_s"] is None for row in some)
        over = max(row["over_k"] for row in some)
        lines.append((f"`{strike.name}`", f"{never} of {len(some)}", f"{max(0.0, over):.1f}", strike.layer,
                      strike.note or "-"))
    return table(("fault", "not told", "water over its limit by, K", "what must catch it", "remark"), lines)


def _both(rows: list[Row]) -> str:
    """The one against which software can do nothing."""
    some = _alone(rows).get("both_shorted", [])
    if not some:
        return ""
    lines = []
    for rig in ("mat", "pot", "plate"):
        mine = [row for row in some if parse(row["case"]).rig == rig]
        if mine:
            lines.append((rig, f"{max(row['warmest_c'] for row in mine):.0f}", str(len(mine))))
    return ("### Switch shorted and guard welded\n\n**Only the thermal fuse is left**, after the manual-reset cut-out. "
            "The firmware sees the heat, says \"unplug it\", and can cut neither. Watched for two hours without those "
            "two pieces of metal, the water gets this hot, and goes on:\n\n"
            + table(("warmer", "warmest water within two hours, °C", "cases"), lines))


def _misses(rows: list[Row]) -> str:
    bad = [row for row in rows if not good(row)]
    if not bad:
        return "No case broke an invariant or missed its time."
    lines = [f"- `{row['case']}`: {(row['broken'] or [row['missed']])[0]}" for row in bad[:NAMED]]
    more = [f"- and {len(bad) - NAMED} more"] if len(bad) > NAMED else []
    return "### Misses, by name\n\n" + "\n".join(lines + more)
