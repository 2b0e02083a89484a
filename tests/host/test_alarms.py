"""Alarms: which call is due when, and how a hold sends them without waiting."""

import io
import itertools
import json
import threading
import time
from datetime import datetime

import pytest
from page_tools import scene_at

from bainboard import faults, help_text
from bainwright.alarms.alarm_view import AlarmView
from bainwright.alarms.channels import text_of
from bainwright.alarms.rules import AGAIN_S, COMING_S, SILENT_S, THEN_EACH_S, Alarm, Coming, Rules, cause_of
from bainwright.alarms.sender import Sender, outcome
from bainwright.display.view import PlainLines
from bainwright.live.live_hold import LiveHold

ALARM = Alarm("ask pour", True, "The warmer asks for you", "pour the refill in now; $(rm) `x` {} 'q'")


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """Deliveries are recorded below the test's own folder."""
    monkeypatch.chdir(tmp_path)


def calling(**status):
    """A hold that asks for somebody."""
    scene = scene_at(**{"ask": "pour", **status})
    scene.calling, scene.prompt = True, "pour the refill in now"
    return scene


def calls(rules, scene, until_s, silent_s=0.0):
    """When the rules call, looked at each second."""
    return [t_s for t_s in range(until_s) if rules.due(scene, silent_s, float(t_s))]


# -- when --------------------------------------------------------------------------------------------------------------


def test_a_question_is_called_again_and_again_until_it_is_answered():
    """At once, after one, three and six minutes, then every five; the next question calls at once."""
    rules, scene = Rules(Coming()), calling()
    expected = [*map(int, AGAIN_S), *(int(AGAIN_S[-1] + THEN_EACH_S * more) for more in (1, 2))]
    assert calls(rules, scene, 1000) == expected
    assert rules.due(scene_at(), 0.0, 1001.0) is None
    assert rules.due(calling(ask="stir"), 0.0, 1002.0).call == 1


def test_a_question_that_is_asked_again_calls_anew_and_at_most_once_a_minute():
    """Whoever answered is there; the next time is another alarm."""
    rules = Rules(Coming())
    asks, quiet = calling(), scene_at()
    at_s = [t_s for t_s in range(300) if rules.due(asks if t_s % 10 else quiet, 0.0, float(t_s))]
    assert at_s == [1, 61, 121, 181, 241]
    assert rules.due(quiet, 0.0, 299.5) is None
    assert rules.due(asks, 0.0, 300.0) is None
    assert rules.due(asks, 0.0, 301.0).call == 1


@pytest.mark.parametrize("fields", [{"state": "trip", "fault": faults.OVER_HARD_LIMIT}, {}])
@pytest.mark.parametrize("period_s", [2, 20, 65, 130])
def test_what_comes_and_goes_calls_no_more_often_than_what_stays(fields, period_s):
    """A loose plug, or a board that reports now and then: it is one alarm, and each call of its plan is made as soon as
    it is there again.
    """
    rules, quiet, ill, silent_s = Rules(Coming()), scene_at(), scene_at(**fields), 0.0 if fields else 70.0
    at_s = [t_s for t_s in range(3600)
            if rules.due(*((quiet, 1.0) if t_s % period_s else (ill, silent_s)), float(t_s))]  # fmt: skip
    planned = calls(Rules(Coming()), ill, 3600, silent_s)
    assert len(planned) - 2 <= len(at_s) <= len(planned)
    assert at_s[0] == 0
    assert all(later - earlier >= AGAIN_S[1] for earlier, later in itertools.pairwise(at_s))


def test_what_is_gone_for_long_is_a_new_alarm():
    """Ten minutes later it calls at once, as the first time."""
    rules, tripped = Rules(Coming()), scene_at(state="trip", fault=faults.OVER_HARD_LIMIT)
    assert rules.due(tripped, 0.0, 0.0).call == 1
    assert calls(rules, scene_at(), 600) == []
    assert rules.due(tripped, 0.0, 600.0).call == 1


