"""Durations, rooms and speeds as people type them."""

import time
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bainwright.archive.listing import Entry
from bainwright.core import units
from bainwright.core.errors import UseError
from bainwright.core.units import clock_words, duration_words, parse_duration_s, parse_room_c, parse_speed


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("3h40m", 13200), ("90m", 5400), ("45s", 45), ("1h", 3600), ("1.5h", 5400), ("2h 5m 3s", 7503), ("48h", 172800)],
)
def test_durations_are_read(text, seconds):
    """Hours, minutes and seconds with their letters."""
    assert parse_duration_s(text) == seconds


@pytest.mark.parametrize(
    "text", ["", "90", "3:40", "-5m", "0s", "49h", "1h1h", "5x", "m", "nan", "1e9h", "٣h", "10m 3h"]
)
def test_nonsense_durations_are_refused_with_the_option_named(text):
    """Also Arabic digits, which Python's isdigit would take."""
    with pytest.raises(UseError, match="--for"):
        parse_duration_s(text)


def test_a_bare_number_is_asked_back():
    """90 minutes or seconds, but 3 hours or minutes."""
    for typed, meant in (("90", "90m or 90s"), ("3", "3h or 3m")):
        with pytest.raises(UseError, match=f"did you mean {meant}"):
            parse_duration_s(typed)


@given(st.integers(1, 48 * 3600))
def test_a_duration_written_on_the_clock_reads_back(seconds):
    """Hours, minutes, seconds of any whole second up to 48 h."""
    hours, minutes, rest = clock_words(seconds).split(":")
    assert parse_duration_s(f"{hours}h{minutes}m{rest}s") == seconds


@pytest.mark.parametrize(
    ("text", "room_c"), [("20", 20), ("18.5", 18.5), ("20C", 20), ("20 °C", 20), ("5", 5), ("40", 40)]
)
def test_rooms_are_read(text, room_c):
    """Degrees Celsius, with or without the letter."""
    assert parse_room_c(text) == room_c


@pytest.mark.parametrize(("text", "room_c"), [("68F", 20), ("50 F", 10), ("104°F", 40), ("41f", 5)])
def test_rooms_in_fahrenheit_are_read_with_their_letter(text, room_c):
    """68 °F is 20 °C, by the scale's own definition."""
    assert parse_room_c(text) == pytest.approx(room_c, abs=1e-9)


@pytest.mark.parametrize("text", ["68", "104", "50"])
def test_a_room_without_its_letter_that_can_only_be_fahrenheit_is_asked_back(text):
    with pytest.raises(UseError, match=f"looks like °F.*--room {text}F"):
        parse_room_c(text)


@pytest.mark.parametrize("text", ["4", "-20", "200", "nan", "inf", "warm", "", "nanF", "110F", "20F"])
def test_impossible_rooms_are_refused(text):
    """Outside 5 to 40 °C, or no number."""
    with pytest.raises(UseError, match="--room"):
        parse_room_c(text)


def test_speeds_are_read():
    """A multiple of real time, or max."""
    assert parse_speed("max") is None
    assert parse_speed("60") == 60
    assert parse_speed("0.5x") == 0.5


@pytest.mark.parametrize("text", ["0", "-1", "nan", "inf", "fast", "", "1e9"])
def test_impossible_speeds_are_refused(text):
    """A speed is never zero or negative."""
    with pytest.raises(UseError, match="--speed"):
        parse_speed(text)


def test_durations_are_said_as_people_say_them():
    """Seconds, then minutes, then hours and minutes."""
    assert [duration_words(s) for s in (45, 120, 3600, 13200, 7230)] == ["45 s", "2 min", "1 h", "3 h 40 min", "2 h"]


@pytest.mark.parametrize(("started", "span_s", "shown"), [
    ("2026-10-25T00:40:00+00:00", 960.0, "02:40 CEST 02:56 CEST"),
    ("2026-10-25T00:40:00+00:00", 2640.0, "02:40 CEST 02:24 CET"),  # the clocks went back at 03:00
    ("2026-03-29T00:40:00+00:00", 2640.0, "01:40 CET 03:24 CEST"),  # and on at 02:00
])
def test_a_moment_after_the_clocks_were_changed_is_by_the_clock_on_the_wall(started, span_s, shown, monkeypatch):
    """European summer time, Directive 2000/84/EC: from the last Sunday in March to that in October, at 1:00 UTC."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    try:
        began = datetime.fromisoformat(started).astimezone()
        ended = units.after(began, span_s)
        assert f"{began:%H:%M %Z} {ended:%H:%M %Z}" == shown
        entry = Entry("f", "dark-1", started_s=began.timestamp(), duration_s=span_s)
        assert entry.ended_at == ended
        assert entry.ended_at.strftime("%H:%M") == ended.strftime("%H:%M")
    finally:
        monkeypatch.undo()
        time.tzset()
