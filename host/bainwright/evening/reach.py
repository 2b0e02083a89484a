"""Will the chocolate reach its window, or the end of its melt? Says no as soon as the course of it shows that."""

from __future__ import annotations

from collections import deque

import numpy as np

from bainboard import stages
from bainwright.evening.held_back import TOO_MUCH
from bainwright.files.score import ENTRY_S, Window
from bainwright.link.messages import Status
from bainwright.physics.chocolate_heat import SOLID_C
from bainwright.words.plate import for_bath

STEP_S = 900.0  # chosen: three means this far apart show, to 0.1 °C, where an approach of about an hour ends
ROW_S = 5.0
MEAN_S = 60.0  # chosen: the means are over this time, against noise
WATER_MEAN_S = 300.0
WATER_STEADY_C = 0.5  # chosen: the forecast by three means holds only while the water stays where it is
AGREE_C = 0.3  # chosen: two forecasts over swings, a quarter of an hour apart, differ by less
SWING_SHORT_C = 0.5  # chosen: they leave more in doubt than steady water does
SHORT_C = 0.15  # chosen: a forecast closer than this to the window may be wrong about it
LEVEL_C = 0.08  # chosen: smaller steps, twice in a row, are as much noise as course
LEAST_SLOWING = 0.05  # the approach must slow down visibly, or its end is not in sight
RAILED_DUTY = 9000  # of 10000: the heater gives all it has
WATER_SHORT_C = 1.5  # chosen: a bath that is held is nearer to its target, whatever is poured in
AIM_C = 0.05  # chosen: a target that moves by more is not at its ceiling
OUT_K = 10.0  # chosen: a bowl in its bath stays at most half as far under the water
LID = "a lid on the bowl, or a warmer room"
WATCHED = ("tempered", "melt", "melted", "tune")  # steps with heat and a window
ALL_MOLTEN_C = SOLID_C[-1]  # below it, what still melts slows the bowl down for a while


class Reach:
    """Forecasts where the chocolate ends, from three equally spaced means of an exponential approach.

    Parameters
    ----------
    bath : str
        What the bowl sits in or on: "water" or "plate".
    """

    def __init__(self, bath: str = "water") -> None:
        self._bath = bath
        self._rows: deque[tuple[float, float, float, int]] = deque()  # s, bowl °C, water °C, duty
        self._inside_since_s: float | None = None
        self._stage = ""
        self._aim_c: float | None = None  # the water's target, and since when it has not moved
        self._aimed_s = 0.0
        self._swing: tuple[float, float] | None = None  # s, and where it ends by the forecast over swings then
        self.reported = False

    def see(self, status: Status, window: Window) -> str:
        """Take in a status line; returns the warning once, or an empty text.

        Parameters
        ----------
        status : Status
            The line; only a hold with heat counts.
        window : Window
            The chocolate's window.
        """
        t_s = status.t / 1000
        stage = "tempered" if status.stage in stages.TEMPERED else status.stage
        if stage != self._stage:  # another window
            self._stage = stage
            self._forget(reported=False)
        if stage not in WATCHED:
            return ""
        if status.state != "hold" or status.bowl is None or status.water is None:
            self._forget(reported=self.reported and status.bowl is not None)
            return ""
        if status.bowl / 1000 >= window.low_c:  # a noisy reading that touches the window is no entry
            self._inside_since_s = t_s if self._inside_since_s is None else self._inside_since_s
            if t_s - self._inside_since_s >= ENTRY_S:
                self._forget(reported=False)
            return ""
        self._inside_since_s = None
        if stage == "melt" and status.ask:  # it got there, and may sag while nobody answers
            self._forget(reported=False)
            return ""
        if self._rows and t_s < self._rows[-1][0] + ROW_S:
            return ""
        self._rows.append((t_s, status.bowl / 1000, status.water / 1000, status.duty))
        if status.water_target is not None and not self._is_held(status.water_target / 1000):
            self._aim_c, self._aimed_s = status.water_target / 1000, t_s
        while self._rows and self._rows[0][0] < t_s - 2 * STEP_S - MEAN_S:
            self._rows.popleft()
        if self.reported or self._rows[0][0] > t_s - 2 * STEP_S - MEAN_S + 2 * ROW_S:
            return ""
        return self._judge(t_s, window, status.water_target)

    def _forget(self, *, reported: bool) -> None:
        self._rows.clear()
        self._swing = None
        self.reported = reported

    def _is_held(self, aim_c: float) -> bool:
        """Is the water's target where it was? One at its ceiling does not move; one below it is still being moved."""
        return self._aim_c is not None and abs(aim_c - self._aim_c) <= AIM_C

    def _judge(self, t_s: float, window: Window, water_target: int | None) -> str:
        water = self._water_means()
        if max(water) - min(water) > WATER_STEADY_C:
            return self._judge_swing(t_s, window, water, water_target)
        first_c, middle_c, last_c = (self._mean_c(t_s - ago_s) for ago_s in (2 * STEP_S, STEP_S, 0.0))
        ends_c = forecast_c(first_c, middle_c, last_c)
        if ends_c is None or ends_c > window.low_c - SHORT_C or (self._stage == "melt" and last_c < ALL_MOLTEN_C):
            return ""
        short_c = window.low_c - ends_c
        away_c = sum(water) / len(water) - ends_c
        if away_c > OUT_K:
            self.reported = True
            # No figure of where it ends: a bowl in the air ends by the room, which three means do not know.
            words = (f"the chocolate reads {last_c:.1f} °C, {water[-1] - last_c:.0f} °C under the water, and comes no "
                     "nearer: is the bowl in its bath, and the probe in the bowl?")
            return for_bath(words, self._bath)
        reason = self._why(t_s, water_target)
        if reason is None:
            return ""
        self.reported = True
        why, helps = reason
        if self._stage == "melt":
            return (f"the melt will not get to {window.low_c:g} °C: it levels off near {ends_c:.1f} °C, and {why}. "
                    f"What helps: stir; {helps}. If no lumps are left, stop and begin with the next step (--from)")
        return (f"the chocolate will not reach its window: it levels off near {ends_c:.1f} °C, {short_c:.1f} °C below "
                f"it, and {why}. What helps: {helps}")

    def _judge_swing(self, t_s: float, window: Window, water: list[float], water_target: int | None) -> str:
        """As `_judge`, for a bath that swings: a plate that is heated for minutes and then waits."""
        least_c = ALL_MOLTEN_C if self._stage == "melt" else -OUT_K
        if (water_target is None or t_s - self._aimed_s < 2 * STEP_S or not _swings(water)
                or min(row[1] for row in self._rows) < least_c or (self._swing and t_s - self._swing[0] < STEP_S)):
            return ""
        before, ends_c = self._swing, swing_forecast_c([row[:3] for row in self._rows])
        self._swing = None if ends_c is None else (t_s, ends_c)
        if (before is None or ends_c is None or abs(ends_c - before[1]) > AGREE_C
                or ends_c > window.low_c - SWING_SHORT_C):
            return ""
        self.reported = True
        what, helps = ("melt", f"stir; {LID}{TOO_MUCH}") if self._stage == "melt" else ("chocolate", LID)
        return (f"the {what} will not get to {window.low_c:g} °C: it levels off near {ends_c:.1f} °C, since the "
                f"{self._bath} swings between {min(water):.0f} and {max(water):.0f} °C, under its "
                f"{water_target / 1000:.0f} °C. What helps: {helps}")

    def _why(self, t_s: float, water_target: int | None) -> tuple[str, str] | None:
        """What keeps it short, and what helps; None while the control still moves the bath, and the end with it."""
        if sum(row[3] for row in self._rows) / len(self._rows) > RAILED_DUTY:
            of_water = "cover the water, put a lid on the bowl, take some water out, or warm the room"
            return "the heater gives all it has", of_water if self._bath == "water" else LID
        if water_target is not None and self._rows[-1][2] < water_target / 1000 - WATER_SHORT_C:
            return (f"the warmer waits with its heat, since the {self._bath} warms up less than its watts promise",
                    "look at the heater, its plug and its fuse, then at watts and litres in the rig file"
                    f"{TOO_MUCH if self._stage == 'melt' else ''}")
        if water_target is not None and t_s - self._aimed_s < STEP_S:
            return None
        return f"the {self._bath} is as warm as its ceiling allows", LID

    def _water_means(self) -> list[float]:
        """Five-minute means of the water, through which its ripple under a ceiling does not show."""
        per = round(WATER_MEAN_S / ROW_S)
        water = [row[2] for row in self._rows]
        return [sum(part) / len(part) for at in range(0, len(water), per) if (part := water[at : at + per])]

    def _mean_c(self, until_s: float) -> float:
        rows = [row[1] for row in self._rows if until_s - MEAN_S <= row[0] <= until_s]
        return sum(rows) / len(rows) if rows else self._rows[0][1]


