"""What is too large for a heat balance, or comes before it: told by the readings; the truth is what was played."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from played_nights import Truth, play

from bainwright.files.rig import load_rig
from bainwright.happenings import announced, balance, jumps, kinds, search, stray
from bainwright.happenings import words as happening_words
from bainwright.happenings.outside import Course, course
from bainwright.happenings.search import find
from bainwright.happenings.sense import lasting
from bainwright.record.reader import HoldLog
from bainwright.review import night_words

RIG = load_rig("pot")


def log_of(t_s: np.ndarray, bowl_c: np.ndarray, water_c: np.ndarray, events: list[dict[str, object]],
           duty: float | np.ndarray = 0.1) -> HoldLog:
    n = len(t_s)
    return HoldLog({"t_s": t_s, "bowl_c": bowl_c, "water_c": water_c, "bowl_estimated": np.zeros(n),
                    "duty": np.full(n, 1.0) * duty, "stage": np.array(["work"] * n), "state": np.array(["hold"] * n)},
                   facts={"rig": dict(RIG.settings)}, events=events)  # fmt: skip


def test_a_bowl_that_stays_out_is_told_and_its_quiet_half_hour_is_not() -> None:
    """Lifted at 30 min and not set back: a fit would take that for usual, and what was usual for heat from outside."""
    log = play(RIG, dict(RIG.settings), [Truth(1800.0, "lift", 5400.0)], 2.0)
    (fall,) = stray.strays(log)
    assert fall.at_s == pytest.approx(1800.0, abs=120.0)
    assert fall.to_c == pytest.approx(float(np.nanmin(log["bowl_c"])), abs=0.1)
    last = len(log) - 1
    assert fall.over_k == pytest.approx(float(log["water_c"][last] - log["bowl_c"][last]), abs=0.5)
    assert stray.not_balanced([fall]) == [(fall.at_s, fall.end_s)]
    _, found = find(log, dict(RIG.settings), stray.not_balanced([fall]))
    assert found == []
    assert stray.unexplained([fall], found) == [fall]
    assert find(log, dict(RIG.settings))[1] != []  # what is left out says what it would have said


@pytest.mark.parametrize(("poured_c", "said"), [(42.0, "warmer poured in"), (20.0, "colder poured in")])
def test_a_refill_in_the_first_half_hour_is_told_by_its_reading(poured_c: float, said: str) -> None:
    """0.3 kg into 1.0 kg at 31.4 °C, by the rule of mixtures, and a probe with a lag of 15 s."""
    t_s = np.arange(0.0, 3600.0)
    ends_c = (1.0 * 31.4 + 0.3 * poured_c) / 1.3
    late_s = np.maximum(t_s - 1200.0, 0.0)
    bowl_c = 31.4 + (ends_c - 31.4) * (1.0 - np.exp(-late_s / 15.0))
    (jump,) = jumps.jumps(log_of(t_s, bowl_c, np.full(3600, 33.0), []))
    assert (jump.store, jump.from_c) == ("bowl", pytest.approx(31.4, abs=0.1 * abs(ends_c - 31.4)))
    assert jump.at_s == pytest.approx(1200.0, abs=10.0)
    assert jump.to_c == pytest.approx(ends_c, abs=0.1)
    sentence = happening_words.jumped(jump, lambda at_s: "16:24", "water")
    assert f"from {jump.from_c:.1f} to {jump.to_c:.1f} °C in a minute or two" in sentence
    assert said in sentence
    lifted = [{"event": "bowl_off", "t_s": 1190.0}, {"event": "bowl_on", "t_s": 1400.0}]
    assert jumps.jumps(log_of(t_s, bowl_c, np.full(3600, 33.0), lifted)) == []


def test_a_bath_that_its_heater_warms_does_not_jump_and_hot_water_does() -> None:
    """By hand: 0.8 of 2.5 L at 33 °C swapped for 55 °C is 33 + 22 x 0.8 / 2.5; full heat is P / (c V)."""
    t_s = np.arange(0.0, 3600.0)
    full_k_per_s = float(RIG.settings["heater_w"]) / (4186.0 * float(RIG.settings["water_l"]))
    heated = 20.0 + full_k_per_s * np.minimum(t_s, 1500.0)
    assert jumps.jumps(log_of(t_s, np.full(3600, 31.4), heated, [], np.where(t_s < 1500.0, 1.0, 0.0))) == []
    poured_c = 33.0 + 22.0 * 0.8 / 2.5
    (jump,) = jumps.jumps(log_of(t_s, np.full(3600, 31.4), np.where(t_s < 1320.0, 33.0, poured_c), []))
    assert (jump.store, jump.from_c, jump.to_c) == ("water", 33.0, pytest.approx(poured_c))
    assert "Did hot water come in" in happening_words.jumped(jump, lambda at_s: "16:24", "water")


def test_what_was_announced_or_is_in_the_balance_is_told_once() -> None:
    """A jump from 100 s on, beside a refill that was announced from 0 to 130 s, and one that the balance has at 700."""
    jump = jumps.Jump(100.0, 60.0, "bowl", 31.9, 36.8, 33.0)
    refill = announced.Announced(announced.REFILL, 0.0, 130.0, 130.0, None, (31.4, 36.8))
    assert jumps.unexplained([jump], [], [refill]) == []
    assert jumps.unexplained([jump], [], [replace(refill, bowl_c=None)]) == [jump]
    assert jumps.unexplained([replace(jump, store="water")], [], [refill]) != []
    poured = kinds.Happening(700.0, 0.0, kinds.WARM_REFILL, 0.0, 900.0, 0.0, 0.5, 30.0)
    assert jumps.unexplained([jump, replace(jump, at_s=690.0)], [poured], []) == [jump]


@pytest.mark.parametrize(("kind", "bowl_k", "read_c"), [
    (kinds.COLD_REFILL, -0.3, (31.0, 31.0)), (kinds.WARM_REFILL, 0.3, (31.0, 30.9))])
def test_a_refill_that_the_bowl_does_not_read_is_none(kind: str, bowl_k: float, read_c: tuple[float, float]) -> None:
    t_s = np.arange(0.0, 600.0)
    each = kinds.Happening(300.0, 0.0, kind, 0.0, 900.0 * bowl_k, 0.0, bowl_k, 16.0)
    (read,) = lasting(t_s, np.where(t_s < 300.0, *read_c), [each])
    assert not search._is_read(read)
    (read,) = lasting(t_s, np.where(t_s < 300.0, 31.0, 31.0 + bowl_k), [each])
    assert read.read_k == pytest.approx(bowl_k, abs=0.02)
    assert search._is_read(read)


def test_a_window_left_for_good_ends_its_time_in_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """In it from 0 to 600 s, and below to the end: "but not" would end where the time in it ends."""
    t_s = np.arange(0.0, 3600.0)
    found = course(t_s, np.where(t_s < 600.0, 31.5, 29.0), 31.0, 32.0, np.full(3600, 5.0))
    assert isinstance(found, Course)
    monkeypatch.setattr(night_words, "clock", lambda night, at_s: f"{at_s:.0f} s")
    said = night_words._course(type("Whole", (), {"gaps": []})(), found)  # type: ignore[arg-type]
    assert said == ("By the readings it was in its window from 0 s to 600 s. Then it was below it until 3599 s (down "
                    "to 29.0 °C).")


def test_an_unannounced_pour_leaves_room_for_a_probe_that_moved() -> None:
    each = kinds.Happening(700.0, 0.0, kinds.COLD_REFILL, 0.0, -900.0, 0.0, -1.9, 130.0)
    assert "at once, unless its probe moved." in happening_words.sentence(each, 33.0, lambda at_s: "18:35")
    assert happening_words.sentence(each, 33.0, lambda at_s: "18:35", known=True).endswith("by 1.9 °C at once.")


def test_a_fall_begins_where_the_reading_was_level() -> None:
    """31.50 for four minutes, level at 31.31 to 0:49, and then 2.5 °C down in a quarter of an hour, over 37 °C."""
    t_s = np.arange(0.0, 3900.0)
    bowl_c = np.where(t_s < 240.0, 31.5, 31.3125) - 2.5 / 900.0 * np.clip(t_s - 2940.0, 0.0, 900.0)
    (fall,) = stray.strays(log_of(t_s, bowl_c, np.full(3900, 37.0), []))
    assert fall.at_s == pytest.approx(2940.0, abs=60.0)
    assert fall.from_c == pytest.approx(31.3, abs=0.1)


def test_a_hold_is_balanced_once_its_bowl_was_near_for_ten_minutes_and_not_while_it_melts_again() -> None:
    """By hand: through its target at 240 s on the way down to 34, back at 2400 s; set at 4000 s, back at 5000 s."""
    t_s = np.arange(0.0, 7000.0)
    times, bowl_c = [0, 240, 600, 2400, 3900, 4000, 5000, 7000], [42.0, 40.0, 34.0, 40.0, 40.0, 20.0, 40.0, 40.0]
    log = log_of(t_s, np.interp(t_s, times, bowl_c), np.full(7000, 42.0), [])
    log.columns["target_c"] = np.full(7000, 40.0)
    settled = balance._settled(log, t_s)
    first = t_s[settled][0]
    assert first == pytest.approx(2400.0 - 300.0 + 600.0, abs=10.0)  # within a degree it is 300 s before
    assert not settled[(t_s > 3950.0) & (t_s < 5000.0 + 500.0)].any()
    assert settled[t_s > 5610.0].all()
