"""What the person beside a running hold does: keys, interrupts, a closed terminal, another bowl."""

import json

import pytest
from fake_board import FakeBoard, gone
from scripted_hold import Counter, Keyboard, done, held, quiet, runner_of, turning

from bainboard import wire
from bainwright.core.errors import RefusedError
from bainwright.core.keys import CTRL_Z
from bainwright.evening import acts, endings
from bainwright.evening import runner as runner_module
from bainwright.evening.keyboard import LAPSED, NO_BOARD, NO_STANDSTILL
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.runner import Outcome
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document
from bainwright.files.rig import load_rig
from bainwright.report.report import report

pytestmark = pytest.mark.usefixtures("undrawn")


def asked_of(runner):
    """What the board was asked since its start."""
    dos = [asked["do"] for asked in runner.session.board.asked]
    return dos[dos.index("start") + 1 :]


def test_ctrl_c_asks_first_and_leaving_leaves_the_warmer_running(here):
    """l: the board is asked nothing more."""
    runner = runner_of(quiet())
    keyboard, interrupts = Keyboard({6: "l"}), Counter()
    turning(runner, keyboard, interrupts, 2)
    interrupts.count = 1
    runner.session.board.say(*quiet(10, 40))
    course = turning(runner, keyboard, interrupts, 8)
    assert course.ended == endings.LEFT
    assert any("Leave the warmer running" in said and "close the laptop" in said for _, said in runner.view.events)
    assert asked_of(runner) == []


def test_ctrl_z_stops_nothing_and_says_why(here):
    """Also while a question is open: that waits on."""
    runner = runner_of(quiet())
    course = turning(runner, Keyboard({3: CTRL_Z}), Counter(), 4)
    assert (course.ended, asked_of(runner)) == (None, [])
    assert [said for _, said in runner.view.events][-1] == NO_STANDSTILL


def test_a_second_ctrl_c_stops_the_warmer(here):
    """Without an answer to the question."""
    runner = runner_of(quiet())
    course = turning(runner, Keyboard({}), Counter(2), 3)
    assert course.ended == endings.STOPPED
    assert asked_of(runner) == ["stop"]


def test_where_nobody_can_be_asked_ctrl_c_stops_the_warmer(here):
    """A script's interrupt must not leave heat on that nobody watches."""
    runner = runner_of(quiet())
    assert turning(runner, Keyboard({}, there=False), Counter(1), 3).ended == endings.STOPPED


def test_a_closed_terminal_leaves_the_warmer_running_and_seals_the_log(here):
    """The board needs no host, so nothing is requested. A simulated warmer has no user left: it stops."""
    runner = runner_of(quiet())
    assert turning(runner, Keyboard({}), Counter(go=True), 3).ended == endings.LEFT
    assert asked_of(runner) == []
    runner = runner_of(quiet())
    runner.session.virtual = True
    assert turning(runner, Keyboard({}), Counter(go=True), 3).ended == endings.STOPPED


def test_going_on_forgets_the_interrupt(here):
    """g: the question goes away and the next Ctrl-C asks again."""
    runner = runner_of(quiet())
    interrupts = Counter(1)
    course = turning(runner, Keyboard({3: "g"}), interrupts, 4)
    assert (course.ended, course.scene.question, interrupts.count) == (None, "", 0)


def test_keys_are_the_persons_acts(here):
    """Refill, done, thickens, bowl, pause, lock: each as its request, the clock held meanwhile on a virtual board."""
    runner = runner_of(quiet())
    turning(runner, Keyboard({2: "r", 3: "y", 4: "n", 5: "b", 6: "w", 7: "x", 8: "d", 9: "k"}), Counter(), 10)
    assert asked_of(runner) == ["announce", "confirm", "thicker", "bowl", "pause", "thinner", "lock"]
    assert runner.session.acts == ["arm"] + 7 * ["hold", "release"]


class Away:
    """A board that is gone from the second round on and found at the third look; what its person saw meanwhile."""

    def __init__(self, monkeypatch, keys_before, keys_meanwhile, invite=None, interrupts=None):
        interrupts = interrupts or Counter()
        looks, self.searching, runner = [False, False, True], [], runner_of(quiet(10))
        monkeypatch.setattr(runner_module.time, "sleep", lambda seconds: None)
        monkeypatch.setattr(runner.session, "reopen", lambda: looks.pop(0))
        runner._keyboard._inbox = acts.Inbox(invite=invite)
        self.course = turning(runner, Keyboard(keys_before), interrupts, 1)

        def poll():
            if looks:
                raise gone()
            return []

        monkeypatch.setattr(runner.session.link, "poll", poll)
        runner.view.refresh = lambda scene: self.searching.append(scene.searching)
        keyboard = Keyboard(keys_meanwhile)
        for _ in range(5):
            runner._turn(self.course, keyboard, interrupts)
        self.asked = asked_of(runner)
        self.shown = [text for _, text in runner.view.events]


