"""Acts from outside the keyboard: each gets a reply, and none acts on what the person did not see."""

import json
import threading

import pytest
from fake_board import FakeBoard, FakeSession, gone, status_line
from test_hold import Notebook

from bainwright.alarms.rules import cause_of
from bainwright.core.errors import LinkError
from bainwright.display.scene import Scene
from bainwright.evening import acts, endings
from bainwright.evening.acts import ACTS, BY_NAME, Inbox, end_question, of_key, offered
from bainwright.evening.held_back import PAUSED_LONG
from bainwright.evening.keyboard import Keyboard
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.watch import Watch
from bainwright.files.chocolate import load_profile
from bainwright.files.rig import load_rig
from bainwright.files.score import Window
from bainwright.link.messages import decode
from bainwright.live.feeds import as_json
from bainwright.live.latest import Shown
from bainwright.live.now import now_of


class Silent:
    """No keys and no signals."""

    there, count, go = False, 0, False

    def pressed(self):
        return ""


class Pressed(Silent):
    """One key."""

    def __init__(self, key):
        self.keys = [key]

    def pressed(self):
        return self.keys.pop() if self.keys else ""


class Nothing:
    """A log that records nothing."""

    def status(self, *_):
        return

    event = status


class Kitchen:
    """A hold on a fake board, and an inbox into it."""

    def __init__(self, **status):
        self.board = FakeBoard()
        self.session, self.inbox = FakeSession(self.board), Inbox(most=2)
        self.scene = Scene("dark", "a pot", Window(31.0, 31.5, 32.0, 34.5), True, 3600.0, 150.0)
        self.course = Watch(self.scene, Nothing(), Notebook())
        self.keyboard = Keyboard(self.session, Notebook(), dict, self.inbox)
        self.report(1, **status)

    def report(self, number, **status):
        self.course.take(decode(status_line(number, 1000 * number, **status).strip()))

    def wish(self, name, seen=""):
        reply = self.inbox.put(BY_NAME[name], seen)
        self.serve()
        return reply.result(timeout=0)

    def serve(self):
        self.keyboard.serve(self.course, Silent(), Silent())

    @property
    def asked(self):
        return [message["do"] for message in self.board.asked]


@pytest.mark.parametrize("act", [act for act in ACTS if not act.final], ids=lambda act: act.name)
def test_each_act_becomes_its_request_or_is_so_already(act):
    """What already is so is not sent again, and counts as done."""
    kitchen = Kitchen()
    fits = act.fits(kitchen.scene)
    reply = kitchen.wish(act.name)
    assert reply.done
    assert kitchen.asked == ([act.do] if fits else [])


def test_the_view_follows_an_act_that_the_board_reports_only_after_a_pause():
    """A refill taken back in a water pause is not coming, though the event comes minutes later; a refused one is."""
    kitchen = Kitchen(state="pause")
    assert kitchen.wish("refill").done
    assert kitchen.scene.refill_coming
    assert kitchen.wish("no_refill").done
    assert not kitchen.scene.refill_coming
    kitchen.board.refusals["bowl"] = "work: bowl_off refused: the bowl is off already"
    assert not kitchen.wish("bowl_off").done
    assert not kitchen.scene.bowl_away


def test_a_test_piece_that_has_just_been_laid_down_has_not_set():
    """Nothing sets within half a minute, and the board would take the warmer to the dipping for a yes."""
    kitchen = Kitchen(stage="test", ask="test")
    assert kitchen.wish("yes", seen="test").done
    kitchen.report(2, stage="test", ask="setting")
    kitchen.report(14, stage="test", ask="setting")
    reply = kitchen.wish("yes", seen="setting")
    assert not reply.done
    assert "the test piece has lain for 12 s" in reply.words
    kitchen.scene.prompt = "yes when it has set"
    assert now_of(kitchen.scene).prompt == "yes when it has set. It has lain for 0:12 min"
    assert kitchen.wish("no", seen="setting").done  # streaked
    kitchen.report(32, stage="test", ask="setting")
    assert kitchen.wish("yes", seen="setting").done
    assert kitchen.asked == ["confirm", "thicker", "confirm"]


