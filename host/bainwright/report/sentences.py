"""A hold in plain sentences, from its figures. Pure functions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bainboard import stages
from bainboard.control.cascade import MOST_OVER_K
from bainwright.core.units import duration_words
from bainwright.files.chocolate import SOFT_UNDER_K, overheated
from bainwright.files.score import ENTRY_S, Figures, Score, Window
from bainwright.physics.chocolate_heat import FORM_VI_C, SETS_BELOW_C
from bainwright.report.steps import Step
from bainwright.words import terms

SPOILT, MOLTEN, LOST, SET, DOUBTFUL = "spoilt", "molten", "lost", "set", "doubtful"  # what is left of a temper
TEMPER_WORDS = {
    stages.FAILED: "The last temper test failed, so it was not in temper.",
    SPOILT: "It got warmer than it may ever be, so it is not fit to temper: use it for baking.",
    MOLTEN: f"Assume the seed is lost: over {FORM_VI_C:g} °C no crystal is left. Seed it again.",
    LOST: "Assume the seed is lost until a temper test passes.",
    SET: "It was so cold that it has set: melt it all and temper it again.",
    DOUBTFUL: "Test the temper before you dip again.",
    "": "",
}
BUT = {SPOILT: ", but it got too warm to be tempered", MOLTEN: ", but no seed is left",
       LOST: ", but the seed may be lost", SET: ", but it has set"}
OVER_C = 0.1  # chosen: a tenth of a degree over the window is a probe's error and asks for no test


def held_words(chocolate: str, s: Score, window: Window) -> str:
    """What was held, for how long, and how well."""
    text = f"Held {chocolate} for {duration_words(s.duration_s)}"
    if s.in_window_fraction is None:
        return text + ". No probe was in the chocolate, so it is not known whether it was in its window."
    if s.warm_up_s is None:
        return f"{text}. {_never_words(s, window)}"
    since = _since_words(s)
    return f"{text}: in its window {percent(s.in_window_fraction)} of the time {since}{_error_words(s)}."


def next_bowls_words(names: Sequence[str], for_s: float) -> str:
    """The chocolates after the first bowl, for which no figures are given; empty if there was none."""
    if not names:
        return ""
    return f" Then came {' and '.join(names)}, for {duration_words(for_s)}: only the first bowl is judged here."


def _never_words(s: Score, window: Window) -> str:
    low_c, peak_c = s.counted.bowl_low_c, s.counted.bowl_peak_c
    if s.counted.inside_s > 0 or low_c is None or peak_c is None:
        return "The chocolate never stayed in its window for a minute."
    short_c, side = (window.low_c - peak_c, "below") if peak_c < window.low_c else (low_c - window.high_c, "above")
    if short_c < 0.05:  # it touched it, or passed through between two samples
        return "The chocolate never stayed in its window for a minute."
    return f"The chocolate never reached its window: at best it was {short_c:.1f} °C {side} it."


def _since_words(s: Score) -> str:
    """From when on, and why not before."""
    assert s.warm_up_s is not None
    if s.warm_up_s < 2:
        return "from the first second"
    after = duration_words(s.warm_up_s)
    began_below, began_above = s.whole.below_s > 0, s.whole.above_s > 0
    if began_above and not began_below:
        return f"after {after}, which it took to cool down to it"
    return f"after {after} of warm-up" if began_below and not began_above else f"after the first {after}"


def percent(fraction: float) -> str:
    """A share in words; 100 % only when nothing is missing."""
    whole = round(100 * fraction)
    return f"{min(whole, 99) if fraction < 1 else 100} %"


def _error_words(s: Score) -> str:
    return "" if s.bowl_rms_error_c is None else f", typically {s.bowl_rms_error_c:.2f} °C from its target"


def peak_words(f: Figures, window: Window, bath: str = "water") -> str:
    """How warm it got, against the ceiling and the window, and how cold; `bath` is "water" or "plate"."""
    words = []
    if f.water_peak_c is not None:
        words.append(
            f"The warmest the {bath} got was {f.water_peak_c:.1f} °C, "
            f"{_against(f.water_peak_c, window.ceiling_c, 'the ceiling')}."
        )
    if f.bowl_peak_c is not None and f.bowl_low_c is not None:
        words.append(
            f"The warmest the chocolate got was {f.bowl_peak_c:.1f} °C, "
            f"{_against(f.bowl_peak_c, window.high_c, 'the top of its window')}; the coldest was {f.bowl_low_c:.1f} °C."
        )
    return " ".join(words)


def learnt_words(f: Figures, window: Window) -> str:
    """Why the water of a learnt warmer was over its ceiling; empty where it was not, or was by more than it may be."""
    if f.water_peak_c is None or not 0.05 <= f.water_peak_c - window.ceiling_c <= MOST_OVER_K + OVER_C:
        return ""
    return (" A learnt warmer lets its water over the ceiling while a cold bowl warms up, because the bowl's wall "
            "stays cooler.")


def _against(temp_c: float, limit_c: float, what: str) -> str:
    gap_c = temp_c - limit_c
    if abs(gap_c) < 0.05:
        return f"right at {what}"
    return f"{abs(gap_c):.1f} °C {'over' if gap_c > 0 else 'under'} {what}"


def outside_words(f: Figures) -> str:
    """Time outside the window: how much, the longest at a stretch, and by how much in all."""
    words = [
        f"{duration_words(spent_s)} {where}"
        for spent_s, where in ((f.below_s, "below"), (f.above_s, "above"))
        if spent_s >= 1
    ]
    if not words:
        return ""
    longest = duration_words(f.longest_outside_s)
    stretch = f", at most {longest} at a stretch" if f.longest_outside_s < f.below_s + f.above_s else ""
    over_k_min = f.exposure_k_min or 0.0
    exposure = f" Above it, that adds up to {over_k_min:.1f} degree-minutes." if over_k_min >= 0.05 else ""
    return f"It spent {' and '.join(words)} its window{stretch}.{exposure}"


def temper_left(f: Figures, window: Window, peak_c: float | None = None, never_above_c: float | None = None) -> str:
    """What became of the temper: `SPOILT`, `MOLTEN`, `LOST`, `SET`, `DOUBTFUL`, or empty where nothing touched it.

    No model gives the seed that is left after time above the window, so only a test can.

    Parameters
    ----------
    f : Figures
        Over the time in temper since the last test that passed.
    window : Window
        The chocolate's window.
    peak_c, never_above_c : float, optional
        The warmest it was in the whole hold, and the most it may ever reach.
    """
    if peak_c is not None and never_above_c is not None and overheated(peak_c, never_above_c):
        return SPOILT
    if not window.tempered or f.bowl_peak_c is None or f.bowl_low_c is None:
        return ""
    if f.bowl_peak_c >= window.ceiling_c:
        return MOLTEN if f.bowl_peak_c > FORM_VI_C else LOST
    if f.bowl_low_c < SETS_BELOW_C:
        return SET
    soft = f.bowl_low_c < window.low_c - SOFT_UNDER_K
    return DOUBTFUL if soft or f.bowl_peak_c >= window.high_c + OVER_C else ""


def advice_words(temper: str, never_above_c: float | None = None) -> str:
    """What to do with the chocolate, by what became of its temper."""
    if temper == SPOILT and never_above_c is not None:
        return TEMPER_WORDS[SPOILT].replace("warmer than it may ever be", f"over its limit of {never_above_c:g} °C")
    return TEMPER_WORDS[temper]


def end_words(s: Score, of: str = "") -> str:
    """How it was at the end, and what is not known."""
    words = []
    if s.left_for_good:
        words.append(f"At the end{of} it had been outside its window for ten minutes or more.")
    if s.unknown_s >= 60:
        words.append(f"For {duration_words(s.unknown_s)} the chocolate's temperature is not known.")
    return " ".join(words)


def trip_words(trips: list[dict[str, Any]]) -> str:
    """The trips, one clause each."""
    if not trips:
        return "No trips."
    each = "; ".join(f"{trip['said']} ({duration_words(trip['t_s'])} in)" for trip in trips)
    return f"{len(trips)} trip{'s' if len(trips) > 1 else ''}: {each}."


def with_temper(first: str, temper: str, window: Window) -> str:
    """The first sentence, which is a picture's title, with what undoes it: a bowl that has set was no good evening."""
    return f"{first.removesuffix('.')}{BUT[temper]}." if window.tempered and temper in BUT else first


