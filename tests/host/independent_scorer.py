"""A second scorer of holds, written from the definitions alone: plain loops over rows, nothing shared with the product.

Definitions (the project's own): a row counts until the next one, for 5 s at most; the hold's figures are sums and
extremes over all of its rows; the scored span begins with the first stay of a minute in the window; the error is
against the target of each row's moment; exposure is the integral of the degrees over the window's top, in minutes.
A bowl that reached the ceiling has lost its seed; else one that fell under 25 °C has set; else one that was over its
window, or 2 °C under it (29 °C for dark: Greweling 2007), is to be tested.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

LONGEST_ROW_S = 5.0
STAY_S = 60.0
FIRM_C = 25.0  # a bowl that was colder has set; chosen, as the project's definition


@dataclass
class Row:
    """One moment: temperatures and target in °C, None where unknown."""

    t_s: float
    water_c: float | None
    bowl_c: float | None
    target_c: float


def seconds(rows: list[Row], end_s: float) -> list[float]:
    """How long each row counts."""
    ends = [row.t_s for row in rows[1:]] + [max(end_s, rows[-1].t_s)]
    return [min(LONGEST_ROW_S, end - row.t_s) for row, end in zip(rows, ends, strict=True)]


def place(row: Row, low_c: float, high_c: float) -> str:
    """Where a row's chocolate is."""
    if row.bowl_c is None:
        return "?"
    if row.bowl_c < low_c:
        return "below"
    return "above" if row.bowl_c > high_c else "in"


def rescore(rows: list[Row], end_s: float, low_c: float, high_c: float) -> dict[str, float | None]:
    """Every figure of a hold of one step."""
    spans, places = seconds(rows, end_s), [place(row, low_c, high_c) for row in rows]
    spent = {"below": 0.0, "in": 0.0, "above": 0.0, "?": 0.0}
    longest = stay = 0.0
    stay_from: int | None = None
    entered: int | None = None
    exposure = 0.0
    previous = ""
    run = 0.0
    for n, (row, span, where) in enumerate(zip(rows, spans, places, strict=True)):
        spent[where] += span
        run = run + span if where == previous else span
        previous = where
        if where in ("below", "above"):
            longest = max(longest, run)
        if where == "above" and row.bowl_c is not None:
            exposure += (row.bowl_c - high_c) * span / 60
        if where == "in":
            stay, stay_from = (stay + span, stay_from) if stay_from is not None else (span, n)
            if entered is None and stay >= STAY_S:
                entered = stay_from
        else:
            stay, stay_from = 0.0, None
    known = [n for n, where in enumerate(places) if where != "?"]
    if known and all(places[n] == "in" for n in known):
        entered = known[0]
    bowls = [row.bowl_c for row in rows if row.bowl_c is not None]
    waters = [row.water_c for row in rows if row.water_c is not None]
    fraction: float | None = 0.0 if known else None
    error = entry_s = None
    if entered is not None:
        scored = [n for n in known if n >= entered]
        time_s = sum(spans[n] for n in scored)
        in_s = sum(spans[n] for n in scored if places[n] == "in")
        squares = [((rows[n].bowl_c or 0.0) - rows[n].target_c) ** 2 for n in scored]
        fraction = in_s / time_s if time_s else 1.0
        error = math.sqrt(sum(q * spans[n] for q, n in zip(squares, scored, strict=True)) / time_s
                          if time_s else squares[0])
        entry_s = rows[entered].t_s
    return {
        "duration_s": end_s,
        "warm_up_s": entry_s,
        "scored_from_s": entry_s,
        "scored_to_s": None if entry_s is None else end_s,
        "in_window_fraction": fraction,
        "bowl_rms_error_c": error,
        "bowl_peak_c": max(bowls, default=None),
        "bowl_low_c": min(bowls, default=None),
        "water_peak_c": max(waters, default=None),
        "exposure_k_min": exposure if bowls else None,
        "below_s": spent["below"],
        "inside_s": spent["in"],
        "above_s": spent["above"],
        "longest_outside_s": longest,
        "unknown_s": max(0.0, end_s - spent["below"] - spent["in"] - spent["above"]),
    }


# -- what the sentences claim, read back ------------------------------------------------------------------------------

TIME = r"(?:\d+ h(?: \d\d min)?|\d+ min|\d+ s)"


def resolution_s(words: str) -> float:
    """Half of the last digit of a time in words."""
    return 0.5 if words.endswith(" s") else 30.0