def test_a_step_back_from_the_verdict_leads_to_the_piece_that_lay_there():
    """The board counts on from when it was laid down; after a minute unseen it may be another piece."""
    kitchen = Kitchen(stage="test", ask="test")
    for t_s, ask in ((2, "setting"), (60, "setting"), (61, ""), (100, ""), (101, "setting")):
        kitchen.report(t_s, stage="test", ask=ask)
    assert kitchen.scene.piece_s == 2
    kitchen.report(102, stage="work", ask="")
    kitchen.report(400, stage="test", ask="setting")
    assert kitchen.scene.piece_s is None


@pytest.mark.parametrize("before", [None, "more_seed", ""])
def test_how_long_a_test_piece_has_lain_is_not_known_after_joining_or_a_step_back(before):
    kitchen = Kitchen(stage="test", ask="setting" if before is None else before)
    kitchen.report(2, stage="test", ask="setting")
    assert kitchen.wish("yes", seen="setting").done


def test_an_answer_to_a_question_that_has_changed_is_not_sent():
    """The person read another question."""
    kitchen = Kitchen(ask="pour")
    assert not kitchen.wish("yes", seen="test").done
    assert kitchen.asked == []
    assert kitchen.wish("yes", seen="pour").done


def test_a_question_that_the_pause_hides_is_not_answered():
    """The screen shows the pause: a yes meant for it would end a step that nobody looked at."""
    kitchen = Kitchen(stage="melt", ask="all_melted", state="pause")
    for name in ("yes", "no"):
        assert "end it first" in kitchen.wish(name, seen="all_melted").words
    assert kitchen.asked == []
    kitchen.report(2, stage="melt", ask="all_melted")
    assert kitchen.wish("yes", seen="all_melted").done


def test_of_two_phones_that_answer_at_once_one_is_heard():
    """The second answer would reach the next question, which nobody has read yet."""
    kitchen = Kitchen(ask="pour")
    assert kitchen.wish("yes", seen="pour").done
    second = kitchen.wish("yes", seen="pour")
    assert not second.done
    assert "just answered" in second.words
    assert kitchen.asked == ["confirm"]
    kitchen.report(3, ask="pour")
    assert kitchen.wish("yes", seen="pour").done


@pytest.mark.parametrize("first", ["phone", "key"])
def test_a_line_that_the_board_wrote_before_it_took_an_answer_asks_nothing_anew(first):
    """It is read after the board's reply, and still has the question; a second answer would reach the next one."""
    kitchen = Kitchen(ask="bowl_off")
    kitchen.board.say(status_line(2, 2000, ask="bowl_off"))  # on its way while the answer is
    if first == "phone":
        assert kitchen.wish("yes", seen="bowl_off").done
    else:
        kitchen.keyboard.serve(kitchen.course, Pressed("y"), Silent())
    for message in kitchen.session.link.poll():
        kitchen.course.take(message)
    assert kitchen.scene.status.status == 2
    second = kitchen.wish("yes", seen="bowl_off")
    assert "just answered" in second.words
    kitchen.report(3, ask="bowl_off")  # the board's queue: one more may be on its way
    assert not kitchen.wish("yes", seen="bowl_off").done
    kitchen.report(4, ask="seed_in")
    assert "something else" in kitchen.wish("yes", seen="bowl_off").words
    assert kitchen.wish("yes", seen="seed_in").done
    assert kitchen.asked == ["confirm", "confirm"]


def test_a_yes_to_the_seeding_of_a_bowl_that_is_far_too_warm_is_doubted_once():
    """Form V is gone at some 34 °C (handbooks, from memory): seed in a bowl at 38 °C makes no temper."""
    kitchen = Kitchen(ask="seed_in", bowl=38000)
    assert "reads 38.0 °C" in kitchen.wish("yes", seen="seed_in").words
    assert kitchen.asked == []
    assert kitchen.wish("yes", seen="seed_in").done
    for bowl in (None, 33000):  # no probe in the bowl; as warm as two places of it differ
        other = Kitchen(ask="seed_in", bowl=bowl)
        assert other.wish("yes", seen="seed_in").done
    assert acts.too_warm(Kitchen(ask="cool_down", bowl=33000).scene, 27.5)
    assert not acts.too_warm(Kitchen(ask="cool_down", bowl=28000).scene, 27.5)
    assert not acts.too_warm(Kitchen(ask="all_melted", bowl=44000).scene, 27.5)


