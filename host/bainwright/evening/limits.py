"""Limits that a bowl may pass in an evening, and what that means for its temper until a test says more."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from bainboard import stages
from bainwright.files.chocolate import SOFT_UNDER_K, Profile, overheated
from bainwright.link.messages import Status
from bainwright.physics.chocolate_heat import FORM_VI_C, SETS_BELOW_C
from bainwright.record.temper_tests import takes_back_a_test
from bainwright.words import terms

STAYS_S = 60.0  # chosen: a limit passed for so long is no noise, and no probe that was in the air for a moment
PROBE_BACK_S = 300.0  # chosen: a set block takes an hour for what a probe put back into the bowl shows in a minute
START_AGAIN = "stop (Ctrl-C), and start again from melt"


class Limits:
    """Follows one bowl.

    Parameters
    ----------
    profile : Profile
        The chocolate.
    is_bath : bool
        Whether the bowl sits in water.

    Attributes
    ----------
    spoilt, hardened : str
        Why the bowl cannot be tempered any more; why it has to be melted first: a bath that holds a temper does not.
    caution : str
        What a temper test would settle.
    """

    def __init__(self, profile: Profile, is_bath: bool) -> None:
        self.profile, self._is_bath = profile, is_bath
        self.spoilt = self.hardened = self.caution = ""
        self._caution_before = ""  # before the last test: an answer may be taken back
        self.away = False  # the bowl is off its bath
        self._lost = self._over = self._changing = self._cold_bath = False
        self._since_s: dict[str, float] = {}  # when the bowl passed each limit that it has to stay beyond
        self._firm_s = 0.0  # when the bowl last read as cold as set chocolate

    def event(self, name: str, fields: Mapping[str, Any]) -> None:
        """Take in an event."""
        if name == "tested":
            self._caution_before = self.caution
            verdict = terms.verdict_of(fields)
            if verdict in (stages.GOOD, stages.SLOW):
                self.caution = self.hardened = ""
            if verdict == terms.HASTY:
                self.caution = self.caution or "tested too soon to judge: test the temper again before you dip"
        elif takes_back_a_test({"event": name, **fields}):
            self.caution = self._caution_before
        if name in ("bowl_off", "bowl_on"):
            self.away = name == "bowl_off"

    def change(self, profile: Profile) -> None:
        """Change to another chocolate."""
        self.profile = profile
        self._lost = self._over = False
        self._since_s = {}
        self.spoilt = self.hardened = self.caution = self._caution_before = ""
        self._changing = True  # until the step changes too: the bowl in the bath is still the one before

    def see(self, status: Status) -> list[str]:
        """Advice when the bowl passes a limit, once. How much seed is left, only a temper test can show."""
        self._changing = self._changing and status.stage == "work"
        if status.bowl is None or status.est or self._changing:
            return []
        bowl_c = status.bowl / 1000
        if self._stays("spoilt", overheated(bowl_c, self.profile.never_above_c), status):
            self.spoilt = (f"the chocolate was over {self.profile.never_above_c:g} °C, its limit: it is not fit to "
                           "temper, so use it for baking")
            return [self.spoilt]
        if status.stage in stages.TEMPERED and (hard := self._has_set(status, bowl_c)):
            return [hard]
        return self._in_work(status, bowl_c) if status.stage == "work" else []

    def _has_set(self, status: Status, bowl_c: float) -> str:
        """A bowl that has set, in its bath; forgotten when it was the probe that was out of the bowl."""
        now_s = status.t / 1000
        if bowl_c < SETS_BELOW_C:
            self._firm_s = now_s
        elif bowl_c >= self.profile.low_c - SOFT_UNDER_K and now_s - self._firm_s < PROBE_BACK_S:
            self.hardened = ""
        if not self._stays("set", bowl_c < SETS_BELOW_C, status):
            return ""
        self.caution = f"under {SETS_BELOW_C:g} °C and has set: melt it all and temper it again, then test"
        self.hardened = f"it read {bowl_c:.1f} °C and has set: {START_AGAIN}"
        return self.hardened

    def _stays(self, limit: str, beyond: bool, status: Status) -> bool:
        """Whether the bowl, in the bath, has just been beyond a limit for `STAYS_S`; true once."""
        now_s = status.t / 1000
        if not beyond or self.away:
            self._since_s.pop(limit, None)
            return False
        since_s = self._since_s.setdefault(limit, now_s)
        if now_s - since_s < STAYS_S:
            return False
        self._since_s[limit] = math.inf
        return True

    def _in_work(self, status: Status, bowl_c: float) -> list[str]:
        if cold := self._in_a_cold_bath(status, bowl_c):
            return [cold]
        soft_c = self.profile.low_c - SOFT_UNDER_K
        if self._stays("soft", bowl_c < soft_c, status) and bowl_c >= SETS_BELOW_C:
            self.caution = (f"under {soft_c:g} °C, where crystals form that do not last: let it warm up, then test the "
                            "temper before you dip")
            return [f"it was {self.caution} (t)"]
        over, lost = bowl_c > self.profile.high_c + 0.1, bowl_c >= self.profile.ceiling_c
        said = []
        if self._stays("molten", bowl_c > FORM_VI_C, status) and not self.spoilt:
            self.caution = (f"over {FORM_VI_C:g} °C, where no crystal is left: it is a melt, so stop and seed it "
                            "(--from seed)")
            said.append(f"it was {self.caution}")
        if lost and not self._lost and bowl_c <= FORM_VI_C:
            self.caution = f"over {self.profile.ceiling_c:g} °C: assume the seed is lost until a test passes"
            said.append(f"{self.caution} (t)")
        elif over and not self._over and not lost:
            self.caution = self.caution or "above its window: test the temper before you dip again"
            said.append("above its window: test the temper before you dip again (t)")
        over = bowl_c >= self.profile.high_c and (over or self._over)
        self._over, self._lost = over, lost or (self._lost and over)
        return said

    def _in_a_cold_bath(self, status: Status, bowl_c: float) -> str:
        """A bowl in temper that was set into cold water, at once; and when the water is warm enough."""
        if status.water is None or not self._is_bath:
            return ""
        water_c, low_c = status.water / 1000, self.profile.low_c
        if not self._cold_bath and not self.away and water_c < SETS_BELOW_C - 1.0 and bowl_c > low_c - SOFT_UNDER_K:
            self._cold_bath = True
            return (f"the water is at {water_c:.0f} °C, too cold for a bowl in temper: lift the bowl out until it is "
                    f"at {low_c:g} °C")
        if self._cold_bath and water_c >= low_c:
            self._cold_bath = False
            return f"the water is at {water_c:.0f} °C: if the bowl is out, wipe its underside dry and set it back"
        return ""
