"""Melted stock overnight: what it asks before, and what it says afterwards."""

import numpy as np
import pytest

from bainwright.core.errors import UseError
from bainwright.evening.options import HoldRequest, ask_about_stock, resolve
from bainwright.files.score import READINGS, Trace, Window
from bainwright.record.reader import HoldLog
from bainwright.report.report import judge


class Sleepy:
    """Somebody who answers in turn; what is read as wrong is answered again."""

    def __init__(self, *answers):
        self.answers, self.asked, self.outcome = list(answers), [], []

    def __call__(self, question, usual, read):
        self.asked.append(question)
        while True:
            try:
                return read(self.answers.pop(0) or usual)
            except UseError as wrong:
                self.outcome.append(str(wrong))


def test_melted_stock_is_asked_for_its_kind_and_the_hour_of_waking():
    """Each again when it cannot be; what was typed is not asked for."""
    who = Sleepy("nougat", "Dark", "25:00", "06:30")
    asked = ask_about_stock(HoldRequest("melted", port="/dev/x"), who)
    assert (asked.of, asked.until) == ("dark", "06:30")
    assert "take milk if you do not know" in who.outcome[0]
    assert "wanted a time of day" in who.outcome[1]
    assert resolve(asked).profile.of == "dark"
    assert 0 < resolve(asked).for_s <= 86400
    who = Sleepy("", "")
    asked = ask_about_stock(HoldRequest("melted"), who)
    assert (asked.of, asked.until, len(who.asked)) == ("milk", None, 2)
    assert ask_about_stock(HoldRequest("melted", of="white", for_="8h"), Sleepy()).of == "white"


@pytest.mark.parametrize(
    "asked",
    [HoldRequest("dark"), HoldRequest("melted", virtual="pot"), HoldRequest("melted", join=True),
     HoldRequest("my_stock.toml")],
)
def test_nothing_is_asked_where_it_is_known_or_plays_no_part(asked):
    """Another chocolate, a simulated night, a hold that runs; a file says itself of which kind it is."""
    assert ask_about_stock(asked, Sleepy()) == asked


def test_the_kind_of_stock_is_checked_and_belongs_to_stock_alone():
    with pytest.raises(UseError, match="wanted one of dark, milk"):
        resolve(HoldRequest("melted", of="carob"))
    with pytest.raises(UseError, match="--of is for melted stock"):
        resolve(HoldRequest("dark", of="milk"))


def test_a_night_or_a_rest_after_the_dipping_is_no_temper_gone_wrong():
    """Ten minutes in the window, then ten at 40 °C or on its way down: the work is judged, by its own window."""
    t_s = np.arange(1.0, 1201.0)
    for after, bowl_c in (("melted", 40.0), ("rest", 28.0)):
        bowl = np.where(t_s <= 600.0, 31.5, bowl_c)
        stage = np.array(["work"] * 600 + [after] * 600)
        columns = {"t_s": t_s, "stage": stage, "bowl_c": bowl, "water_c": bowl + 1.0,
                   "water_target_c": bowl + 1.0, "state": np.full(1200, "hold"), "duty": np.zeros(1200)}
        log = HoldLog(columns, facts={}, events=[])
        trace = Trace(t_s, bowl + 1.0, bowl, np.full(1200, 31.5), 1200.0, READINGS, 1.0)
        found = judge(log, trace, "dark", Window(31.0, 31.5, 32.0, 34.5), []).score
        assert found.in_window_fraction == 1.0
        assert not found.left_for_good
