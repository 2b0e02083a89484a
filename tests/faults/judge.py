"""What must hold in every case that the whole firmware plays, and how soon a fault was reported."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

from bainboard import faults, framing, store
from bainwright.files.documents import flash_of
from bainwright.virtual.python_flash import Files, Flash

from . import evenings
from .cases import Built, Case, build
from .fast import Player, Row, Trace, seen_names
from .strikes import bits, latching

PROBE_ERROR_K = 0.5  # a digital probe's limits of error: water just under the ceiling may read this much over it
OVER_K = 5.0  # X of the first invariant
GAP_MS = 4500
POWER_LATE_MS = 3000  # guard open within 2 s of detection, and power is reported as the mean of a second
TRUE_K = 0.2  # a probe's bias: water that someone poured too warm is over its limit, and reported so rightly
SLACK_S = 0.05  # a pass is reported to the millisecond
CRASH_FILE = "/crash.txt"
COLD = ("idle", "pause", "trip")
HEATING = ("check", "hold")


@dataclass
class Result:
    """What came of a case.

    Attributes
    ----------
    broken : list of str
        Invariants that did not hold.
    missed : str
        The fault that was not reported in time, or empty.
    told_s, due_s : float
        Seconds from the strike until a fitting fault was reported, NaN if never; until when it had to be.
    over_k : float
        How far the water's truth went over its limit after the strike.
    trips, rightly : int
        Faults that came into force; those of them that only said that water was poured too warm for the stage.
    looks_s : int
        Seconds in which a hold's heat was held back.
    """

    case: Case
    broken: list[str] = field(default_factory=list)
    missed: str = ""
    told_s: float = math.nan
    due_s: float = math.nan
    stopped_s: float = math.nan  # when the first sign had led to its end
    over_k: float = -99.0
    warmest_c: float = -99.0
    seen: list[str] = field(default_factory=list)
    trips: int = 0
    rightly: int = 0
    looks_s: int = 0
    seconds: float = 0.0
    digest: str = ""

    @property
    def good(self) -> bool:
        """Nothing broken, nothing missed."""
        return not self.broken and not self.missed

    def as_row(self) -> dict[str, Any]:
        """For a results file."""
        return {
            "case": str(self.case), "broken": self.broken, "missed": self.missed, "told_s": _number(self.told_s),
            "due_s": _number(self.due_s), "end_s": _number(self.stopped_s),
            "over_k": round(self.over_k, 2), "warmest_c": round(self.warmest_c, 2),
            "seen": self.seen, "trips": self.trips, "rightly": self.rightly, "looks_s": self.looks_s,
            "seconds": round(self.seconds), "digest": self.digest,
        }


def _number(value: float) -> float | None:
    return round(value, 1) if math.isfinite(value) else None


class Watch:
    """The invariants that every pass must keep."""

    def __init__(self, pulse_s: float) -> None:
        self._last_ms: int | None = None
        self._starts = 0
        self._heating = False
        self._check_on_s = 0.0
        self._most_on_s = 6.0 * pulse_s + 20.0  # guard, guard again, three tries to warm, and rounding
        self._latched = 0
        self._duty, self._fault = 0.0, 0
        self.trips = self.rightly = self.looks_s = 0
        self._off_since_ms: int | None = None
        self._synced = 0
        self._top_c = 0.0

    def __call__(self, player: Player, app: Any, row: Row) -> None:
        w, say = app.warmer, player.broken
        starts = len(player.trace.starts)
        if starts != self._starts:
            self._restarted(player, row)
        self._starts = starts
        gap_ms = 0 if self._last_ms is None else row.t_ms - self._last_ms
        if gap_ms > GAP_MS and self._heating and player.desk.watchdog_fed:
            say(f"14: {gap_ms} ms between passes")
        self._last_ms, self._heating = row.t_ms, row.state in HEATING
        self._look_at_heat(player, row)
        p = w.programme
        # A bath that came warmer than it may be is let down to its target from where it is.
        self._top_c = max(self._top_c, row.water_c or 0.0)
        highest_c = 0.0 if p is None else max(p.ceiling_c, self._top_c)
        if row.state == "hold" and not (p.aim_c <= p.ceiling_c and w.cascade.water_target_c <= highest_c):
            say(f"9: aims at {p.aim_c} °C, water {w.cascade.water_target_c}, over {p.ceiling_c}")
        if self._latched and not row.latched and not player.desk.buttons:
            say(f"6: the latch {self._latched} is gone with nobody at the button")
        self._latched = row.fault if row.latched else 0
        if row.fault and row.fault != self._fault:
            over = row.fault == faults.OVER_STAGE and p is not None and row.true_c > p.limit_c - TRUE_K
            self.rightly += over
            self.trips += not over
        self._fault = row.fault
        if row.state == "hold" and not row.heat_ok:
            self.looks_s += 1
        self._synced = app.log.synced

    def _restarted(self, player: Player, row: Row) -> None:
        self._last_ms = None
        if self._latched and not row.latched:
            player.broken(f"5: the latch {self._latched} did not survive a restart")
        if row.guard or row.pin:
            player.broken("on again by itself after a restart")
        last = self._last_record(player)
        if last < self._synced:
            player.broken(f"11: record {self._synced} was on the flash, the last one there is {last}")

    @staticmethod
    def _last_record(player: Player) -> int:
        frames = [frame for path, data in player.flash.files.items() if path.startswith("/log/")
                  for frame in framing.scan(data)[0]]
        return max((frame[1] for frame in frames), default=0)

    def _look_at_heat(self, player: Player, row: Row) -> None:
        say = player.broken
        if not 0.0 <= row.duty <= 1.0:
            say(f"7: duty {row.duty}")
        if row.duty > 0.0 and row.water_c is None:
            say("7: heat without a reading")
        if row.pin and (row.duty == 0.0 or not row.heat_ok):
            say("3: heater pin up with no heat allowed")
        if row.guard != player.desk.guard_level or (row.guard and not row.guard_ok):
            say("3: guard closed against the supervisor")
        if row.state == "check":
            self._check_on_s += row.duty
            if self._check_on_s > self._most_on_s:
                say("2: the self-test heats without end")
        else:
            self._check_on_s = 0.0
        if row.state in COLD and (row.duty or row.guard):
            say(f"2: heat or guard in state {row.state}")
        self._look_at_power(player, row)

    def _look_at_power(self, player: Player, row: Row) -> None:
        """Two seconds after the firmware opened the guard no heat flows, unless both parts that cut it have failed."""
        if row.guard or row.state == "check":  # its pulses are bounded elsewhere, and may end with a restart
            self._off_since_ms = None
            return
        self._off_since_ms = self._off_since_ms if self._off_since_ms is not None else row.t_ms
        failed = player.desk.wiring.faults
        late = row.t_ms - self._off_since_ms > POWER_LATE_MS
        fitted = player.desk.wiring.has_guard
        if late and row.given_w > 0.0 and fitted and not {"guard_welded", "switch_shorted"} <= failed:
            player.broken(f"3: {row.given_w:.0f} W with the guard open")


def play(case: Case) -> Result:
    """Play a case on the fast engine and judge it."""
    result, _ = play_whole(case)
    return result


def play_whole(case: Case) -> tuple[Result, Trace]:
    """The same, with its trace."""
    built = build(case)
    long = case.phase in evenings.EVENINGS
    watch = Watch(built.setting.pulse_s)
    if long:
        object.__setattr__(built.play, "keep", False)
    player = Player(built.play, watch)
    trace = player.run()
    result = Result(case, trace.broken, seconds=trace.seconds, warmest_c=trace.warmest_c, seen=seen_names(trace.seen),
                    trips=watch.trips, rightly=watch.rightly, looks_s=watch.looks_s, digest=trace.digest())
    _judge_crash(built, trace, result)
    _judge_clearing(trace, result)
    if built.strikes:
        _judge_strikes(built, trace, result)
    elif not long:
        result.over_k = trace.warmest_c - limit_c(built)
    _judge_flash(built, trace, result)
    if twin_of(case) is not None:
        _judge_twin(case, trace, result)
    if not case.acts and not long and result.seen:
        result.broken.append(f"19: reported {', '.join(result.seen)} with nothing wrong")
    if not built.strikes and watch.trips and not _hurts(case):
        result.broken.append(f"19: tripped with nothing wrong: {', '.join(result.seen)}")
    return result, trace


TWINS = ("host", "wrap", "say")
# A message read, or a line not written, takes microseconds: now and then a reading falls on the other side of its step.
SAME_DUTY, STEP_K = 0.002, 0.07  # mean; K


def twin_of(case: Case) -> Case | None:
    """The same case undisturbed, where what was done to it must not change what the heater does."""
    if case.acts and all(act.partition("@")[0] in TWINS for act in case.acts):
        return replace(case, acts=())
    return None


def _judge_twin(case: Case, trace: Trace, result: Result) -> None:
    twin = twin_of(case)
    assert twin is not None
    other = Player(build(twin).play).run()
    if other.digest() == trace.digest():
        return
    pairs = list(zip(trace.rows, other.rows, strict=False))
    mean = sum(abs(a.duty - b.duty) for a, b in pairs) / max(1, len(pairs))
    read = all((a.water_c is None) == (b.water_c is None) and abs((a.water_c or 0.0) - (b.water_c or 0.0)) <= STEP_K
               for a, b in pairs)
    if len(other.rows) != len(trace.rows) or mean > SAME_DUTY or not read:
        result.broken.append(f"15, 16, 10: not the duty of {twin}: {mean:.4f} apart")


def _judge_flash(built: Built, trace: Trace, result: Result) -> None:
    """Settings are old or new, never mixed, whenever the power failed."""
    files = built.play.files
    if any(path.startswith("/settings") for path in files):
        return
    flash = Flash(trace.files)
    payload, _, note = store.Slots(Files(flash), "settings").load()
    _, _, old, _ = framing.read(flash_of(built.play.rig)["/settings.a"])
    new = built.setting.upload or old
    if payload not in (old, new):
        result.broken.append(f"13: the settings are neither old nor new ({note})")


def _hurts(case: Case) -> bool:
    return any(act.startswith(("flash_cut", "upload")) for act in case.acts)


def _judge_clearing(trace: Trace, result: Result) -> None:
    cleared = any(event.get("event") == "cleared" for event in trace.events)
    if cleared and trace.rows and not any(row.latched for row in trace.rows):
        result.broken.append("6: reported cleared, and there was no latch")


def _judge_crash(built: Built, trace: Trace, result: Result) -> None:
    meant = {"crash", "memory_out"}
    boots = [event for event in trace.events if event.get("event") == "boot" and event.get("why") == "crash"]
    reported = [*trace.crashes, *(data.decode() for path, data in trace.files.items() if path == CRASH_FILE),
            *("an error: it started again and said so" for _ in boots)]
    if reported and not meant & {strike.name for strike in built.strikes}:
        result.broken.append(f"the firmware ended by {reported[0]}")


def limit_c(built: Built) -> float:
    """The water's limit in the stage played."""
    p = built.setting.profile
    return float(p["never_above_c"]) if built.setting.stage == "melted" else float(p["ceiling_c"]) + PROBE_ERROR_K


