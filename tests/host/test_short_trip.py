"""Trips of one second: one event and one status line of the same moment, and one of the two is lost."""

import pytest
from fake_board import event_line, status_line
from scripted_hold import done, held

from bainwright.evening import following, watch
from bainwright.record.reader import read_log

pytestmark = pytest.mark.usefixtures("undrawn")

TRIP = event_line("trip", 2, 11_000, fault=1, latched=False)
STARTED = event_line("started", 1, 0, check_s=1)
OFF = {"state": "off", "fault": 1, "water": None, "duty": 0}


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def lines(begin, end, **fields):
    return [status_line(at, 1000 * at, **fields) for at in range(begin, end + 1)]


def told(script):
    """The trips of a hold of 30 s, in its result, its log and on the screen, and what else was said of them."""
    runner, ended, outcome = held([STARTED, *script, done(9)])
    ended.watch.log.close()
    logged = [event["t_s"] for event in read_log(ended.watch.log.folder).events if event["event"] == "trip"]
    assert logged == [trip["t_s"] for trip in outcome.result["trips"]]
    shown = [t_s for t_s, text in runner.view.events if "heat off: " in text]
    assert shown == logged
    assert outcome.exit_code == bool(logged)
    return logged, runner.view


@pytest.mark.parametrize("late", [None, 3, 12])
def test_its_line_tells_of_a_trip_whose_event_was_lost_or_comes_late(late):
    """"No trips", and exit status 0, of a warmer that had switched its heat off."""
    script = [*lines(1, 10), *lines(11, 11, **OFF), *lines(12, 30)]
    if late is not None:
        script.insert(10 + late, TRIP)
    logged, view = told(script)
    assert logged == [11.0]
    assert [text for _, text in view.events if text.startswith(following.OVER)] != []
    assert view.said == []  # "Safe. The heat is off" is not so any more


def test_its_event_tells_of_a_trip_whose_line_was_lost():
    """It was taken for another board's, since no line bore it out."""
    logged, view = told([*lines(1, 10), TRIP, *lines(12, 30)])
    assert logged == [11.0]
    assert watch.GOES_ON not in [text for _, text in view.events]


@pytest.mark.parametrize("moment_ms", [0, 9_000, 10_000, 700_000])
def test_an_event_of_another_moment_than_the_lost_line_s_is_another_board_s(moment_ms):
    trip = event_line("trip", 2, moment_ms, fault=1, latched=False)
    assert told([*lines(1, 10), trip, *lines(12, 30)])[0] == []


@pytest.mark.parametrize("number", [11, 12])
def test_a_line_that_names_a_fault_is_another_board_s_where_the_hold_s_own_have_its_number(number):
    stray = status_line(number, 11_500, **OFF)
    assert told([*lines(1, 11), stray, *lines(12, 30)])[0] == []


def test_the_next_trip_of_the_same_fault_is_told_too():
    """Also by its event alone."""
    script = [*lines(1, 10), *lines(11, 11, **OFF), *lines(12, 20)]
    second = event_line("trip", 3, 21_000, fault=1, latched=False)
    assert told([*script, second, *lines(21, 23, **OFF), *lines(24, 30)])[0] == [11.0, 21.0]


def test_an_event_that_comes_late_has_its_own_time():
    """It was written down with the moment at which it came."""
    script = [*lines(1, 20), event_line("lock", 4, 20_500, at="on"), event_line("warn", 3, 13_000, fault=4)]
    runner, ended, _ = held([STARTED, *script, *lines(21, 30), done(9)])
    ended.watch.log.close()
    assert [t_s for t_s, text in runner.view.events if text.startswith("warning")] == [13.0]
    assert [event["t_s"] for event in read_log(ended.watch.log.folder).events if event["event"] == "warn"] == [13.0]