def to_s(words: str) -> float:
    """A time in words, in seconds."""
    found = re.fullmatch(r"(?:(\d+) h)? ?(?:(\d+) min)?(?:(\d+) s)?", words)
    assert found, words
    hours, minutes, secs = (int(part or 0) for part in found.groups())
    return 3600.0 * hours + 60.0 * minutes + secs


def check_time(words: str, wanted_s: float) -> None:
    """A time in a sentence agrees to the last digit shown."""
    assert abs(to_s(words) - wanted_s) <= resolution_s(words) + 1e-6, (words, wanted_s)


def check_number(words: str, wanted: float) -> None:
    """A number in a sentence agrees to the last digit shown."""
    digits = len(words.partition(".")[2])
    assert abs(float(words) - wanted) <= 0.5 * 10**-digits + 1e-9, (words, wanted)


def check_sentences(text: str, want: dict[str, float | None], low_c: float, high_c: float, ceiling_c: float,
                    bath: str = "water") -> int:
    """Check each figure that a paragraph claims against `want`; returns how many there were.

    A sentence that the paragraph should have and lacks fails too.
    """
    checked = 0

    def claim(pattern: str, due: bool) -> re.Match[str] | None:
        nonlocal checked
        found = re.search(pattern, text)
        assert bool(found) == due, f"{'missing' if due else 'unexpected'}: {pattern} in {text}"
        checked += len(found.groups()) if found else 0
        return found

    held = claim(rf"^Held \w+ for ({TIME})[:.]", True)
    assert held
    check_time(held[1], want["duration_s"] or 0.0)
    entered = want["warm_up_s"] is not None
    share = claim(r"in its window (\d+) % of the time", entered)
    if share:
        fraction = want["in_window_fraction"]
        assert fraction is not None
        assert (share[1] == "100") == (fraction == 1.0)
        assert abs(float(share[1]) - 100 * fraction) <= 1.0
    error = claim(r"typically (\d+\.\d\d) °C from its target", entered)
    if error:
        check_number(error[1], want["bowl_rms_error_c"] or 0.0)
    warm_up = claim(rf"of the time after (?:the first )?({TIME})", entered and (want["warm_up_s"] or 0.0) >= 2)
    if warm_up:
        check_time(warm_up[1], want["warm_up_s"] or 0.0)
    for what, key, limit_c in ((bath, "water_peak_c", ceiling_c), ("chocolate", "bowl_peak_c", high_c)):
        peak_c = want[key]
        peak = claim(rf"warmest the {what} got was (-?\d+\.\d) °C, (?:right at|(\d+\.\d) °C (over|under)) ",
                     peak_c is not None)
        if peak and peak_c is not None:
            check_number(peak[1], peak_c)
            assert (peak[2] is None) == (abs(peak_c - limit_c) < 0.05)
            if peak[2]:
                check_number(peak[2], abs(peak_c - limit_c))
                assert (peak[3] == "over") == (peak_c > limit_c)
    cold = claim(r"the coldest was (-?\d+\.\d) °C", want["bowl_low_c"] is not None)
    if cold:
        check_number(cold[1], want["bowl_low_c"] or 0.0)
    for side, key in (("below", "below_s"), ("above", "above_s")):
        spent = claim(rf"(?:spent|and) ({TIME}) {side}", (want[key] or 0.0) >= 1)
        if spent:
            check_time(spent[1], want[key] or 0.0)
    outside_s = (want["below_s"] or 0.0) + (want["above_s"] or 0.0)
    spoken = max(want["below_s"] or 0.0, want["above_s"] or 0.0) >= 1
    stretch = claim(rf"at most ({TIME}) at a stretch", spoken and (want["longest_outside_s"] or 0.0) < outside_s)
    if stretch:
        check_time(stretch[1], want["longest_outside_s"] or 0.0)
    over = claim(r"adds up to (\d+\.\d) degree-minutes", spoken and (want["exposure_k_min"] or 0.0) >= 0.05)
    if over:
        check_number(over[1], want["exposure_k_min"] or 0.0)
    peak_c = want["bowl_peak_c"]
    lost = peak_c is not None and peak_c >= ceiling_c
    coldest_c = want["bowl_low_c"]
    sets = not lost and coldest_c is not None and coldest_c < FIRM_C
    outside = (peak_c is not None and high_c + 0.1 <= peak_c) or (coldest_c is not None and coldest_c < low_c - 2.0)
    claim("Assume the seed is lost", lost)
    claim("It was so cold that it has set", sets)
    claim("Test the temper before", outside and not lost and not sets)
    unknown = claim(rf"For ({TIME}) the chocolate's temperature is not known", (want["unknown_s"] or 0.0) >= 60)
    if unknown:
        check_time(unknown[1], want["unknown_s"] or 0.0)
    return checked
