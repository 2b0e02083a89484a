"""Says so when the chocolate falls, or stays cold, over a bath that should warm it: the bowl is not in it, whatever was
answered.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise

from bainwright.link.messages import Status
from bainwright.words.plate import for_bath

# Chosen: so warm a bath, at first and at last, lets no bowl in it fall at the rate below. A steady hold has 1.5
# to 3 °C between them, and a bowl nears that by a degree in 10 min only from 2 °C and more away.
OVER_K, OVER_AT_LAST_K = 1.5, 3.0
MINUTES = 8
FALLS_K = 0.8  # chosen: in that time; a kilogram in air falls twice as fast, one in a draught or beside a lid slower
QUARTER_FALLS_K = 0.1  # chosen: in each quarter of it; what is stirred in cools a bowl at first only
POURED_K = 0.6  # chosen: in a minute a bowl falls by so much only when something cold is put in
RISES_K = 0.2  # chosen: a bowl that is back warms up by so much at once
FELL = ("the chocolate fell by {:.1f} °C in {} min, though the water was {:.0f} °C warmer: look whether the bowl is in "
        "its bath, or in a draught")
# Chosen: no bowl in its bath is so far under it for so long without warming up. Beckett's chocolate (0.27 W/m·K, 1300
# kg/m³, 1590 J/kg·K), a slab of 5 cm heated from one side, has 4 % of a step at its other side in 30 min
# (Fourier number 0.094, 2 erfc(1 / 2√0.094)).
FAR_K, FAR_MINUTES = 10.0, 30
WARMS_K = 0.3
COLD = ("the chocolate has not warmed up in {} min, though the water is {:.0f} °C warmer: look whether the bowl is in "
        "its bath, and the probe in the bowl")
WATCHED = ("settle", "test", "work", "rest", "melted", "tune")  # steps in which the bowl is in its bath


class Falling:
    """Follows one hold; `words` is what to say now, as long as it is so.

    Parameters
    ----------
    bath : str
        What the bowl sits in or on: "water" or "plate".
    """

    def __init__(self, bath: str = "water") -> None:
        self._bath = bath
        self._minutes: deque[tuple[float, float]] = deque(maxlen=MINUTES + 1)  # bowl and bath, °C, as each minute began
        self._next_s = self._least_c = 0.0
        self.words = ""

    def see(self, status: Status, *, away: bool) -> str:
        """Take in a status line, and whether the bowl was reported as lifted; returns the words once."""
        if status.state != "hold" or status.stage not in WATCHED or away or status.bowl is None or status.est \
                or status.water is None:  # fmt: skip
            return self.step(status.t / 1000, None, None)
        return self.step(status.t / 1000, status.bowl / 1000, status.water / 1000)

    def step(self, now_s: float, bowl_c: float | None, bath_c: float | None) -> str:
        """Take in two readings; None where the bowl is not in its bath, or nothing is known of one of them."""
        if bowl_c is None or bath_c is None:
            self._minutes.clear()
            self.words = ""
            return ""
        if self.words:
            self._least_c = min(self._least_c, bowl_c)
            if bowl_c > self._least_c + RISES_K or bath_c < bowl_c:
                self._minutes.clear()
                self.words = ""
        if self._minutes and now_s < self._next_s:
            return ""
        if not self._minutes or now_s > self._next_s + 60.0:
            self._minutes.clear()
        self._next_s = now_s + 60.0
        self._minutes.append((bowl_c, bath_c))
        return "" if self.words or not self._falls() else self._say()

    def _falls(self) -> bool:
        if len(self._minutes) <= MINUTES:
            return False
        bowl_c = [each_c for each_c, _ in self._minutes]
        falls_k = [before - after for before, after in pairwise(bowl_c[:: MINUTES // 4])]
        poured = max(before - after for before, after in pairwise(bowl_c)) > POURED_K
        over_k = [bath_c - each_c for each_c, bath_c in self._minutes]
        warmer = min(over_k) > OVER_K and over_k[-1] > OVER_AT_LAST_K
        return not poured and warmer and min(falls_k) > QUARTER_FALLS_K and sum(falls_k) > FALLS_K

    def _say(self) -> str:
        (before_c, _), (bowl_c, bath_c) = self._minutes[0], self._minutes[-1]
        self._least_c = bowl_c
        self.words = for_bath(FELL.format(before_c - bowl_c, MINUTES, bath_c - bowl_c), self._bath)
        return self.words


class Unwarmed:
    """Follows one hold, in each step that warms the chocolate; `words` is what to say now, as long as it is so.

    Parameters
    ----------
    bath : str
        What the bowl sits in or on: "water" or "plate".
    """

    STEPS = ("melt", *WATCHED)

    def __init__(self, bath: str = "water") -> None:
        self._bath = bath
        self._least_c, self._since_s, self._last_s = 0.0, 0.0, 0.0
        self.words = ""

    def see(self, status: Status, *, away: bool) -> str:
        """Take in a status line, and whether the bowl was reported as lifted; returns the words once."""
        now_s, span_s, self._last_s = status.t / 1000, status.t / 1000 - self._last_s, status.t / 1000
        known = (status.state in ("hold", "off") and status.stage in self.STEPS and not away
                 and status.bowl is not None and not status.est and status.water is not None)  # fmt: skip
        if not known or status.bowl is None or status.water is None or not 0.0 <= span_s <= 60.0:
            self._since_s, self.words = now_s, ""
            return ""
        bowl_c, over_k = status.bowl / 1000, (status.water - status.bowl) / 1000
        far = over_k >= FAR_K or (self.words and over_k > 0.0)  # with its heat held back, the bath cools to the bowl
        if not far or now_s <= self._since_s or bowl_c > self._least_c + WARMS_K:
            self._since_s, self._least_c, self.words = now_s, bowl_c, ""
            return ""
        self._least_c = min(self._least_c, bowl_c)
        lasted_min, before = int((now_s - self._since_s) / 60.0), self.words
        if lasted_min >= FAR_MINUTES:
            self.words = for_bath(COLD.format(lasted_min, over_k), self._bath)
        return "" if before else self.words