def test_two_alarms_that_take_turns_are_two_and_no_more():
    """A question that a silent board hides for moments was not answered."""
    rules, asks = Rules(Coming()), calling()
    got = [rules.due(asks, 70.0 if t_s % 20 < 10 else 1.0, float(t_s)) for t_s in range(1200)]
    causes = [alarm.cause for alarm in got if alarm]
    assert causes.count("silent") <= 6
    assert causes.count("ask pour") <= 6


def test_warnings_that_come_and_go_are_each_sent_once():
    """Alone, together, and in turns."""
    rules, one, other = Rules(Coming()), 1 << faults.BOWL_PROBE, 1 << faults.HEAT_FROM_OUTSIDE
    sent = []
    for at, warn in enumerate([one, 0, one, one | other, other, one, 0, other, one | other]):
        sent.append(rules.due(scene_at(warn=warn), 0.0, float(at)))
        if sent[-1]:
            rules.arrived(sent[-1])
    assert [each is not None for each in sent] == [True, False, False, True, False, False, False, False, False]


def test_what_can_wait_is_tried_again_until_one_way_took_it():
    """The mail server restarts, or the Wi-Fi is away for ten minutes."""
    rules, scene = Rules(Coming()), scene_at(warn=1 << faults.BOWL_PROBE)
    assert calls(rules, scene, 400) == [*map(int, AGAIN_S)]
    rules.arrived(cause_of(scene, 0.0))
    assert [t_s for t_s in range(400, 5000) if rules.due(scene, 0.0, float(t_s))] == []


@pytest.mark.parametrize("number", [row[faults.NUMBER] for row in faults.FAULTS[1:]])
def test_a_warning_never_says_that_the_heat_was_switched_off(number):
    """The warmer holds on: each fault's reaction is in the firmware's table."""
    alarm = cause_of(scene_at(warn=1 << number), 0.0)
    if alarm is None:
        return
    assert "It switched off" not in alarm.words
    assert "Clear the trip" not in alarm.words
    if faults.row(number)[faults.REACTION] != faults.WARN:
        assert "the warmer keeps holding" in alarm.words


def test_whoever_comes_is_coming_although_the_alarm_flickers():
    """Also for the page, which reads it from the hold."""
    hold, tripped = LiveHold(), scene_at(state="trip", fault=faults.OVER_HARD_LIMIT)
    hold.put(tripped, 0.0, 0.0)
    hold.coming.say(1.0)
    for now_s, scene in ((2.0, scene_at()), (3.0, tripped)):
        hold.put(scene, now_s, now_s)
    assert hold.latest.get().now.coming


def test_a_later_call_says_how_long_it_waited():
    """So that whoever hears it knows that others did not."""
    rules = Rules(Coming())
    assert "unanswered" not in rules.due(calling(), 0.0, 0.0).title
    second = rules.due(calling(), 0.0, 180.0)
    assert "call 2" in second.title
    assert "3 min unanswered" in second.title


def test_whoever_comes_for_a_refill_is_called_at_once_for_a_fault():
    """They know of no fault yet, and may be five minutes away."""
    coming = Coming()
    rules = Rules(coming)
    assert rules.due(calling(), 0.0, 0.0)
    coming.say(10.0)
    assert rules.due(calling(), 0.0, 70.0) is None
    assert rules.due(scene_at(state="trip", fault=faults.OVER_HARD_LIMIT), 0.0, 71.0).call == 1


def test_whoever_is_coming_stops_the_calls_for_five_minutes_and_no_longer():
    """If nobody came, they start again."""
    coming = Coming()
    rules, scene = Rules(coming), calling()
    rules.due(scene, 0.0, 0.0)
    coming.say(10.0)
    resumed = next(t_s for t_s in range(10, 1000) if rules.due(scene, 0.0, float(t_s)))
    assert resumed == 10 + COMING_S


