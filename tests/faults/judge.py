"""What must hold in every case, and how soon a fault was told."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

from bainboard import faults, framing, store
from bainboard.control.rules import FILM_W_PER_M2K, wetted_m2
from bainwright.files.documents import flash_of
from bainwright.virtual.python_flash import Files, Flash

from . import evenings
from .cases import Built, Case, build
from .fast import Player, Row, Trace, seen_names
from .phases import BEFORE, CHECKING
from .strikes import (
    BATH_J_PER_LK,
    PROBE_LAG_S,
    at_rest,
    believed_w,
    bits,
    both_looks,
    by_asking,
    by_bowl_fall,
    by_budget,
    by_fall,
    by_heat,
    by_surge,
    by_weakness,
    latching,
    load_j_per_k,
    self_test,
)

PROBE_ERROR_K = 0.5  # a digital probe's limits of error: water just under the ceiling may read this much over it
OVER_K = 5.0  # X of the first invariant
GAP_MS = 4500
RETESTS, RETESTS_MS = 3, 3_600_000
TOP_UP_SHARE, TAP_C = 0.3, 15.0  # a fifth of the full water into a bath down to two thirds, from a cold tap
POWER_LATE_MS = 3000  # guard open within 2 s of detection, and power is told as the mean of a second
TRUE_K = 0.2  # a probe's bias: water that someone poured too warm is over its limit, and told so rightly
BELIEVED_S = 3600.0  # losses that a look saw are believed for so long
FELL_K = 0.37  # 0.3 K and a step of the reading
FELL_AWAY_K = 0.28  # a fall of 0.3 K ends a look
SLACK_S = 0.05  # a pass is told to the millisecond
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
        The fault that was not told in time, or empty.
    told_s, due_s : float
        Seconds from the strike until a fitting fault was told, NaN if never; until when it had to be.
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
    masked: bool = False

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
            "seconds": round(self.seconds), "digest": self.digest, "masked": self.masked,
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
        self._state = ""
        self._retests, self._retest_ms = 0, -RETESTS_MS - 1

    def __call__(self, player: Player, app: Any, row: Row) -> None:
        w, say = app.warmer, player.broken
        starts = len(player.trace.starts)
        if starts != self._starts:
            self._restarted(player, row)
        self._starts = starts
        gap_ms = 0 if self._last_ms is None else row.t_ms - self._last_ms
        if gap_ms > GAP_MS and self._heating and player.desk.watchdog_fed:
            say(f"14: {gap_ms} ms between passes")
        self._count_retests(player, row)
        self._last_ms, self._heating, self._state = row.t_ms, row.state in HEATING, row.state
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

    def _count_retests(self, player: Player, row: Row) -> None:
        """What is doubted a fourth time within an hour is not tried again."""
        if self._state == "hold" and row.state == "check":
            if row.t_ms - self._retest_ms > RETESTS_MS:
                self._retests, self._retest_ms = 0, row.t_ms
            self._retests += 1
            if self._retests > RETESTS:
                player.broken("3: a fourth retest within the hour")

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
    result.masked = _masked(trace)
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
        result.broken.append(f"19: told {', '.join(result.seen)} with nothing wrong")
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
        result.broken.append("6: told cleared, and there was no latch")


def _masked(trace: Trace) -> bool:
    """Did the self-test say of itself that the water moved too much for a sure verdict?"""
    return any(event.get("masked") for event in trace.events if event.get("event") == "checked")


def _judge_crash(built: Built, trace: Trace, result: Result) -> None:
    meant = {"crash", "memory_out"}
    boots = [event for event in trace.events if event.get("event") == "boot" and event.get("why") == "crash"]
    told = [*trace.crashes, *(data.decode() for path, data in trace.files.items() if path == CRASH_FILE),
            *("an error: it started again and said so" for _ in boots)]
    if told and not meant & {strike.name for strike in built.strikes}:
        result.broken.append(f"the firmware ended by {told[0]}")


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
    """Was the one fault told, and in time?"""
    s, strike = built.setting, built.strikes[0]
    wanted = bits(strike.tells)
    told = _first(trace, s.strike_s, wanted)
    if told is not None:
        result.told_s = told.t_ms / 1000 - s.strike_s
    if strike.within is None or not wanted or built.case.phase not in strike.phases:
        return
    result.due_s = due_s(built, trace)
    if told is None and (result.masked or s.strike_s + result.due_s > trace.seconds):
        return  # not promised, or the play ended first
    if not result.told_s <= result.due_s + SLACK_S:
        result.missed = f"{strike.name}: told after {result.told_s:.0f} s, due after {result.due_s:.0f} s"
    elif strike.stops and told is not None and told.heat_ok:
        result.broken.append(f"3: {strike.name} is told and heat still allowed")
    elif strike.within in (at_rest, self_test, by_heat, by_asking) and not result.masked and _started(built, trace):
        result.broken.append(f"2: a hold began with {strike.name}")
    elif strike.ends in ("condemned", "passed"):
        retests = [event["passed"] for event in trace.events if event.get("event") == "retested"]
        if retests and retests[0] != (strike.ends == "passed"):
            result.broken.append(f"3: the retest should have {strike.ends} it")
    elif strike.ends == "off":
        if any(row.heat_ok for row in trace.rows if (row.warn | 1 << row.fault) & wanted):
            result.broken.append(f"3: heat allowed while {strike.name} is told")
    elif strike.ends in ("stays", "cleared"):
        doubted = told is not None and told.warn >> faults.STRONG_HEATER & 1  # tested again first: nothing latched yet
        if not doubted and trace.rows[-1].latched != (strike.ends == "stays"):
            result.broken.append(f"6: after the button the latch should have {strike.ends}")
    elif strike.then is not None and told is not None and told.state in HEATING:
        _judge_end(built, trace, result, told)


def _started(built: Built, trace: Trace) -> bool:
    """Did the self-test let a hold begin over what was broken before it?"""
    before = built.case.phase in BEFORE and built.strikes[0].name != "outside"
    return before and any(row.state == "hold" for row in trace.rows)


def _first(trace: Trace, from_s: float, wanted: int) -> Row | None:
    return next((row for row in trace.rows if row.t_ms >= from_s * 1000 and (row.warn | 1 << row.fault) & wanted), None)


def _judge_end(built: Built, trace: Trace, result: Result, told: Row) -> None:
    """Did the first sign lead to its end, with no heat asked for on the way?"""
    s, strike = built.setting, built.strikes[0]
    assert strike.then is not None
    before = [row.given_w for row in trace.rows if told.t_ms - 600_000 <= row.t_ms <= told.t_ms]
    due_s = told.t_ms / 1000 + strike.then(s.values, s, sum(before) / len(before))
    after = [row for row in trace.rows if row.t_ms >= told.t_ms]
    if strike.within is by_asking and _let_go(after):
        due_s += BELIEVED_S + result.due_s
    if strike.then is by_budget:
        due_s = _budget_s(built, after)
        end = next((row for row in after if row.latched), None)
    elif strike.ends == "latched":
        end = next((row for row in after if row.latched and 1 << row.fault & bits(strike.tells)), None)
    elif strike.ends == "RUN_TIMER":
        end = next((row for row in after if 1 << row.fault & bits((strike.ends,))), None)
    else:
        end = _first(trace, told.t_ms / 1000, bits((strike.ends,)))
    if end is not None:
        result.stopped_s = end.t_ms / 1000 - s.strike_s
        looked_at = strike.then in (both_looks, latching)  # a retest heats by its own bounded pulses
        if looked_at and any(row.heat_ok for row in after if row.t_ms < end.t_ms):
            result.broken.append(f"3: heat allowed while {strike.name} was looked at")
    if due_s + SLACK_S < trace.seconds and not (end is not None and end.t_ms / 1000 <= due_s + SLACK_S):
        result.missed = f"{strike.name}: first sign at {told.t_ms / 1000 - s.strike_s:.0f} s, then not {strike.ends} " \
                        f"by {due_s - s.strike_s:.0f} s (was at {result.stopped_s:.0f} s)"


def _budget_s(built: Built, after: list[Row]) -> float:
    """When the heat given with the warning on was a fall's whole budget, and the lags after it; a rise ends both."""
    s, v, spent_j = built.setting, built.setting.values, 0.0
    budget_j = float(v["trip.out_budget_k"]) * 0.5 * float(v["water_l"]) * BATH_J_PER_LK
    for row in after:
        if not row.warn >> faults.PROBE_OUT & 1 or row.water_c is None:
            break
        spent_j = max(0.0, spent_j + row.given_w - believed_w(v, row.water_c - s.room_c + 2.0))
        if spent_j >= budget_j:
            return row.t_ms / 1000 + 2.0 * (float(v["heater_lag_s"]) + PROBE_LAG_S)
    return math.inf


