"""The state of a running hold for the views: the last status line, the evening so far, the last events."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, MutableSequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from bainwright.core.units import milli_c
from bainwright.files.score import Window
from bainwright.link.messages import Status
from bainwright.words import terms

BELOW, IN, ABOVE, UNKNOWN = "below", "in", "above", "unknown"
TREND_S = 600.0  # the trend is the change over this time
LEAST_TREND_S = 120.0  # chosen: in less, a probe's noise looks like a trend
TREND_STEP_S = 15.0
CURVE_S, CURVE_STEP_S = 3600.0, 20.0  # chosen: the last hour, fine enough for a wide terminal
EVENING_STEP_S = 60.0  # chosen: 720 samples in a night of twelve hours, more than a phone has dots
GAP_STEPS = 3  # chosen: a curve breaks where so many samples are missing
MOST_EVENTS = 40
Sample = tuple[float, float | None, float | None]  # s, water °C, chocolate °C
UNSEEN_S = 60.0  # chosen: in more time without a report another test piece may have been laid down


class Seen(NamedTuple):
    """The temperatures of a moment, and where the chocolate was."""

    t_s: float
    water_c: float | None
    chocolate_c: float | None
    place: str


@dataclass
class Scene:
    """One hold while it runs.

    Parameters
    ----------
    chocolate, warmer : str
        The chocolate and the warmer, in words.
    window : Window
        The chocolate's window.
    virtual : bool
        Is the warmer a simulated one?
    for_s : float or None
        Planned duration; None runs until stopped.
    heater_w : float
        For showing the duty in watts.
    bath : str
        What the bowl sits in or on: "water" or "plate".
    joined : bool
        Did somebody else start the hold? Then only the warmer knows how long it takes.
    """

    chocolate: str
    warmer: str
    window: Window
    virtual: bool
    for_s: float | None
    heater_w: float
    bath: str = "water"
    joined: bool = False
    status: Status | None = None
    t_s: float = 0.0
    events: deque[tuple[float, str]] = field(default_factory=lambda: deque(maxlen=MOST_EVENTS))
    # For who sits at the terminal alone, such as a phone's code: it goes to no page and no feed.
    for_terminal: deque[tuple[float, str]] = field(default_factory=lambda: deque(maxlen=MOST_EVENTS))
    minutes: list[str] = field(default_factory=list)  # where the chocolate was, a word for each minute of the hold
    advice: list[str] = field(default_factory=list)  # after a trip: what to do, in reading order
    question: str = ""  # what the PC asks
    prompt: str = ""  # what the board asks, with the figures of this moment
    indicators: str = ""  # of the temper
    concern: str = ""  # the chocolate will not reach its window
    falls: str = ""  # it falls over a bath that should warm it
    waits: str = ""  # the board lets no heat through
    caution: str = ""  # the temper may be lost: what a test would settle
    spoilt: str = ""  # why the bowl cannot be tempered any more
    bowl_away: bool = False
    refill_coming: bool = False
    calling: bool = False  # the warmer asks for somebody
    locked: bool = False  # the large buttons, for the night
    name: str = ""  # the warmer's, without words around it
    panel: bool = True  # are there buttons at the warmer?
    piece_s: float | None = None  # when the test piece was laid down; None: not at all, or before this PC looked
    # At the end, where somebody must look at the warmer: "left" by a person, who knows of it; "lost" without a report;
    # "unanswered" where the hold ended while its alarm called; "restarted" where the board did, and its heat is off;
    # "resumed" where it holds on after that; "other" where somebody started another hold; "not_off" where it did not
    # confirm its stop.
    unwatched: str = ""
    trouble: str = ""  # on the PC's side: the board is silent, the disk is full
    unheard_s: float = 0.0  # for how long the program that runs the hold has said nothing
    searching: bool = False  # the PC looks for a lost board, so nothing reaches the warmer
    curve: deque[Sample] = field(default_factory=deque)
    evening: list[Sample] = field(default_factory=list)  # the same, of the whole hold
    _laid_s: float | None = None
    _recent: deque[tuple[float, float]] = field(default_factory=deque)

    def see(self, t_s: float, status: Status) -> None:
        """Take in a status line."""
        asked = self.status.ask if self.status else ""
        if asked == terms.LAY_DOWN:
            self._laid_s = t_s
        elif self.status is None or (t_s - self.t_s > UNSEEN_S and asked not in terms.SETTING):
            self._laid_s = None
        # A step back from the verdict leads to the same piece: another one is asked for first.
        self.piece_s = self._laid_s if status.ask in terms.SETTING else None
        if self.status is not None and t_s <= self.t_s:  # the hold's clock stands: the board restarted, and asks
            self._recent.clear()  # how long it was off, and what the chocolate did then, is in no row
        self.t_s, self.status = t_s, status
        self._remember(Seen(t_s, milli_c(status.water), milli_c(status.bowl), self.where))

    def recall(self, course: Iterable[Seen], events: Iterable[tuple[float, str]]) -> None:
        """Take in what happened before this program watched the hold, in order of time."""
        for seen in course:
            self._remember(seen)
        self.events.extend(events)

    def _remember(self, seen: Seen) -> None:
        t_s, water_c, chocolate_c, place = seen
        minute = int(t_s // 60)
        while len(self.minutes) <= minute:
            self.minutes.append(UNKNOWN)
        self.minutes[minute] = _worse(self.minutes[minute], place)
        if chocolate_c is not None and (not self._recent or t_s - self._recent[-1][0] >= TREND_STEP_S):
            self._recent.append((t_s, chocolate_c))
            while self._recent[0][0] < t_s - TREND_S:
                self._recent.popleft()
        _sample(self.curve, (t_s, water_c, chocolate_c), CURVE_STEP_S)
        while self.curve[0][0] < t_s - CURVE_S:
            self.curve.popleft()
        _sample(self.evening, (t_s, water_c, chocolate_c), EVENING_STEP_S)

    @property
    def where(self) -> str:
        """Where the chocolate is: below, in or above its window; the bowl that is changed has no window any more."""
        if self.status is None or self.status.bowl is None or self.status.stage == "change":
            return UNKNOWN
        return place_of(self.status.bowl / 1000, self.window)

    @property
    def trend_c(self) -> float | None:
        """The chocolate's change over `trend_s`, °C; None until two minutes are known."""
        return self._recent[-1][1] - self._recent[0][1] if self.trend_s >= LEAST_TREND_S else None

    @property
    def trend_s(self) -> float:
        """Over what time the trend is known: ten minutes, or less at first."""
        return self._recent[-1][0] - self._recent[0][0] if self._recent else 0.0

    @property
    def recent_range_c(self) -> tuple[float, float] | None:
        """The chocolate's lowest and highest temperature of the last ten minutes."""
        if not self._recent:
            return None
        temps_c = [temp_c for _, temp_c in self._recent]
        return min(temps_c), max(temps_c)

    @property
    def progress(self) -> float | None:
        """Elapsed share of the planned time; None where none is planned."""
        return None if not self.for_s else min(1.0, self.t_s / self.for_s)

    def ribbon(self, cells: int) -> list[str | None]:
        """The hold in `cells` equal spans, each with its worst place; None for the time to come."""
        whole_min = max(1.0, (self.for_s or 0) / 60, len(self.minutes))
        edges = [round(cell * whole_min / cells) for cell in range(cells + 1)]
        found: list[str | None] = []
        for start, end in pairwise(edges):
            span = self.minutes[start : max(end, start + 1)]
            worst = None
            for place in span:
                worst = place if worst is None else _worse(worst, place)
            found.append(worst)
        return found


def _sample(curve: MutableSequence[Sample], sample: Sample, step_s: float) -> None:
    """Add a sample when it is due; one without temperatures goes before it where some are missing."""
    since_s = sample[0] - curve[-1][0] if curve else step_s
    if since_s > GAP_STEPS * step_s:
        curve.append((sample[0], None, None))
    if since_s >= step_s:
        curve.append(sample)


def place_of(temp_c: float, window: Window) -> str:
    """Below, in or above the window."""
    if temp_c < window.low_c:
        return BELOW
    return ABOVE if temp_c > window.high_c else IN


def _worse(one: str, other: str) -> str:
    """The worse of two places: above spoils the chocolate, below thickens it."""
    order = (UNKNOWN, IN, BELOW, ABOVE)
    return one if order.index(one) >= order.index(other) else other