def test_a_refusal_comes_back_in_the_boards_words():
    """And the hold continues."""
    kitchen = Kitchen()
    kitchen.board.refusals["confirm"] = "nothing is asked"
    reply = kitchen.wish("yes")
    assert not reply.done
    assert "nothing is asked" in reply.words
    assert kitchen.course.ended is None


def test_a_yes_that_moves_nothing_on_says_so_in_its_reply():
    """A bath that is too warm still: the question stays, and the phone shows what it waits for."""
    kitchen = Kitchen()
    kitchen.report(2, stage="cool", ask="swap", bowl=44000, water=45100, state="hold")
    words = kitchen.wish("yes", "swap").words
    assert "the warmer has it. Noted; it continues by itself once the water is under 34.5 °C" in words
    assert words.endswith("it is at 45.1 °C.")


@pytest.mark.parametrize(("status", "calls"), [
    ({"stage": "melt", "ask": "all_melted"}, True), ({"stage": "melt", "ask": "all_melted", "state": "pause"}, False),
    ({"stage": "seed", "ask": "swap", "water": 45000}, True), ({"stage": "seed", "ask": "swap", "water": 25000}, False),
    ({"stage": "melt", "state": "pause", "fault": 3}, True),
])  # fmt: skip
def test_nobody_is_called_where_nothing_can_be_done(status, calls):
    """In a pause hands are in the water, and no answer is offered; a bath that is cool enough needs no swap."""
    kitchen = Kitchen()
    kitchen.course.prompts = EveningPrompts(load_profile("dark"), load_rig("pot"))
    kitchen.report(2, **status)
    assert kitchen.scene.calling == calls


def test_a_pause_that_is_forgotten_calls_after_ten_minutes_and_is_said_once():
    """The bowl cools by degrees, and with hands in the water nobody answers a question."""
    kitchen = Kitchen()
    for t_s in (10, 300, 609, 610, 700):
        kitchen.report(t_s, stage="work", state="pause")
        assert kitchen.scene.calling == (t_s >= 610)
    assert [text for _, text in kitchen.scene.events if "has lasted 10 min" in text] == [PAUSED_LONG]
    assert cause_of(kitchen.scene, 0.0).title == "The pause has lasted 10 min, and the heat is off"
    kitchen.report(701, stage="work")
    assert not kitchen.scene.calling


def test_a_lost_board_is_a_reply_too():
    """The hold looks for the board; the person learns that the act may not have arrived."""
    kitchen = Kitchen()
    kitchen.board.say(gone())
    reply = kitchen.inbox.put(BY_NAME["bowl_off"], "")
    with pytest.raises(LinkError):
        kitchen.serve()
    assert not reply.result(timeout=0).done


def test_stop_ends_the_hold_and_later_acts_learn_that_it_is_over():
    """Once it is over, nothing is sent."""
    kitchen = Kitchen()
    assert kitchen.wish("stop").done
    assert kitchen.course.ended == endings.STOPPED
    assert not kitchen.wish("yes").done
    assert kitchen.asked == ["stop"]


def test_an_act_that_waited_while_the_program_stood_still_is_never_done():
    """A PC that sleeps, or a disk that blocks: heat that comes back a minute late finds hands in the water."""
    now_s = [100.0]
    inbox = Inbox(clock_s=lambda: now_s[0])
    first, late, old = (inbox.put(BY_NAME["resume"], "", pressed_s) for pressed_s in (None, None, 95.0))
    assert inbox.take().reply is first
    now_s[0] += acts.BEGINS_S + 0.1
    assert inbox.take() is None
    for each in (late, old):
        assert each.result(timeout=0) == acts.LATE