def paragraph(
    chocolate: str, s: Score, window: Window, trips: list[dict[str, Any]], temper: str | None = None,
    never_above_c: float | None = None, bath: str = "water",
) -> str:
    """A hold of one step in a few plain sentences.

    Parameters
    ----------
    chocolate : str
        Its name.
    s : Score
        Of the hold.
    window : Window
        The chocolate's window.
    trips : list of dict
        As the course of the hold has them.
    temper : str, optional
        What became of it, as `temper_left` has it. Default: by the figures of the whole hold.
    never_above_c : float, optional
        The most it may ever reach.
    bath : str
        What the bowl sits in or on: "water" or "plate".
    """
    temper = temper_left(s.whole, window) if temper is None else temper
    # Melted stock has its own sentence of the morning after.
    advice = advice_words(temper, never_above_c) if window.tempered else ""
    held = with_temper(held_words(chocolate, s, window), temper, window)
    parts = [held, peak_words(s.whole, window, bath), outside_words(s.whole), advice, end_words(s),
             trip_words(trips)]
    return " ".join(part for part in parts if part)


def evening_paragraph(
    chocolate: str, s: Score, steps: list[Step], window: Window, temper: str, trips: list[dict[str, Any]],
    never_above_c: float | None = None, bath: str = "water", held_back_s: float = 0.0,
) -> str:
    """An evening of several steps: each step, then how the dipping went.

    Parameters
    ----------
    chocolate : str
        Its name.
    s : Score
        Of the hold; `s.counted` covers the dipping.
    steps : list of Step
        In order of time.
    window : Window
        Of the dipping.
    temper : str
        What became of it, as `temper_left` has it.
    trips : list of dict
        As the course of the hold has them.
    never_above_c : float, optional
        The most it may ever reach.
    bath : str
        What the bowl sits in or on: "water" or "plate".
    held_back_s : float
        For how long the board gave its bath little heat though it was far under its target.
    """
    held = f"Held {chocolate} for {duration_words(s.duration_s)}"
    course = f"The steps: {_steps_words(steps, window, bath)}."
    if all(step.name == "rest" for step in steps):
        parts = [f"{held}: it was left to set."]
    elif not _has_work(steps, window):
        parts = [f"{held}. The evening ended before the dipping began.", course]
    elif s.in_window_fraction is None:
        parts = [f"{held}. No probe was in the chocolate, so it is not known whether it was in its window.", course]
    else:
        doing = "While dipping" if window.tempered else "As melted stock"
        peaks = peak_words(s.counted, window, bath)
        span = f"{doing}, {peaks[:1].lower()}{peaks[1:]} {outside_words(s.counted)}".rstrip()
        parts = [with_temper(f"{held}; {_while_words(s, steps, window)}", temper, window), course, span]
    advice = (advice_words(temper, never_above_c) if window.tempered else "") or _set_on_the_way(steps, window)
    if held_back_s > 0.0:
        parts.append(f"For {duration_words(held_back_s)} the warmer held its heat back, because the {bath} warmed up "
                     "less than its watts promise.")
    works_last = not steps or steps[-1].name == ("work" if window.tempered else "melted")
    of = "" if works_last else " of the dipping" if window.tempered else " of that"
    parts += [advice, end_words(s, of), trip_words(trips)]
    return " ".join(part for part in parts if part)