def _judge_strikes(built: Built, trace: Trace, result: Result) -> None:
    s, strikes = built.setting, built.strikes
    strike_ms = s.strike_s * 1000
    before_c = max((row[1] for row in trace.truth if row[0] <= strike_ms), default=s.water_c)
    after_c = max((row[1] for row in trace.truth if row[0] > strike_ms), default=s.water_c)
    result.over_k = after_c - max(limit_c(built), before_c)
    if len(strikes) == 1 and not strikes[0].hot and result.over_k > OVER_K:
        result.broken.append(f"1: {result.over_k:.1f} K over {limit_c(built):.1f} °C")
    if len(strikes) != 1 or len(built.case.acts) != 1:
        return
    _judge_time(built, trace, result)


def _judge_time(built: Built, trace: Trace, result: Result) -> None:
    """Was the one fault reported, and in time?"""
    s, strike = built.setting, built.strikes[0]
    wanted = bits(strike.tells)
    reported = _first(trace, s.strike_s, wanted)
    if reported is not None:
        result.told_s = reported.t_ms / 1000 - s.strike_s
    if strike.within is None or not wanted or built.case.phase not in strike.phases:
        return
    result.due_s = strike.within(s.values, s)
    if reported is None and s.strike_s + result.due_s > trace.seconds:
        return  # the play ended first
    if not result.told_s <= result.due_s + SLACK_S:
        result.missed = f"{strike.name}: reported after {result.told_s:.0f} s, due after {result.due_s:.0f} s"
    elif strike.stops and reported is not None and reported.heat_ok:
        result.broken.append(f"3: {strike.name} is reported and heat still allowed")
    elif strike.ends == "off":
        if any(row.heat_ok for row in trace.rows if (row.warn | 1 << row.fault) & wanted):
            result.broken.append(f"3: heat allowed while {strike.name} is reported")
    elif strike.ends in ("stays", "cleared"):
        doubted = reported is not None and reported.warn >> faults.STRONG_HEATER & 1  # tested again: not latched yet
        if not doubted and trace.rows[-1].latched != (strike.ends == "stays"):
            result.broken.append(f"6: after the button the latch should have {strike.ends}")
    elif strike.then is not None and reported is not None and reported.state in HEATING:
        _judge_end(built, trace, result, reported)