@pytest.mark.parametrize(("number", "stage", "now"), [
    (faults.OVER_HARD_LIMIT, "melted", True), (faults.HEAT_AT_REST, "rest", True), (faults.WATER_PROBE, "work", True),
    (faults.WATER_PROBE, "melted", False), (faults.RUN_TIMER, "melted", False),
])  # fmt: skip
def test_a_fault_calls_as_the_fault_table_has_it(number, stage, now):
    """To be unplugged: now. Safe: in the morning, unless chocolate in temper cools meanwhile."""
    alarm = cause_of(scene_at(fault=number, stage=stage, state="trip"), 0.0)
    assert alarm.now is now
    assert alarm.words


def test_what_can_wait_for_the_morning_is_sent_once():
    """A warning that stays all night."""
    scene, rules = scene_at(warn=1 << faults.BOWL_PROBE | 1 << faults.HEAT_FROM_OUTSIDE), Rules(Coming())
    rules.arrived(rules.due(scene, 0.0, 0.0))
    assert calls(rules, scene, 5000) == []
    title = cause_of(scene, 0.0).title
    for number in (faults.BOWL_PROBE, faults.HEAT_FROM_OUTSIDE):
        assert help_text.FAULTS[number][0] in title


def test_a_warning_that_the_step_causes_itself_calls_nobody():
    """Cold water while seeding cools the probe fast."""
    assert cause_of(scene_at(warn=1 << faults.PROBE_OUT, stage="seed"), 0.0) is None
    assert cause_of(scene_at(warn=1 << faults.PROBE_OUT, stage="work"), 0.0) is not None


def test_silence_is_an_alarm_because_a_dead_board_cannot_send_one():
    """After a minute."""
    assert cause_of(scene_at(), SILENT_S - 0.1) is None
    assert cause_of(scene_at(), SILENT_S).cause == "silent"


def test_a_quiet_hold_calls_nobody():
    """Nor does a question that can wait."""
    assert calls(Rules(Coming()), scene_at(), 500) == []
    assert calls(Rules(Coming()), scene_at(ask="setting"), 500) == []


# -- sending -----------------------------------------------------------------------------------------------------------


class Slow:
    """A channel that waits until it may deliver."""

    name = "slow"

    def __init__(self):
        self.go, self.got = threading.Event(), []

    def deliver(self, alarm):
        self.go.wait(10)
        self.got.append(alarm)
        return ""


class Broken:
    """A channel with an error of its own."""

    name = "broken"

    def deliver(self, _):
        raise KeyError("x")


def test_a_slow_channel_delays_nothing_and_a_full_one_is_reported():
    """Six alarms at once; the hold's thread returns each time."""
    slow = Slow()
    with Sender([slow]) as sender:
        for _ in range(6):
            sender.send(ALARM)
        assert any("still busy" in each.words for each in sender.results())
        slow.go.set()
    assert 4 <= len(slow.got) <= 5


def test_a_program_that_hangs_is_not_said_to_be_a_warmer_without_power():
    """Who watches through it hears nothing of the board either; the warmer needs no PC."""
    scene = scene_at()
    scene.unheard_s = 61.0
    alarm = cause_of(scene, 61.0)
    assert alarm.title.startswith("No word for 61 s from the program that runs the hold")
    assert "cable" not in alarm.words
    assert "The warmer needs no PC: look at it, then at the PC" in alarm.words
    scene.unheard_s = 0.0
    assert cause_of(scene, 61.0).title.startswith("No word from the warmer")


def test_an_alarm_that_arrives_late_says_when_it_was_called(monkeypatch):
    """One behind a way that hangs, or in a phone's push service, may be read when all is over."""
    times = iter(["2026-02-03T02:14:05+01:00", "2026-02-03T02:15:07+01:00"])

    class Clock:
        now = staticmethod(lambda: datetime.fromisoformat(next(times)))

    monkeypatch.setattr("bainwright.alarms.sender.datetime", Clock)
    slow = Slow()
    with Sender([slow]) as sender:
        sender.send(ALARM)
        sender.send(ALARM)
        slow.go.set()
    assert [datetime.fromisoformat(alarm.at).timestamp() for alarm in slow.got] == [
        datetime.fromisoformat(at).timestamp() for at in ("2026-02-03T02:14:05+01:00", "2026-02-03T02:15:07+01:00")]
    late = ALARM._replace(at="2026-02-03T02:14:05+01:00")
    assert text_of(late) == f"{ALARM.headline}\n{ALARM.words}\nAt 02:14."


