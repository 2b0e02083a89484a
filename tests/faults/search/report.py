"""What a search found, in tables: the worst of each fault, the worst ten, times of detection, healthy play. Pure."""

from __future__ import annotations

import statistics
import textwrap
from collections import Counter, defaultdict
from collections.abc import Iterable
from typing import Any

from .genes import parse
from .wrongs import WRONGS

Row = dict[str, Any]
WORST = 10
AIM, AIM_H = 20_000, 2_000  # cases, and hours of healthy play


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A Markdown table."""
    head = list(head)
    return "\n".join("| " + " | ".join(line) + " |" for line in [head, ["---"] * len(head), *map(list, rows)])


def promised(row: Row) -> bool:
    """Is the bound promised for this case: one part failed, and a witness or learnt losses are there?"""
    line = parse(row["line"])
    return WRONGS[line.fault].single and not (line.witness == "neither" and line.gains == "safe")


def with_faults(rows: Iterable[Row]) -> list[Row]:
    """Rows of cases that were played, with something wrong."""
    return [row for row in rows if "worst_c" in row and parse(row["line"]).fault != "none"]


def page(rows: list[Row]) -> str:
    """All tables."""
    of_bounds = [row for row in rows if row["line"].startswith("set:")]
    rows = [row for row in rows if not row["line"].startswith("set:")]
    faulty = with_faults(rows)
    blocks = [summary(rows)]
    if faulty:
        blocks += ["### The worst of each fault\n", by_fault(faulty), "### The worst ten\n",
                   worst([row for row in faulty if promised(row)]),
                   "### The worst ten of what is not promised\n",
                   "Two parts failed, a stove, or neither witness nor learnt losses: only metal catches these.",
                   worst([row for row in faulty if not promised(row)]), over(faulty)]
    blocks += [healthy(rows), bounds(of_bounds), trouble(rows)]
    return "\n\n".join(block for block in blocks if block)


def summary(rows: list[Row]) -> str:
    """Counts."""
    faulty = with_faults(rows)
    mine = [row for row in faulty if promised(row)]
    over = [row for row in mine if row["score_k"] > 0.0]
    hours = sum(row["seconds"] for row in faulty) / 3600.0
    plants = sorted({parse(row["line"]).plant for row in faulty})
    lines = [
        ("firmware played: cases", ", ".join(f"`{name}`: {count}" for name, count in Counter(
            row["firmware"] for row in rows).items())),
        (f"searched cases with a fault, of {AIM:,} aimed at; hours", f"{len(faulty)}; {hours:.0f}"),
        ("of them found by climbing", str(sum("." in row["line"].partition(":")[0] for row in faulty))),
        ("plants", ", ".join(plants)),
        ("single faults with a witness or learnt losses: cases", str(len(mine))),
        ("of those over what is promised", str(len(over))),
    ]
    if mine:
        lines += [("warmest true water in them, °C", f"{max(row['worst_c'] for row in mine):.1f}"),
                  ("most over the stage's limit in them, K", f"{max(row['over_k'] for row in mine):.1f}")]
    return table(("what", "figure"), lines)


def by_fault(rows: list[Row]) -> str:
    """A line for each fault."""
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        groups[parse(row["line"]).fault].append(row)
    lines = []
    for name in WRONGS:
        some = groups.get(name, [])
        if not some:
            continue
        reported = [row["reported_s"] for row in some if row["reported_s"] is not None]
        mine = [row for row in some if promised(row)]
        other = [row for row in some if not promised(row)]
        latched = sum(row["latched_s"] is not None for row in some)
        lines.append((f"`{name}`", str(len(some)), _most(mine), _most(other),
                      f"{statistics.median(reported):.0f} / {max(reported):.0f}" if reported else "-",
                      str(len(some) - len(reported)), str(latched)))
    return table(("fault", "cases", "promised: over its limit, K / warmest °C", "not promised: the same",
                  "first word, median / last, s", "no word", "latched"), lines)


def _most(rows: list[Row]) -> str:
    if not rows:
        return "-"
    return f"{max(row['over_k'] for row in rows):.1f} / {max(row['worst_c'] for row in rows):.1f}"


def worst(rows: list[Row]) -> str:
    """The ten that score highest, one for each name, with the line that replays them."""
    best: dict[str, Row] = {}
    for row in rows:
        name = row["line"].partition(":")[2]
        if name not in best or row["score_k"] > best[name]["score_k"]:
            best[name] = row
    some = sorted(best.values(), key=lambda row: -row["score_k"])[:WORST]
    return table(("replay", "water °C", "over its limit K", "chocolate °C", "over what is promised K", "latched as"),
                 [(f"`{row['line']}`", f"{row['worst_c']:.1f}", f"{row['over_k']:.1f}", f"{row['chocolate_c']:.1f}",
                   f"{row['score_k']:.1f}", row["fault"]) for row in some])


def over(rows: list[Row]) -> str:
    """Names of promised cases that went over, with how many cases did."""
    names = Counter(row["line"].partition(":")[2] for row in rows if promised(row) and row["score_k"] > 0.0)
    if not names:
        return "No case for which the bound is promised went over it."
    named = ", ".join(f"`{name}` {count}" for name, count in sorted(names.items()))
    said = f"Over what is promised, by name and number; the cut-out on the vessel's wall must catch them: {named}."
    return textwrap.fill(said, 119, break_long_words=False, break_on_hyphens=False)


def healthy(rows: list[Row]) -> str:
    """Trips and warnings in healthy play."""
    some = [row for row in rows if "worst_c" in row and parse(row["line"]).fault == "none"]
    if not some:
        return ""
    hours = sum(row["seconds"] for row in some) / 3600.0
    lines = [(f"hours of healthy play, of {AIM_H:,} aimed at; evenings", f"{hours:.0f}; {len(some)}"),
             ("false trips", _counted(row["trips"] for row in some)),
             ("false warnings", _counted(row["warns"] for row in some)),
             ("said rightly: water poured too warm", _counted(row["rightly"] for row in some))]
    return "### Healthy play\n\n" + table(("what", "figure"), lines)


def bounds(rows: list[Row]) -> str:
    """Settings and profiles at their bounds."""
    if not rows:
        return ""
    taken = [row for row in rows if "worst_c" in row]
    raised = [row for row in rows if "raised" in row]
    over = sorted((row for row in taken if row["score_k"] > 0.0), key=lambda row: -row["score_k"])
    lines = [("bounds alone and in pairs", str(len(rows))),
             ("refused in words", str(sum("refused" in row for row in rows))),
             ("accepted, played with a stuck probe", str(len(taken))),
             ("of those over what is promised", str(len(over))),
             ("that made the firmware raise", str(len(raised)))]
    named = [f"- `{row['line']}`: {row.get('raised') or format(row['worst_c'], '.1f') + ' °C'}"
             for row in [*raised[:WORST], *over[:WORST]]]
    text = "### Settings and profile at their bounds\n\n" + table(("what", "figure"), lines)
    return text + ("\n\n" + "\n".join(named) if named else "")


def _counted(lists: Iterable[list[str]]) -> str:
    counts = Counter(name for names in lists for name in names)
    each = ", ".join(f"`{name}` {count}" for name, count in sorted(counts.items()))
    return f"{sum(counts.values())}" + (f" ({each})" if each else "")


def trouble(rows: list[Row]) -> str:
    """Cases that could not be played, by reason."""
    why = Counter(row.get("refused") or row.get("raised") for row in rows if "worst_c" not in row)
    if not why:
        return ""
    return "### Not played\n\n" + table(("why", "cases"), [(str(what), str(count)) for what, count in why.items()])