def _first(trace: Trace, from_s: float, wanted: int) -> Row | None:
    return next((row for row in trace.rows if row.t_ms >= from_s * 1000 and (row.warn | 1 << row.fault) & wanted), None)


def _judge_end(built: Built, trace: Trace, result: Result, reported: Row) -> None:
    """Did the first sign lead to its end, with no heat asked for on the way?"""
    s, strike = built.setting, built.strikes[0]
    assert strike.then is not None
    before = [row.given_w for row in trace.rows if reported.t_ms - 600_000 <= row.t_ms <= reported.t_ms]
    due_s = reported.t_ms / 1000 + strike.then(s.values, s, sum(before) / len(before))
    after = [row for row in trace.rows if row.t_ms >= reported.t_ms]
    if strike.ends == "latched":
        end = next((row for row in after if row.latched and 1 << row.fault & bits(strike.tells)), None)
    elif strike.ends == "RUN_TIMER":
        end = next((row for row in after if 1 << row.fault & bits((strike.ends,))), None)
    else:
        end = _first(trace, reported.t_ms / 1000, bits((strike.ends,)))
    if end is not None:
        result.stopped_s = end.t_ms / 1000 - s.strike_s
        if strike.then is latching and any(row.heat_ok for row in after if row.t_ms < end.t_ms):
            result.broken.append(f"3: heat allowed while {strike.name} was looked at")
    if due_s + SLACK_S < trace.seconds and not (end is not None and end.t_ms / 1000 <= due_s + SLACK_S):
        result.missed = f"{strike.name}: first sign at {reported.t_ms / 1000 - s.strike_s:.0f} s, then not " \
                        f"{strike.ends} by {due_s - s.strike_s:.0f} s (was at {result.stopped_s:.0f} s)"