def test_at_the_end_what_is_on_its_way_arrives_and_what_waits_is_recorded(monkeypatch, tmp_path):
    """Nothing is swallowed, and no command outlives the program that started it."""
    monkeypatch.setattr("bainwright.alarms.sender.ENDS_S", 0.0)
    slow = Slow()
    with Sender([slow]) as sender:
        sender.send(ALARM)
        while sender._lanes[0][1].qsize():  # it is on its way
            time.sleep(0.01)
        sender.send(ALARM._replace(title="later"))
        threading.Timer(0.2, slow.go.set).start()
    lines = [json.loads(line) for line in (tmp_path / "alarms.jsonl").read_text().splitlines()]
    assert [alarm._replace(at="") for alarm in slow.got] == [ALARM]
    assert [(line["title"], line["arrived"]) for line in lines] == [(ALARM.title, True), ("later", False)]
    assert "ended" in lines[1]["why"]


def test_a_channel_that_breaks_is_a_line_and_not_the_end():
    """It is tried again with the next alarm."""
    assert "NOT delivered by broken" in outcome(Broken(), ALARM).words


class Notebook:
    """A view that notes events."""

    def __init__(self):
        self.events = []

    def event(self, _, text):
        self.events.append(text)

    def refresh(self, _):
        return


def test_a_hold_that_ends_because_its_board_is_lost_calls_once_more():
    """From then on nobody would; one that ends otherwise does not."""
    for unwatched, causes in (("lost", ["lost"]), ("unanswered", ["ended"]), ("left", []), ("", []),
                              ("restarted", ["restarted"]), ("resumed", ["resumed"]), ("not_off", ["not_off"])):
        slow, scene = Slow(), scene_at()
        slow.go.set()
        with Sender([slow]) as sender, AlarmView(PlainLines(io.StringIO()), Rules(Coming()), sender) as view:
            view.refresh(scene)
            scene.unwatched = unwatched
        assert [alarm.cause for alarm in slow.got] == causes


def test_every_call_says_which_of_several_warmers_it_is_about(tmp_path):
    """In what a person reads, in what a program gets, and in the record: all holds of a user may share one way."""
    slow, scene = Slow(), calling()
    scene.name = "pot 2"
    slow.go.set()
    with Sender([slow]) as sender, AlarmView(PlainLines(io.StringIO()), Rules(Coming()), sender) as view:
        view.refresh(scene)
        scene.unwatched = "lost"
    assert [alarm.cause for alarm in slow.got] == ["ask pour", "lost"]
    for alarm in slow.got:
        assert text_of(alarm).startswith("dark on pot 2: ")
        assert (alarm.chocolate, alarm.warmer) == ("dark", "pot 2")
    lines = [json.loads(line) for line in (tmp_path / "alarms.jsonl").read_text().splitlines()]
    assert [(line["chocolate"], line["warmer"], line["words"]) for line in lines] == [
        ("dark", "pot 2", alarm.words) for alarm in slow.got]


def test_a_hold_calls_through_its_view_and_shows_how_that_went():
    """Also when the board has been silent for a minute."""
    slow, notebook, clock = Slow(), Notebook(), [0.0]
    slow.go.set()
    scene = scene_at()
    with Sender([slow]) as sender:
        view = AlarmView(notebook, Rules(Coming()), sender, lambda: clock[0])
        for clock[0] in (1.0, 50.0, 62.0):
            view.refresh(scene)
    view.refresh(scene)
    clock[0] = 70.0
    view.refresh(scene)
    assert [alarm.cause for alarm in slow.got] == ["silent"]
    assert notebook.events == ["alarm delivered by slow: No word from the warmer for 61 s"]
    assert scene.events[-1][1] == notebook.events[0]
