"""Says so when the heat is off for long: held back beside a bath under its target, or in a pause."""

from __future__ import annotations

from bainboard import faults, stages
from bainwright.link.messages import Status
from bainwright.words.advice import heat_waits
from bainwright.words.plate import for_bath

SHORT_K = 3.0  # chosen: a bath that is held is nearer to its target, and one that is warming up has full heat
MEANT_S = 900.0  # chosen: a look at the probe or a pause of the control is shorter
LITTLE = 3000  # of 10000: the heater gives less of its time than this
RISES_K = 1.0  # chosen: a bath that warms up so much in that time gets there without a word
TOO_MUCH = (". Or is it more chocolate than this warmer can melt? bain plan says how much. Then melt it elsewhere and "
            "begin with the next step (--from)")
COOLS_K = 1.0  # chosen: a bath that is held is nearer to its target
PULSES_RISE_K = 0.3  # chosen: five steps of 1/16 °C; a control that wants heat warms the bath by more
WAITS_MS = 300_000  # chosen: a look at the probe, or one at the switch, is shorter
WAITS_FOR_BOWL = "the warmer holds its heat back while the bowl is off, so the bath cools until the bowl is back"
PAUSED_LONG = "the pause has lasted 10 min, and the heat is off"
PAUSES_MS = 600_000  # chosen: hands are in the water for minutes, and a bowl cools by degrees in more
LONGEST_S = 5.0  # chosen: beyond it, nothing is known about the time since the last line


class HeldBack:
    """Follows one hold; `words` is what to say now, as long as it is so.

    Parameters
    ----------
    bath : str
        What the bowl sits in or on: "water" or "plate".
    """

    def __init__(self, bath: str = "water") -> None:
        self._bath = bath
        self._since: tuple[float, int] | None = None  # s, and the water then, m°C
        self._last_s = self._heat_s = 0.0
        self.words = ""

    def see(self, status: Status) -> str:
        """Take in a status line; returns the words once."""
        now_s, span_s, water, aim = status.t / 1000, status.t / 1000 - self._last_s, status.water, status.water_target
        self._last_s = now_s
        short = status.state == "hold" and water is not None and aim is not None and aim - water > 1000 * SHORT_K
        if not short or water is None or aim is None or not 0.0 <= span_s <= LONGEST_S:
            self._since, self.words = None, ""
            return ""
        if self._since is None:
            self._since, self._heat_s = (now_s, water), 0.0
        self._heat_s += span_s * status.duty / 10_000
        lasted_s = now_s - self._since[0]
        if lasted_s < MEANT_S:
            return ""
        held = self._heat_s < lasted_s * LITTLE / 10_000 and water - self._since[1] < 1000 * RISES_K
        share, before = self._heat_s / lasted_s, self.words
        self._since = None
        self.words = (
            f"the warmer holds its heat back: {100 * share:.0f} % in a quarter of an hour, though the {self._bath} is "
            f"{(aim - water) / 1000:.0f} °C under its target, because it warmed up less than its watts promise. Look "
            "at the heater, its plug and its fuse, then at watts and litres in the rig file; then stop and start again"
            f"{TOO_MUCH if status.stage == 'melt' else ''}"
        ) if held else ""
        return "" if before else self.words


class HeatWaits:
    """Follows one hold; `words` is what to look at while the board lets no heat through to a bath that wants it.

    Parameters
    ----------
    bath : str
        What the bowl sits in or on: "water" or "plate".
    """

    def __init__(self, bath: str = "water") -> None:
        self._bath = bath
        self._since_ms: int | None = None
        self._low: int | None = None  # the coldest bath since then, m°C
        self.words = ""

    def see(self, status: Status, *, away: bool) -> str:
        """Take in a status line, and whether the bowl was reported as lifted; returns the words once."""
        if not self._is_short(status, away=away):
            self._since_ms, self._low, self.words = None, None, ""
            return ""
        self._since_ms = status.t if self._since_ms is None else self._since_ms
        warned = bool(status.warn >> faults.HEAT_CAPPED & 1)  # the board has waited for half an hour
        if status.t - self._since_ms < WAITS_MS and not warned:
            return ""
        before = self.words
        self.words = for_bath(WAITS_FOR_BOWL, self._bath) if away else heat_waits(self._bath)
        return "" if before else self.words

    def _is_short(self, status: Status, *, away: bool) -> bool:
        """Does the bath want heat that it is not given? With pulses that only look at the probe it gets no warmer."""
        water, aim, bowl = status.water, status.water_target, status.bowl
        if (status.state not in ("off", "hold") or status.fault or status.stage in stages.COLD
                or water is None or aim is None or not aim - water > 1000 * COOLS_K
                or not (away or bowl is None or bowl < aim)):  # over its bath's target, a bowl wants no heat
            return False
        self._low = water if self._low is None else min(self._low, water)
        pulses = status.duty < LITTLE and water - self._low < 1000 * PULSES_RISE_K
        return status.state == "off" or (pulses and status.stage != "tune")  # which pulses by itself


class LongPause:
    """Follows one hold; `calls` while a pause has lasted for so long that it may be forgotten."""

    def __init__(self) -> None:
        self._since_ms: int | None = None
        self.calls = False

    def see(self, status: Status) -> str:
        """Take in a status line; returns the words once a pause."""
        if status.state != "pause":
            self._since_ms, self.calls = None, False
            return ""
        self._since_ms = status.t if self._since_ms is None else self._since_ms
        before, self.calls = self.calls, status.t - self._since_ms >= PAUSES_MS
        return PAUSED_LONG if self.calls and not before else ""