def melted_again(steps: list[Step]) -> bool:
    """Whether the chocolate was kept melted after its temper, and no crystal of that is left."""
    last = next((step for step in reversed(steps) if step.name in (*stages.TEMPERED, "melted")), None)
    return last is not None and last.name == "melted" and (last.bowl_peak_c or 0.0) > FORM_VI_C


def _set_on_the_way(steps: list[Step], window: Window) -> str:
    """A melt that went cold before it came to a temper, on the warmer or on the table; empty where it did not."""
    if not steps or steps[-1].name not in ("melt", *stages.BATH_ONLY):
        return ""
    end_c, peaks_c = steps[-1].bowl_end_c, [step.bowl_peak_c for step in steps if step.bowl_peak_c is not None]
    if end_c is None or end_c >= SETS_BELOW_C or max(peaks_c) < window.low_c:
        return ""
    return f"At the end it was at {end_c:.1f} °C and has set: melt it all again."


def _has_work(steps: list[Step], window: Window) -> bool:
    return any(step.name == ("work" if window.tempered else "melted") for step in steps)


def _while_words(s: Score, steps: list[Step], window: Window) -> str:
    doing = "while dipping" if window.tempered else "as melted stock"
    if s.in_window_fraction is None or s.warm_up_s is None:
        return f"{doing}, it never stayed in its window for a minute."
    began_s = next(step.start_s for step in steps if step.name == ("work" if window.tempered else "melted"))
    came_s = s.warm_up_s - began_s  # what the share does not count
    after = f" after the first {duration_words(came_s)} of it" if came_s >= ENTRY_S else ""
    return f"{doing}, it was in its window {percent(s.in_window_fraction)} of the time{after}{_error_words(s)}."


def _steps_words(steps: list[Step], window: Window, bath: str) -> str:
    """Each kind of step with its time in all, and how warm and how cold it got, in the order of its first time."""
    words = []
    for name in dict.fromkeys(step.name for step in steps):
        runs = [step for step in steps if step.name == name]
        lasted_s = sum(step.end_s - step.start_s for step in runs)
        known = [] if name in (*stages.TEMPERED, *stages.COLD) else _peaks_words(runs, bath)
        known += _lows_words(name, runs, window, known)
        words.append(f"{terms.stage(name)} {duration_words(lasted_s)}" + (f" ({', '.join(known)})" if known else ""))
    return "; ".join(words)


def _peaks_words(runs: list[Step], bath: str) -> list[str]:
    """How warm; steps with a temper are as warm as the dipping, of which more is said."""
    peaks = [(bath, [run.water_peak_c for run in runs]), ("chocolate", [run.bowl_peak_c for run in runs])]
    return [f"{what} up to {max(c for c in found if c is not None):.1f} °C"
            for what, found in peaks if any(c is not None for c in found)]


def _lows_words(name: str, runs: list[Step], window: Window, said: list[str]) -> list[str]:
    """How cold chocolate with crystals got, where that made it what it is: cooling on purpose, or far too cold."""
    lows = [run.bowl_low_c for run in runs if run.bowl_low_c is not None]
    if not lows or name not in (stages.SEED, stages.COOL, "settle", "test"):
        return []
    if name != stages.COOL and not min(lows) < window.low_c - SOFT_UNDER_K:
        return []
    return [f"{'' if said else 'chocolate '}down to {min(lows):.1f} °C"]