def _let_go(after: list[Row]) -> bool:
    """Did the look end with heat allowed again? The water fell by itself in it, which reads as losses."""
    rest = next((row for row in after if row.heat_ok or row.latched), None)
    return rest is not None and rest.heat_ok and rest.state == "hold" and not rest.warn >> faults.HEATER_LOST & 1


def due_s(built: Built, trace: Trace) -> float:
    """Seconds from the strike in which it must be told."""
    s, strike = built.setting, built.strikes[0]
    assert strike.within is not None
    if strike.within is by_heat:
        return promised_s(built, trace)
    if strike.within is by_asking:
        return failed_s(built, trace)
    if strike.within is by_surge:
        return surged_s(built, trace)
    if strike.within is by_weakness:
        return weak_s(built, trace)
    if strike.within in (by_fall, by_bowl_fall):
        return fallen_s(built, trace)
    due = strike.within(s.values, s)
    if strike.name in ("switch_shorted", "both_shorted", "outside"):
        if built.case.phase in BEFORE and not _masked(trace):
            return self_test(s.values, s)
        if built.case.phase in BEFORE:  # a bath that moved by itself masked the test: the hold must see it
            rest = _long_rest_ms(trace, 1000 * due)
        else:
            rest = next((row.t_ms for row in trace.rows if row.t_ms >= s.strike_s * 1000 and row.duty == 0.0), None)
        return math.inf if rest is None else due + rest / 1000 - s.strike_s
    return due


