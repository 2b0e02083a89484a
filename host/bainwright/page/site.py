"""The pages as HTML, made from templates in which every value is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from bainwright.core.terminal import visible
from bainwright.core.units import clock_words, duration_words
from bainwright.display.scene import Sample
from bainwright.evening import acts
from bainwright.link.stopping import NOT_STOPPED
from bainwright.live.latest import Shown
from bainwright.live.now import Now
from bainwright.page.chart import chart

MOST_EVENTS = 12  # shown, newest first
AT_ONCE_S = 120.0  # chosen: a hold is watched from its start by then, also one that is played fast
FINAL_WORDS = {
    "finish": "Nobody dips any more? The heat goes off.",
    "stop": "The heat goes off, and the chocolate will cool.",
}
# In the order of need with wet hands: the answers are drawn above all others.
BELOW_ANSWERS = ("thickens", "bowl_off", "bowl_on", "refill", "no_refill", "pause", "resume", "test", "thins", "back")
RARE = ("lock", "unlock")


@lru_cache(maxsize=1)
def _templates() -> Environment:
    found = Environment(
        loader=PackageLoader("bainwright.page"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["clock"] = clock_words
    found.filters["duration"] = duration_words
    found.filters["visible"] = visible
    found.filters["sentence"] = lambda text: text[:1].upper() + text[1:]  # the rest may be a path: it stays
    found.filters["c2"] = lambda temp_c: "--.--" if temp_c is None else f"{temp_c:.2f}"
    found.filters["c1"] = lambda temp_c: "--.-" if temp_c is None else f"{temp_c:.1f}"
    return found


def page(name: str, **values: Any) -> str:
    """A whole page.

    Parameters
    ----------
    name : str
        Its template, without ``.html``.
    values : object
        What the template shows.
    """
    return _templates().get_template(f"{name}.html").render(values)


def readings(shown: Shown) -> Markup:
    """Figures, places and what to do: what changes with every report."""
    return _part("readings", shown)


def buttons(shown: Shown) -> Markup:
    """The acts that fit the moment."""
    now, offered = shown.now, _offered(shown.now)
    return Markup(_templates().get_template("_buttons.html").render(
        now=now, calls=shown.calls,
        answers=[act for act in offered.values() if act.answers] if now.ask else [],
        others=[offered[name] for name in BELOW_ANSWERS if name in offered],
        **finals(now),
    ))  # fmt: skip


def finals(now: Now) -> dict[str, Any]:
    """The acts that a slip must not reach: those that lock, and those that end the hold, each with its words."""
    offered = _offered(now)
    return {"rare": [offered[name] for name in RARE if name in offered],
            "finals": [(act, FINAL_WORDS[act.name]) for act in offered.values() if act.final]}  # fmt: skip


def _offered(now: Now) -> dict[str, acts.Act]:
    return {name: acts.BY_NAME[name] for name in now.acts}


def charts(now: Now) -> Markup:
    """The last hour and the whole evening, and what happened."""
    window = (now.low_c, now.high_c, now.ceiling_c)
    from_s = now.evening[0][0] if now.evening else 0.0
    so_far, whole = "So far", "The whole hold"
    if from_s > AT_ONCE_S:
        so_far = whole = f"From {clock_words(from_s)} on; what was before, this PC does not know"
    return Markup(_templates().get_template("_charts.html").render(
        hour=Markup(chart(now.hour, window, bath=now.bath, label=f"The last hour: chocolate and {now.bath}",
                          events=now.events)),
        evening=Markup(chart(now.evening, window, bath=now.bath, label=f"{whole}: chocolate and {now.bath}",
                             events=now.events)),
        so_far=so_far, whole=whole,
        longer=bool(now.hour and now.evening and now.hour[0][0] > now.evening[0][0]),
        events=list(reversed(now.events))[:MOST_EVENTS],
    ))  # fmt: skip


def _part(name: str, shown: Shown) -> Markup:
    now = shown.now
    span_c = now.ceiling_c + 2.0 - (now.low_c - 3.0)  # the scale of the bar: as the terminal's

    def share(temp_c: float) -> float:
        return round(100 * min(1.0, max(0.0, (temp_c - now.low_c + 3.0) / span_c)), 1)

    return Markup(_templates().get_template(f"_{name}.html").render(
        now=now, calls=shown.calls, age_s=shown.age_s, silent=shown.silent, share=share,
        stale=(shown.old and not now.over) or bool(now.unwatched), not_stopped=NOT_STOPPED,
        since_s=_whole_since_s(now.evening),
    ))  # fmt: skip


def _whole_since_s(evening: Sequence[Sample]) -> float:
    """From when on the PC heard the hold without a gap."""
    gaps = [after[0] for gap, after in pairwise(evening) if gap[0] == after[0]]
    return gaps[-1] if gaps else evening[0][0] if evening else 0.0