def test_while_a_lost_board_is_looked_for_a_phone_gets_in_and_no_act_waits(here, monkeypatch):
    """What was pressed then is not done once the board is back. Its person hears so, once for a key held down."""
    away = Away(monkeypatch, {}, {1: "b", 2: "y", 4: "p"}, lambda: "code ABCD2345")
    assert (away.shown.count("code ABCD2345"), away.shown.count(NO_BOARD)) == (1, 1)
    assert [text for _, text in away.course.scene.for_terminal] == ["code ABCD2345"]
    assert away.asked == []
    assert away.searching[:3] == [True, True, False]


def test_a_question_at_the_keyboard_lapses_with_the_board(here, monkeypatch):
    """The key that would have answered it, minutes later, means nothing."""
    away = Away(monkeypatch, {1: "e"}, {1: "e"})
    assert away.course.scene.question == ""
    assert LAPSED in away.shown
    assert away.asked == []


def test_a_board_that_is_lost_under_the_question_of_ctrl_c_is_looked_for(here, monkeypatch):
    """Who did not answer has not left: the hold goes on, and so do its alarms. Ctrl-C twice wanted an end."""
    interrupts = Counter(1)
    away = Away(monkeypatch, {}, {}, interrupts=interrupts)
    assert (away.course.ended, away.course.scene.question, interrupts.count) == (None, "", 0)
    assert away.shown.index(LAPSED) > next(at for at, text in enumerate(away.shown) if "Leave the warmer" in text)


class Keeping(FakeBoard):
    """A board with these chocolates stored."""

    def __init__(self, names):
        super().__init__(lambda: iter(quiet()))
        self.kept = [document("profile", load_profile(name).document()) for name in names]

    def _do_profiles(self, message):
        at = message["at"]
        if at >= len(self.kept):
            return [("count", len(self.kept))]
        return [("name", json.loads(self.kept[at])["name"]), ("profile", f"{at:08x}")]

    def _do_send(self, message):
        found = [payload for payload in self.kept if json.loads(payload)["name"] == message.get("name")]
        self.stored[message["what"]] = found[0] if found else self.stored[message["what"]]
        return super()._do_send(message)


@pytest.mark.parametrize("refused", ["profiles", "send", "change"])
def test_what_the_board_refuses_in_a_hold_is_shown_and_the_hold_goes_on(here, refused):
    """A board without memory for it says so; nothing but the start may end the watching."""
    board = Keeping(["dark", "milk"])
    runner = runner_of([], board=board)
    board.refusals[refused] = "no memory now; nothing was changed; try again"
    course = turning(runner, Keyboard({2: "c", 3: "1"}), Counter(), 4)
    assert course.ended is None
    assert any(text.startswith("not now: ") and "no memory now" in text for _, text in runner.view.events)


def test_a_phone_hears_of_every_refusal(here):
    runner = runner_of(quiet())
    wish = runner._keyboard._inbox.put(acts.BY_NAME["yes"], "")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(runner._keyboard, "_do", lambda *_: (_ for _ in ()).throw(RefusedError("no memory now")))
        turning(runner, Keyboard({}), Counter(), 3)
    assert wish.result(0) == acts.Reply(False, "Not now: no memory now.")


def test_a_real_warmer_s_thermometers_are_spoken_of_at_the_start_and_a_simulated_one_s_are_not(here):
    """Never calibrated here; a record that is none is a note, for the hold runs already."""
    runner = runner_of(quiet(), rig="pot")
    assert [note for note in runner.notes() if "water probe was never calibrated" in note]
    (here / "pot-calibration.json").write_text("[1,")
    assert [note for note in runner.notes() if "not the record of a calibration" in note]
    runner.session.simulated = True
    assert not [note for note in runner.notes() if "calibrat" in note]


def test_c_offers_the_chocolates_that_are_stored_and_a_number_changes_the_bowl(here):
    """The next bowl's window and words are its own from there on."""
    runner = runner_of([], board=Keeping(["dark", "milk", "white"]))
    keyboard = Keyboard({2: "c", 4: "2"})
    course = turning(runner, keyboard, Counter(), 3)
    assert course.scene.question == "Which chocolate is the next bowl: 1 milk, 2 white? Any other key: none"
    course.prompts = EveningPrompts(runner.setup.profile, load_rig("pot"))
    for _ in range(3):
        runner._turn(course, keyboard, Counter())
    assert runner.session.board.asked[-1]["do"] == "change"
    assert runner.session.board.asked[-1]["name"] == "white"
    assert (course.scene.chocolate, course.scene.question) == ("white", "")
    assert course.prompts.window("work").high_c == load_profile("white").high_c


