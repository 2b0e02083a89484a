"""Indicators of a temper while the hold runs: times and temperatures, never a percentage of seed.

No published model covers thickening, or the melting out of seed, between 28 and 33 °C. So the indicators are sums of
readings, and only a temper test judges.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from bainboard import stages
from bainwright.core.units import duration_words
from bainwright.files.score import Window
from bainwright.link.messages import Status
from bainwright.record.temper_tests import takes_back_a_test
from bainwright.words import terms

OUTCOMES = {stages.GOOD: "passed", stages.SLOW: "slow", stages.FAILED: "failed"}  # the others prove nothing
LONGEST_STEP_S = 5.0  # chosen: beyond that, nothing is known about the time since the last reading


@dataclass
class Indicators:
    """Sums over the work stage, in which a temper is in the bowl.

    Parameters
    ----------
    window : Window
        The window of the work stage.
    """

    window: Window
    below_s: float = 0.0
    inside_s: float = 0.0
    above_s: float = 0.0
    exposure_k_min: float = 0.0
    peak_c: float | None = None
    bowl_c: float | None = None
    tests: list[tuple[float, str]] = field(default_factory=list)  # when, and the verdict
    now_s: float = 0.0
    _last_s: float | None = field(default=None)

    def see(self, status: Status) -> None:
        """Take in a status line."""
        self.now_s = status.t / 1000
        self.bowl_c = None if status.bowl is None else status.bowl / 1000
        if status.stage != "work" or self.bowl_c is None:
            self._last_s = None
            return
        span_s = 0.0 if self._last_s is None else min(LONGEST_STEP_S, max(0.0, self.now_s - self._last_s))
        self._last_s = self.now_s
        if self.bowl_c < self.window.low_c:
            self.below_s += span_s
        elif self.bowl_c > self.window.high_c:
            self.above_s += span_s
        else:
            self.inside_s += span_s
        self.exposure_k_min += max(0.0, self.bowl_c - self.window.high_c) * span_s / 60
        self.peak_c = self.bowl_c if self.peak_c is None else max(self.peak_c, self.bowl_c)

    def event(self, name: str, fields: Mapping[str, Any]) -> None:
        """Take in an event."""
        if name == "tested":
            self.tests.append((self.now_s, terms.verdict_of(fields)))
        elif takes_back_a_test({"event": name, **fields}) and self.tests:
            self.tests.pop()

    def line(self) -> str:
        """The indicators in one line; empty before the first reading."""
        if self.peak_c is None:
            return ""
        last = next(((t_s, OUTCOMES[verdict]) for t_s, verdict in reversed(self.tests) if verdict in OUTCOMES), None)
        test = "no test yet" if last is None else f"test {last[1]} {duration_words(self.now_s - last[0])} ago"
        over = f" · {self.exposure_k_min:.1f} degree-minutes over" if self.exposure_k_min >= 0.05 else ""
        return (f"{test} · below {self.below_s / 60:.0f}, in {self.inside_s / 60:.0f}, above {self.above_s / 60:.0f} "
                f"min · peak {self.peak_c:.1f} °C{over}")