def _long_rest_ms(trace: Trace, ms: float) -> float | None:
    """When the first rest of a hold began that lasts so long, or to the end."""
    began = None
    for row in trace.rows:
        if row.state != "hold" or row.duty > 0.0:
            began = None
        elif began is None:
            began = row.t_ms
        elif row.t_ms - began >= ms:
            break
    return began


def promised_s(built: Built, trace: Trace) -> float:
    """When the heat really given, less the losses that must be believed, would have lifted the largest load by 3 K."""
    s, v = built.setting, built.setting.values
    if built.case.phase in BEFORE:
        return self_test(v, s)
    return _spent_s(built, trace, float(v["trip.no_response_expect_k"]) * load_j_per_k(v))


def _spent_s(built: Built, trace: Trace, promise_j: float) -> float:
    """When so much was given above the losses that must be believed, and the lags after it."""
    s, v, spare_j = built.setting, built.setting.values, 0.0
    for row in trace.rows:
        if row.t_ms < s.strike_s * 1000 or row.water_c is None:
            continue
        spare_j += row.given_w - believed_w(v, row.water_c - s.room_c + 2.0)
        spare_j = max(0.0, spare_j)
        if spare_j >= promise_j:
            return row.t_ms / 1000 - s.strike_s + 2.0 * (float(v["heater_lag_s"]) + PROBE_LAG_S)
    return math.inf