def forecast_c(first_c: float, middle_c: float, last_c: float) -> float | None:
    """Where an exponential approach ends, from three equally spaced values (Aitken's delta-squared).

    Returns
    -------
    float or None
        °C; the last value where it is level; None where it does not slow down.
    """
    earlier, later = middle_c - first_c, last_c - middle_c
    if max(abs(earlier), abs(later)) < LEVEL_C:
        return last_c
    slowing = 1.0 - later / earlier if earlier * later > 0.0 else 0.0
    return None if slowing < LEAST_SLOWING else last_c + later * (1.0 - slowing) / slowing


def _swings(water: list[float]) -> bool:
    """Does it fall and rise again, by more than a bath that is held? One that is warming up only rises."""
    falls = max(high - low for at, high in enumerate(water) for low in water[at:])
    rises = max(high - low for at, low in enumerate(water) for high in water[at:])
    return min(falls, rises) > WATER_STEADY_C


def swing_forecast_c(rows: list[tuple[float, float, float]]) -> float | None:
    """Where a bowl ends over a bath that swings on as it did.

    The bowl warms up in proportion to what the bath is over it, less what the room takes. Both factors come from
    a least-squares fit of the summed course; where they balance at the mean of the bath, the bowl stays.

    Parameters
    ----------
    rows : list of (float, float, float)
        s, bowl and bath in °C.

    Returns
    -------
    float or None
        °C; None where the bath does not move the bowl.
    """
    t_s, bowl_c, bath_c = np.array(rows).T
    over_k_s = np.concatenate([[0.0], np.cumsum((bath_c - bowl_c)[1:] * np.diff(t_s))])
    terms = np.column_stack([np.ones_like(t_s), over_k_s, t_s - t_s[0]])
    _, per_s, room_k_per_s = np.linalg.lstsq(terms, bowl_c, rcond=None)[0]
    return float(bath_c.mean() + room_k_per_s / per_s) if per_s > 0.0 else None