def test_an_act_that_was_withdrawn_is_never_done():
    """Who waited too long was shown that it did not arrive: so it must not arrive later."""
    kitchen = Kitchen()
    assert kitchen.inbox.put(BY_NAME["bowl_off"], "").cancel()
    kitchen.serve()
    assert kitchen.asked == []


def test_the_inbox_is_bounded():
    """A third act of two is refused at once, from whichever thread."""
    import queue

    kitchen, refused = Kitchen(), []

    def press():
        for _ in range(3):
            try:
                kitchen.inbox.put(BY_NAME["test"], "")
            except queue.Full:
                refused.append(1)

    thread = threading.Thread(target=press, daemon=True)
    thread.start()
    thread.join()
    assert refused == [1]


def test_buttons_that_are_not_there_are_not_offered_for_locking():
    """The warmer would refuse it; the key at the terminal still says why."""
    kitchen = Kitchen()
    kitchen.scene.panel = False
    assert not {"lock", "unlock"} & {act.name for act in offered(kitchen.scene)}
    assert of_key("k", kitchen.scene).name == "lock"


@pytest.mark.parametrize(("status", "names"), [
    ({}, {"yes", "thickens", "thins", "refill", "bowl_off", "test", "back", "pause", "lock", "finish", "stop"}),
    ({"state": "trip"}, {"lock", "stop"}), ({"state": "idle"}, {"lock", "stop"}),
    ({"stage": "rest", "ask": "spread", "state": "off"},
     {"yes", "no", "bowl_off", "back", "pause", "lock", "stop"}),  # off: a hold whose heat is held back
    ({"stage": "melt", "ask": "all_melted"}, {"yes", "no", "bowl_off", "back", "pause", "lock", "stop"}),
    ({"stage": "seed", "ask": "swap"}, {"yes", "bowl_off", "back", "pause", "lock", "stop"}),
    ({"stage": "melt", "ask": "all_melted", "state": "pause"},
     {"bowl_off", "back", "resume", "lock", "stop"}),
])  # fmt: skip
def test_only_acts_that_the_warmer_accepts_are_offered(status, names):
    """Taken by hand from the firmware: it holds a temper in its step work alone, and a trip accepts only a stop.
    The end of the dipping fits no step before one could dip, and none after it.
    """
    assert {act.name for act in offered(Kitchen(**status).scene)} == names


def test_of_two_acts_on_one_key_one_fits():
    """Bowl off or back, pause or resume, lock or unlock."""
    kitchen = Kitchen()
    for key in {act.key for act in ACTS}:
        assert len([act for act in ACTS if act.key == key and act.fits(kitchen.scene)]) == 1
    assert of_key("b", kitchen.scene).name == "bowl_off"
    kitchen.scene.bowl_away = True
    assert of_key("b", kitchen.scene).name == "bowl_on"


@pytest.mark.parametrize(("stage", "asks"), [("work", "Is the dipping over?"), ("melt", "at this step, melting?"),
                                             ("melted", "at this step, melted stock?")])
def test_the_question_before_the_end_names_the_step_that_ends(stage, asks):
    """After the dipping a cook may hold what is left: to end that is not to end before the dipping."""
    assert asks in end_question(Kitchen(stage=stage).scene)


def test_the_key_p_shows_how_a_phone_gets_in_and_is_no_key_without_a_page():
    """Each press makes a new code."""
    kitchen, keys = Kitchen(), Silent()
    keys.pressed = lambda: "p"
    kitchen.keyboard.serve(kitchen.course, keys, Silent())
    assert list(kitchen.scene.events) == []
    codes = iter(("CODE1", "CODE2"))
    kitchen.inbox.invite = lambda: next(codes)
    for _ in range(2):
        kitchen.keyboard.serve(kitchen.course, keys, Silent())
    assert [text for _, text in kitchen.scene.for_terminal] == ["CODE1", "CODE2"]
    shown = as_json(Shown(now_of(kitchen.scene), 1, 0.0), "pot", course=True)  # of pages and feeds
    assert "CODE" not in json.dumps(shown)
    assert list(kitchen.scene.events) == []
    assert kitchen.asked == []