def fallen_s(built: Built, trace: Trace) -> float:
    """When a probe that was pulled out has fallen by what must be noticed, with its own lag, to the room's air.

    The water's, where a cold top-up explains all of that fall: when half of its budget of heat is spent.
    """
    s, v, bowl = built.setting, built.setting.values, built.strikes[0].within is by_bowl_fall
    table = s.warmer.rig.plant
    if bowl and v["probe.bowl.kind"] == "none":
        return math.inf
    column, lag_s, seen_k = (2, table.bowl_probe_lag_s, 4.5) if bowl else (1, table.water_probe_lag_s, 1.5)
    before = next((row for row in trace.truth if row[0] >= s.strike_s * 1000), None)
    fall_k = 0.0 if before is None else before[column] - s.room_c
    if before is None or fall_k < seen_k + 0.5:
        return math.inf
    if bowl:  # 1 K a minute is the bowl's own
        seen_k += lag_s * math.log(fall_k / (fall_k - seen_k)) / 60.0 - 0.3
        if fall_k < seen_k + 0.5:
            return math.inf
    top_up_k = 0.0 if bowl else TOP_UP_SHARE * max(0.0, before[column] - TAP_C)
    if fall_k < seen_k + top_up_k + 0.5:
        half_j = 0.5 * float(v["trip.out_budget_k"]) * 0.5 * float(v["water_l"]) * BATH_J_PER_LK
        return _spent_s(built, trace, half_j)
    return lag_s * math.log(fall_k / (fall_k - seen_k - top_up_k)) + 3.0


def failed_s(built: Built, trace: Trace) -> float:
    """When the heat asked for since the heater was lost, had it come, would have lifted the largest load by 1 K, twice.

    And the water has fallen by 0.3 K in each half of that: a bath that stays is promised to nobody.
    """
    s, v = built.setting, built.setting.values
    if built.case.phase in (*BEFORE, *CHECKING):
        return self_test(v, s)
    spare_j, promise_j, base_c, halves = 0.0, load_j_per_k(v), 0.0, 0
    bowl_w_per_k = FILM_W_PER_M2K * wetted_m2(v["chocolate_kg"])
    for row, true in zip(trace.rows, trace.truth, strict=False):
        if row.t_ms < s.strike_s * 1000 or row.water_c is None:
            continue
        away_w = believed_w(v, row.water_c - s.room_c + 2.0) + bowl_w_per_k * max(0.0, row.water_c - true[2] + 1.0)
        spare_j += row.duty * v["heater_w"] - away_w
        if not spare_j > 0.0:
            spare_j, base_c, halves = 0.0, true[1], 0
        elif spare_j >= promise_j and base_c - true[1] >= FELL_K:
            spare_j, base_c, halves = 0.0, true[1], halves + 1
        if halves == 2:
            return row.t_ms / 1000 - s.strike_s + 2.0 * (float(v["heater_lag_s"]) + PROBE_LAG_S)
    return math.inf


def surged_s(built: Built, trace: Trace) -> float:
    """When the reading had risen by more than the heat asked for explains, and the lags after it."""
    s, v, base_c = built.setting, built.setting.values, None
    for row, true in zip(trace.rows, trace.truth, strict=False):
        if row.t_ms < s.strike_s * 1000 or row.water_c is None or row.state != "hold":
            continue
        if base_c is None or row.duty == 0.0 or true[2] > row.water_c - PROBE_ERROR_K:
            base_c = row.water_c
        base_c = min(row.water_c, base_c + 1.5 * row.duty * v["heater_w"] / (0.5 * v["water_l"] * BATH_J_PER_LK))
        if row.water_c - base_c >= float(v["trip.surge_k"]) + TRUE_K:
            return row.t_ms / 1000 - s.strike_s + float(v["heater_lag_s"]) + PROBE_LAG_S
    return math.inf


def weak_s(built: Built, trace: Trace) -> float:
    """The end of the first look in which the water did not fall by itself; there is none where nothing was doubted."""
    doubt, begun_c = 1 << faults.WATER_STUCK, None
    for row in trace.rows:
        if row.t_ms < built.setting.strike_s * 1000 or row.water_c is None:
            continue
        if begun_c is None and row.warn & doubt:
            begun_c = row.water_c
        elif begun_c is not None and not row.warn & doubt:
            return math.inf if row.water_c <= begun_c - FELL_AWAY_K else row.t_ms / 1000 - built.setting.strike_s + 3.0
    return math.inf