def test_any_other_key_changes_nothing_and_a_board_that_keeps_one_says_so(here):
    runner = runner_of([], board=Keeping(["dark", "milk"]))
    course = turning(runner, Keyboard({2: "c", 4: "7"}), Counter(), 6)
    assert course.scene.question == ""
    assert "change" not in asked_of(runner)
    runner = runner_of([], board=Keeping(["dark"]))
    course = turning(runner, Keyboard({2: "c"}), Counter(), 3)
    assert "no other chocolate is stored" in course.scene.events[-1][1]


def test_only_the_first_bowl_is_scored_when_another_comes(here):
    """A minute of dark at 31.5 °C, then one of white at 29 °C, far below dark's window."""
    changed = wire.encode([("event", "changed"), ("n", 1), ("t", 121000), ("name", "white")])
    in_the_bath = wire.encode([("event", "stage"), ("n", 2), ("t", 121000), ("stage", "work")])
    script = [*quiet(60, stage="settle"), *quiet(60, first=61), changed, in_the_bath,
              *quiet(60, first=122, bowl=29000), done(3)]
    _, _, outcome = held(script, for_="182s")
    assert outcome.result["in_window_fraction"] == 1.0
    assert (outcome.result["below_s"], outcome.result["bowl_low_c"]) == (0.0, 31.5)  # nothing of the white
    assert outcome.summary.startswith("Held dark for 2 min; while dipping, it was in its window 100 %")
    assert "Then came white, for 61 s: only the first bowl is judged here." in outcome.summary


def test_a_refused_act_is_shown_and_the_hold_continues(here):
    """The board's reason, as an event."""
    runner = runner_of(quiet())
    runner.session.board.refusals["pause"] = "work: pause refused: nothing to pause"
    course = turning(runner, Keyboard({2: "w"}), Counter(), 4)
    assert course.ended is None
    assert course.scene.events[-1][1] == "not now: nothing to pause"


def test_a_refusal_by_the_board_s_state_is_said_in_words(here):
    """The board names the state it is in and those it wants; a cook reads what is going on."""
    runner = runner_of(quiet())
    runner.session.board.refusals["pause"] = "work: pause refused: not in state check, wanted hold or off"
    course = turning(runner, Keyboard({2: "w"}), Counter(), 4)
    said = course.scene.events[-1][1]
    assert said == "not now: the warmer is testing itself; try again when that is done"


def test_e_asks_before_it_ends_the_dipping(here):
    """Between w and r on the keyboard, and without a way back: only e once more ends it."""
    for answer, ended in (("e", True), ("g", False), ("w", False)):
        runner = runner_of(quiet())
        course = turning(runner, Keyboard({2: "e", 3: answer}), Counter(), 5)
        dos = [asked["do"] for asked in runner.session.board.asked]
        assert ("finish" in dos) == ended
        assert "pause" not in dos
        assert course.scene.question == ""


def test_leaving_a_warmer_says_how_to_come_back(here):
    runner = runner_of(quiet(60))
    course = turning(runner, Keyboard({}), Counter(go=True), 3)
    assert course.ended == endings.LEFT
    done = report(runner, Outcome(course, 1.0, {}), None)
    assert any("bain hold dark --join" in note and "bain collect" in note for note in done.notes)


def test_a_question_at_the_keyboard_lapses_after_half_a_minute(here):
    """An e an hour later asks again: it does not end the evening. The clock is the person's, not the hold's."""
    now_s = [0.0]
    runner = runner_of(quiet(60))
    runner._keyboard._clock_s = lambda: now_s[0]
    course = turning(runner, Keyboard({3: "e"}), Counter(), 3)
    assert course.scene.question.startswith("Is the dipping over?")
    now_s[0] = 31.0
    for key in ("", "e"):
        runner._turn(course, Keyboard({1: key}), Counter())
    assert course.scene.question.startswith("Is the dipping over?")
    assert asked_of(runner) == []
    runner._turn(course, Keyboard({1: "e"}), Counter())
    assert asked_of(runner) == ["finish"]


def test_the_question_of_ctrl_c_lapses_too(here):
    """The keys mean again what they say, and another Ctrl-C hours later asks: it does not stop the warmer."""
    now_s, interrupts = [0.0], Counter(1)
    runner = runner_of(quiet(60))
    runner._keyboard._clock_s = lambda: now_s[0]
    course = turning(runner, Keyboard({}), interrupts, 2)
    assert course.scene.question.startswith("Leave the warmer running")
    now_s[0] = 31.0
    runner._turn(course, Keyboard({}), interrupts)
    assert (course.scene.question, interrupts.count) == ("", 0)
    interrupts.count += 1
    runner._turn(course, Keyboard({}), interrupts)
    assert course.scene.question.startswith("Leave the warmer running")
    assert asked_of(runner) == []
