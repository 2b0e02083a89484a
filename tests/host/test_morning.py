"""The sentence of the morning, from nights made up here: what happened is known, so what must be said is."""

from __future__ import annotations

import numpy as np
import pytest

from bainwright.files.chocolate import load_profile, window_at
from bainwright.files.rig import load_rig
from bainwright.record.reader import HoldLog
from bainwright.report import morning

MELTED = load_profile("melted")
WINDOW = window_at(MELTED, "melted")


def night(bowl_c, *events, hours=8.0, **facts):
    """A log of melted stock: bowl temperatures spread evenly over the hours."""
    t_s = np.arange(0.0, hours * 3600.0 + 1.0, 60.0)
    bowl = np.interp(t_s, np.linspace(0.0, t_s[-1], len(bowl_c)), bowl_c)
    columns = {"t_s": t_s, "stage": np.array(["melted"] * len(t_s)), "bowl_c": bowl, "water_c": bowl + 2.0}
    return HoldLog(columns, facts=facts, events=[{"event": name, "t_s": 0.0} for name in events])


def said(log, remelt_s=None, **more):
    return morning.sentence(log, WINDOW, MELTED.never_above_c, remelt_s, **more)


def test_a_quiet_night_is_said_in_one_breath():
    assert said(night([40.2, 39.6, 40.4])) == "40 ± 1 °C for 8 h, no trip, fit to temper"


def test_a_board_that_restarted_promises_nothing_of_what_came_after():
    """The log ends there, and the stock may have set since; what was too hot before stays unfit."""
    assert said(night([40.2, 39.6, 40.4]), went_off=True) == (
        "40 ± 1 °C for 8 h, no trip, then the heat went off: look at it before you temper it")
    assert "NOT fit to temper" in said(night([40.0, 52.0, 40.0]), went_off=True)
    assert "melt it all, then it is fit" in said(night([40.0, 40.0, 33.0]), went_off=True)


def test_the_way_up_is_not_the_night():
    log = night([20.0, 40.0, 40.0, 40.0, 40.0])
    assert said(log).startswith("40 ± 1 °C for ")
    assert said(log).endswith("no trip, fit to temper")


def test_the_night_s_headline_is_what_was():
    """Two thirds at 40.0 °C and then down to 38.5: within 1.5, which is not 1; a single dip is named beside it."""
    assert said(night([40.0, 40.0, 40.0, 38.5])).startswith("40 ± 2 °C for 8 h")
    dip = night([40.0] * 40 + [38.2] + [40.0] * 40)
    assert said(dip).startswith("40 ± 1 °C nearly always (38.2 °C at its coldest) for 8 h")


def test_a_trip_and_a_dip_are_said():
    assert said(night([40.0, 33.0, 40.0], "trip")) == (
        "between 33 and 40 °C for 8 h, 1 trip, it fell to 33 °C on the way: stir it and melt it all, "
        "then it is fit to temper")


def test_stock_that_was_too_hot_is_not_fit_to_temper():
    """50 °C for milk: casein denatures and grains form (Coady)."""
    assert "NOT fit to temper: it was at 52 °C" in said(night([40.0, 52.0, 40.0]))


def test_stock_that_set_says_since_when_by_the_clock_and_how_long_melting_takes():
    log = night([40.0, 40.0, 20.0, 20.0], started="2026-01-10T22:00:00+00:00", hours=9.0)
    text = said(log, 9580.0)
    assert text.startswith("set since ")
    assert text.endswith("; re-melting takes about 2 h 40 min")
    set_s = (3.0 + 3.0 * 15.0 / 20.0) * 3600.0  # 40 to 25 °C on a line to 20 °C over three hours
    virtual = said(night([40.0, 40.0, 20.0, 20.0], VIRTUAL=True, hours=9.0))
    assert virtual == f"set since {int(set_s // 3600)}:{int(set_s // 60 % 60) + 1:02d}:00"


def test_a_night_that_never_got_warm_or_was_never_read_says_nothing():
    assert said(night([20.0, 25.0])) == ""
    assert said(night([float("nan"), float("nan")])) == ""


def test_re_melting_takes_longer_from_colder_and_has_no_time_where_it_cannot_be():
    pot = dict(load_rig("pot").settings)
    from_20 = morning.remelt_s(night([20.0, 20.0]), "milk", WINDOW, pot, 20.0)
    from_30 = morning.remelt_s(night([30.0, 30.0]), "milk", WINDOW, pot, 20.0)
    assert from_30 < from_20 < 3 * 3600.0
    # From 20 °C 2.2 kg to 39 °C take 1590 J/kg·K and 44 kJ/kg (Beckett), 2 L of water to 42 °C 4180 J/kg·K: 347 kJ,
    # with no loss at all, at 150 W.
    assert from_20 > 2300.0
    assert morning.remelt_s(night([20.0, 20.0]), "milk", WINDOW, {**pot, "heater_w": 8.0}, 20.0) is None
    assert morning.remelt_s(night([float("nan")] * 2), "milk", WINDOW, pot, 20.0) is None


@pytest.mark.parametrize("name", ["dark", "milk", "white", "ruby", "caramelised_white"])
def test_any_chocolate_may_be_held_at_forty_degrees(name):
    """40 °C overnight unless the kind's own cap says less: common practice, no source."""
    window = window_at(load_profile(name), "melted")
    assert (window.low_c, window.target_c, window.high_c) == (39.0, 40.0, 41.0)
    assert window.ceiling_c == 45.0
    assert not window.tempered
