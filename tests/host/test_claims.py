"""Events of another board on the wire that say whether there is heat, or silence the warnings of a bowl."""

import pytest
from fake_board import event_line, status_line
from scripted_hold import done, runner_of

from bainwright.evening import endings, watch
from bainwright.evening.claims import Claims, Event
from bainwright.link.messages import decode
from bainwright.record.reader import read_log


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def lines(begin, end, **fields):
    """The lines of some seconds of a hold."""
    return [status_line(at, 1000 * at, **fields) for at in range(begin, end + 1)]


def played(script):
    """The hold of a script of 30 s: its watch, and what its log has as events."""
    course = runner_of([*script, done(9)]).run().watch
    course.log.close()
    return course, [event["event"] for event in read_log(course.log.folder).events][:-1]


@pytest.mark.parametrize("name", ["paused", "water_low", "cleared"])
def test_an_event_that_no_line_of_the_hold_bears_out_does_not_count(name):
    """"Pause: the heat is off" was read of a warmer that heats, and never taken back."""
    course, events = played([*lines(1, 20), event_line(name, 4, 20_000), *lines(21, 30)])
    assert events == []
    assert [text for _, text in course.scene.events if text.startswith(watch.REFUTED)] != []
    assert not [text for _, text in course.scene.events if text.startswith(("pause", "the water is low", "the trip"))]


@pytest.mark.parametrize("late", [0, 2])
@pytest.mark.parametrize("name", ["paused", "water_low"])
def test_a_pause_that_the_lines_show_counts_at_once(name, late):
    """At its own moment; also where its event comes two lines late."""
    paused = lines(11, 20, state="pause", duty=0)
    paused.insert(late, event_line(name, 4, 11_000))
    course, events = played([*lines(1, 10), *paused, event_line("resumed", 5, 21_000), *lines(21, 30)])
    assert events == [name, "resumed"]
    assert course.log.trouble is None


def test_a_pause_between_two_lines_counts():
    """It was pressed twice within a second."""
    both = [event_line("paused", 4, 11_000), event_line("resumed", 5, 11_000)]
    assert played([*lines(1, 10), *both, *lines(11, 30)])[1] == ["paused", "resumed"]


def test_a_trip_that_was_cleared_at_the_warmer_is_told_so():
    """Its lines at rest bear it out."""
    tripped = [event_line("trip", 3, 11_000, fault=1, latched=True), *lines(11, 15, state="trip", fault=1, duty=0)]
    resting = [status_line(at, 0, state="idle", stage="", duty=0, on=0) for at in range(16, 20)]
    course = runner_of([*lines(1, 10), *tripped, event_line("cleared", 4, 0), *resting]).run().watch
    assert (course.ended, course.scene.events[-1][1]) == (endings.TRIPPED, "the trip was cleared at the warmer")


@pytest.mark.parametrize(("t_ms", "number", "away"), [(21_000, 4, True), (20_000, 4, False), (7_000_000, 900, False)])
def test_the_bowl_is_lifted_only_by_an_event_of_the_hold_s_own_moment(t_ms, number, away):
    """Nobody is warned of its window meanwhile. A board sends an event with the time of the line that follows."""
    script = [*lines(1, 20), event_line("bowl_off", number, t_ms), *lines(21, 30)]
    course, events = played([event_line("started", 3, 1000), *script])
    assert (course.scene.bowl_away, "bowl_off" in events) == (away, away)


def test_the_bowl_is_lifted_where_the_line_after_it_was_lost_or_the_event_passed_over():
    """Then its moment says nothing."""
    script = [*lines(1, 20), event_line("bowl_off", 4, 21_000), *lines(22, 30)]
    assert played(script)[0].scene.bowl_away
    late = [event_line("lock", 4, 20_500, at="on"), *lines(21, 23), event_line("bowl_off", 3, 20_000)]
    assert played([event_line("started", 2, 1000), *lines(1, 20), *late, *lines(24, 30)])[0].scene.bowl_away


def test_what_waits_for_a_line_that_never_comes_is_asked_of_the_board():
    """Without an answer it counts: a board that was unplugged in a pause was paused."""
    for state, counts in (("pause", 1), ("hold", 0), (None, 1)):
        claims = Claims()
        assert claims.keeps(Event(9000, 9000, False, {"event": "paused"}))
        assert not claims.keeps(Event(9000, 9000, False, {"event": "stage", "stage": "seed"}))
        assert len(claims.ask(state)) == counts
        assert claims.see(decode(status_line(9, 9000).strip()), next_one=True) == ([], [])
