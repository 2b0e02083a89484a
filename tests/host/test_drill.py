"""The drill: its table, its end, what a person measures, the gate's test, and the whole of it simulated."""

from __future__ import annotations

import ast
import contextlib
import errno
import json
import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from drill_tools import NOW, rig
from fake_board import FakeBoard, FakeSession, gone
from msgspec import structs

from bainboard import faults, selftest
from bainboard.heat_balance import largest_load_j_per_k
from bainwright.builds.catalogue import BY_NAME as BY_NAME_OF_BUILDS
from bainwright.builds.catalogue import POT
from bainwright.builds.rig_text import twin_text
from bainwright.cli import main
from bainwright.core import atomic_write
from bainwright.core.errors import LinkError, UseError
from bainwright.drill import items, plate_words, record, walk
from bainwright.drill.hands import Person
from bainwright.drill.items import BY_NAME, ITEMS, LOGIC, WIRING
from bainwright.drill.record import CANNOT, PASSED, Record, Result
from bainwright.drill.run import Drill
from bainwright.link.messages import Status
from bainwright.link.stopping import NOT_STOPPED, STOPPED, stopped_on_error

ROOT = Path(__file__).parents[2]
BY_HAND = {"fuse", "cutout", "power", "gate"}  # what a simulated warmer has not got


def test_a_drill_closes_with_what_passed_and_names_what_it_could_not_do():
    said: list[str] = []
    skipped, why = {"cutout", "fuse"}, ("", record.NONE_SIMULATED)
    today = [record.ItemStatus(each.name, CANNOT if each.name in skipped else PASSED, why[each.name in skipped])
             for each in ITEMS]
    walk._show(walk.DrillReport(Record("mine", True), Path("mine.json"), today, "water"), False, said.append)
    (closing,) = [line for line in said if line.startswith("Passed:")]
    assert closing == (f"Passed: {len(ITEMS) - 2} of {len(ITEMS)} items. Not possible on this warmer: "
                       "thermal fuse and fuses, inspected; manual-reset cut-outs.")  # fmt: skip


def test_the_table_names_each_item_once_and_each_says_what_must_happen() -> None:
    assert len(BY_NAME) == len(ITEMS)
    for item in ITEMS:
        assert item.do
        assert item.must
        assert item.depends_on in (WIRING, LOGIC)
        assert item.fault == faults.NONE or item.limit is not None, item.name


def test_on_a_plate_the_drill_speaks_of_no_bath_and_of_water_in_a_cup_only() -> None:
    on_plate = [plate_words.worded(item, "plate") for item in ITEMS if item.needs != "float"]
    for item in on_plate:
        for text in (item.title, item.do, item.must, item.undo, *plate_words.not_tested("plate")):
            assert not re.search("bath|vessel|water", text.replace("hand-warm water", "")), text
    assert [item.name for item in on_plate if "Plug out" in item.do] == ["switch_link", "guard_link"]
    assert [plate_words.worded(item, "water") for item in ITEMS] == list(ITEMS)
    assert set(plate_words.ON_A_PLATE) <= set(BY_NAME)
    shown: list[str] = []
    session: Any = None
    person = Person(session, shown.append, lambda question: "", bath="plate")
    person.do(BY_NAME["hot_water"], lambda passes: None)
    person.undo(BY_NAME["hot_water"], lambda passes: None)
    assert "out of its hole" in shown[0]
    assert "back into its hole" in shown[1]


@pytest.fixture
def hangs_up() -> Iterator[None]:
    """A closed terminal ends this process, also where the tests were started so that it would not (nohup)."""
    before = signal.signal(signal.SIGHUP, signal.SIG_DFL)
    yield
    signal.signal(signal.SIGHUP, before)


@pytest.mark.usefixtures("hangs_up")
@pytest.mark.parametrize("ends", [KeyboardInterrupt, KeyError, signal.SIGTERM, signal.SIGHUP])
def test_a_drill_that_does_not_end_by_itself_stops_the_warmer(ends: Any) -> None:
    def end() -> None:
        if isinstance(ends, type):
            raise ends
        os.kill(os.getpid(), ends)

    board, said = FakeBoard(state="hold"), []
    error = ends if isinstance(ends, type) else KeyboardInterrupt
    with pytest.raises(error), stopped_on_error(FakeSession(board), said.append):
        end()
    assert board.asked[-1]["do"] == "stop"
    assert said == [STOPPED]
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_a_warmer_that_a_drill_cannot_stop_is_named_as_one_that_may_heat() -> None:
    class Gone(FakeBoard):
        def write(self, data: bytes) -> None:
            raise gone()

    back, said = FakeBoard(), []
    session = FakeSession(Gone())
    for left, words in (([back], STOPPED), ([], NOT_STOPPED)):
        session.returns = left
        session.link.replace(Gone())
        with pytest.raises(LinkError), stopped_on_error(session, said.append):
            raise LinkError("silent")
        assert said[-1] == words
    assert [each["do"] for each in back.asked] == ["stop"]


def test_the_drill_s_pass_is_the_board_s_tick() -> None:
    tree = ast.parse((ROOT / "firmware/bainboard/app.py").read_text())
    ticks = [node.value.value for node in tree.body if isinstance(node, ast.Assign)
             and isinstance(node.targets[0], ast.Name) and node.targets[0].id == "TICK_MS"
             and isinstance(node.value, ast.Constant)]  # fmt: skip
    assert ticks == [1000 * items.PASS_S]


def test_limits_follow_the_rig() -> None:
    """A pulse is half a kelvin's heat of the load: twice the watts, half of each pulse's length (computed)."""
    slow, quick = rig(heater_w=100.0), rig(heater_w=200.0)
    for limit, pulses in ((items.switch_verdict_s, 3), (items.guard_verdict_s, 4), (items.whole_test_s, 3)):
        load = slow["water_l"] * 4186.0 + slow["bowl_kg"] * 500.0  # a lower bound: without the chocolate
        assert limit(slow) - limit(quick) > pulses * 0.5 * load / 200.0 * 0.99
    assert items.bad_samples_s(rig(**{"trip.bad_samples": 5})) == 6.0


class Relay:
    """A session whose board holds and heats; a person watches its guard relay and answers for it."""

    virtual = False

    def __init__(self, after: str = "hold") -> None:
        self.link, self._state, self._after = self, "hold", after
        self.pulled, self._polls = False, 0

    def hello(self) -> dict[str, Any]:
        return {"state": self._state}

    def poll(self) -> list[Status]:
        self._polls += 1
        if self._polls % 2 == 0:
            return []
        state = self._after if self.pulled else self._state
        return [Status(status=1, t=1000, state=state, stage="work", water=30_000, bowl=30_000, est=0, target=31_500,
                       water_target=33_000, duty=5_000 if state == "hold" else 0, on=0, fault=0, warn=0, ask="",
                       drops=0)]  # fmt: skip


def gate_result(opened: bool, after: str = "hold") -> Result:
    """The gate's result when the relay opened or not, and what the board's state was after the link was pulled."""
    board_: Any = Relay(after)

    def read(question: str) -> str:
        board_.pulled = True
        return "y" if opened else "n"

    hands = Person(board_, lambda text: None, read)
    return Drill(board_, hands, rig(), lambda text: None, lambda: NOW).test(BY_NAME["gate"])


def test_a_gate_passes_only_when_the_relay_opens_while_the_firmware_still_holds() -> None:
    """A gate that always holds leaves the relay closed; a trip would open it without the gate."""
    assert gate_result(opened=True).passed
    always_holding = gate_result(opened=False)
    assert (always_holding.passed, always_holding.note) == (False, "the gate held the relay without a heartbeat")
    tripped = gate_result(opened=True, after="trip")
    assert not tripped.passed
    assert "says nothing about the gate" in tripped.note
    assert "J1" in BY_NAME["gate"].do
    assert BY_NAME["gate"].when == items.HOLD


@pytest.mark.parametrize("later", [0, 1])
@pytest.mark.parametrize(("stray", "name"), [
    ({"event": "cleared", "t": 0}, "button"),
    ({"event": "trip", "t": 1000, "fault": faults.WATER_PROBE, "latched": True}, "water_probe"),
    ({"event": "trip", "t": 1000, "fault": faults.OVER_HARD_LIMIT, "latched": True}, "hot_water"),
    ({"event": "warn", "t": 1000, "fault": faults.BOWL_PROBE}, "bowl_probe"),
    ({"event": "water_low", "t": 1000}, "float"),
])  # fmt: skip
def test_an_event_of_another_board_passes_no_item(stray: dict[str, Any], name: str, later: int) -> None:
    """The board's own answer and its lines say otherwise: a stored pass would permit nights."""
    item = BY_NAME[name]
    board_: Any = Mixed("trip" if item.when == items.TRIP else "hold", stray, later)
    hands = Person(board_, lambda text: None, lambda question: "y")
    hands.patience_s = 10.0
    result = Drill(board_, hands, {**rig(), "float": True, "guard": False}, lambda text: None, lambda: NOW).test(item)
    assert not result.passed


def test_a_reaction_is_timed_from_the_last_good_line_however_many_came_before() -> None:
    """A wait that ended within a batch of lines puts the rest aside; minutes later they are past."""
    board_: Any = Pulled()
    hands = Person(board_, board_.told, lambda question: "")
    drill = Drill(board_, hands, {**rig(), "guard": False}, lambda text: None, lambda: NOW)
    drill._await(lambda message: True, 1.0)
    drill._passes(1)
    result = drill.test(BY_NAME["bowl_probe"])
    assert (result.passed, result.took_s, result.note) == (True, 1.0, "")


class Pulled(Relay):
    """A board of ten lines a poll for five minutes; its chocolate probe is pulled, and the next line warns."""

    def __init__(self) -> None:
        super().__init__()
        self._t_s = 0

    def told(self, text: str) -> None:
        self.pulled = self.pulled or "Do:" in text

    def poll(self) -> Any:
        if self.pulled:
            self._t_s += 1
            warn = {"event": "warn", "t": 1000 * self._t_s, "fault": faults.BOWL_PROBE}
            return [warn, self._line(None)]
        return [] if self._t_s >= 300 else [self._line(30_000) for _ in range(10)]

    def _line(self, bowl: int | None) -> Status:
        (line,) = (Relay.poll(self) or Relay.poll(self))
        self._t_s += bowl is not None
        warn = 0 if bowl is not None else 1 << faults.BOWL_PROBE
        return structs.replace(line, status=self._t_s, t=1000 * self._t_s, bowl=bowl, warn=warn)


@pytest.mark.parametrize(("restarts", "note"), [(True, ""), (False, "it has not restarted")])
def test_a_trip_survives_a_power_cut_only_where_the_board_itself_restarts(restarts: bool, note: str) -> None:
    """The start of another board passed the item, and nights are permitted by it."""
    board_: Any = Counting(restarts)
    hands = Person(board_, lambda text: None, lambda question: "y")
    hands.patience_s = 10.0
    drill = Drill(board_, hands, rig(), lambda text: None, lambda: NOW)
    drill._passes(2)
    result = drill.test(BY_NAME["latch_kept"])
    assert (result.passed, result.note.partition(":")[0]) == (restarts, note)


class Counting(Relay):
    """A tripped board that counts its lines; a boot event comes, its own or another's."""

    def __init__(self, restarts: bool) -> None:
        super().__init__()
        self._lines, self._restarts, self._state, self._booted = 100, restarts, "trip", False

    def hello(self) -> dict[str, Any]:
        return {"state": "trip", "fault": 1}

    def poll(self) -> list[Any]:
        found: list[Any] = [structs.replace(line, status=self._lines) for line in super().poll()]
        self._lines += len(found)
        if self._lines > 110 and not self._booted:
            self._booted, self._lines = True, 1 if self._restarts else self._lines
            found.append({"event": "boot", "t": 0, "cause": "power", "why": "power"})
        return found


class Mixed(Relay):
    """One event of another board comes among its lines."""

    def __init__(self, state: str, stray: dict[str, Any], later: int) -> None:
        super().__init__(state)
        self._state, self._stray, self._later = state, stray, later

    def hello(self) -> dict[str, Any]:
        return {"state": self._state, "fault": 0}

    def held(self) -> contextlib.AbstractContextManager[None]:
        return contextlib.nullcontext()

    def poll(self) -> list[Any]:
        lines: list[Any] = super().poll()
        self._later -= bool(lines)
        return [*lines, dict(self._stray)] if lines and self._later == -1 else lines


@pytest.mark.parametrize(("answers", "proved"), [(["perhaps", "Y"], True), (["n"], False)])
def test_a_person_looks_and_says_so(answers: list[str], proved: bool) -> None:
    shown: list[str] = []
    session: Any = None  # what is only looked at asks nothing of the board
    hands = Person(session, shown.append, lambda question: answers.pop(0) if "(y/n)" in question else "")
    result = Drill(session, hands, rig(), shown.append, lambda: NOW).test(BY_NAME["fuse"])
    assert (result.passed, result.at, result.depends_on) == (proved, NOW, record.wiring_hash(rig()))
    assert BY_NAME["fuse"].do in "".join(shown)


def measured(stated_w: float, *typed: str) -> tuple[Result, str]:
    """The result of measuring a heater, and all that was shown: ohms and volts as they are typed."""
    shown: list[str] = []
    session: Any = None  # what is only measured asks nothing of the board
    left = list(typed)
    hands = Person(session, shown.append, lambda question: left.pop(0))
    drill = Drill(session, hands, rig(heater_w=stated_w), shown.append, lambda: NOW)
    return drill.test(BY_NAME["power"]), " ".join(shown)


# 24² V² / P of one mat, by Ohm's law: what a meter shows at the plugs of each build.
AT_ITS_PLUGS = {"mat": "9.6", "pot": "3.84", "plate": "5.76 5.76"}


@pytest.mark.parametrize("built", AT_ITS_PLUGS)
@pytest.mark.parametrize("file", AT_ITS_PLUGS)
def test_a_meter_tells_each_build_from_the_rig_file_of_another(built: str, file: str) -> None:
    """Another build's rig file states other watts than the heater has; no self-test is sure of it."""
    result, shown = measured(BY_NAME_OF_BUILDS[file].heater_w, AT_ITS_PLUGS[built], "24.1")
    assert result.passed == (built == file)
    assert f"is {BY_NAME_OF_BUILDS[file].heater_w:g} W within a fifth" in shown
    if built != file:
        assert f"what the {built} of the guides gives" in result.note


@pytest.mark.parametrize(("stated_w", "ohms", "volts", "passes"), [
    (150.0, "3.84", "12", False), (60.0, "9,6 Ω", "24 V", True), (60.0, "8.7", "24", True), (60.0, "12.5", "24", False),
    (240.0, "4.8; 4.8", "24.0", True),
])  # fmt: skip
def test_a_heater_of_other_volts_or_ohms_is_seen(stated_w: float, ohms: str, volts: str, passes: bool) -> None:
    """By hand: 12² / 3.84 = 37.5 W; 24² / 9.6 = 60; / 8.7 = 66; / 12.5 = 46, 23 % less; 2 x 24² / 4.8 = 240."""
    assert measured(stated_w, ohms, volts)[0].passed == passes


def test_what_is_no_reading_is_asked_for_again() -> None:
    result, shown = measured(60.0, "", "open", "-3", "0", "nan", "9.6", "24 V")
    assert result.passed
    assert shown.count("Type what the meter shows") == 5


def test_without_a_person_to_answer_it_stops_in_words() -> None:
    def gone(question: str) -> str:
        raise EOFError

    session: Any = None
    with pytest.raises(UseError, match="terminal"):
        Person(session, print, gone).seen("Was it so?")


def test_the_virtual_pot_does_the_whole_drill_itself_and_a_second_run_has_nothing_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    fitted = twin_text(POT).replace("panel = true", "panel = true\nfloat = true")
    Path("pot.toml").write_text(fitted)
    assert main(["drill", "--virtual", "pot.toml", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    by_state: dict[str, set[str]] = {}
    for each in report["items"]:
        by_state.setdefault(each["state"], set()).add(each["name"])
        assert each["took_s"] is None or each["took_s"] <= each["limit_s"]
    assert by_state == {CANNOT: BY_HAND, PASSED: set(BY_NAME) - BY_HAND}
    assert report["virtual"]
    assert main(["drill", "--virtual", "pot.toml", "--show"]) == 0
    shown = capsys.readouterr().out
    assert "VIRTUAL" in shown
    assert "Passed" in shown
    kept = Path("pot24-drill-virtual.json")
    doc = json.loads(kept.read_text())
    del doc["items"]["button"]
    kept.write_text(json.dumps(doc))
    assert main(["drill", "--virtual", "pot.toml", "--show", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["missing"] == ["button"]


def test_a_folder_that_cannot_be_written_to_is_refused_before_the_first_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A full disk is not a usage error: exit status 1, in words, without the system's number."""
    monkeypatch.chdir(tmp_path)
    for code, words, status in ((errno.EROFS, "read-only file system", 2), (errno.ENOSPC, "the disk is full", 1)):
        refusal = OSError(code, "Read-only file system")

        def refuse(path: Path, content: bytes, follow: bool = True, refusal: OSError = refusal) -> None:
            raise refusal

        monkeypatch.setattr(atomic_write, "replace_file", refuse)
        assert main(["drill", "--virtual", "pot"]) == status
        err = capsys.readouterr().err
        assert words in err
        assert "Errno" not in err
        assert "1. " not in err


@pytest.mark.parametrize("words", [
    ["--virtual", "pot", "--port", "/dev/null"], ["--virtual", "pot", "--show", "--again"], ["--virtual", "no-rig"],
])  # fmt: skip
def test_options_that_cannot_be_are_refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["drill", *words]) == 2
    assert "bain:" in capsys.readouterr().err


@pytest.mark.parametrize("lag_s", [30.0, 49.0, 90.0])
def test_time_allowed_for_a_shorted_switch_follows_the_self_tests_own_course(lag_s: float) -> None:
    """Oracle: the firmware's self-test, stepped through with a switch that heats whenever the guard is closed."""
    values = rig(heater_w=150.0, heater_lag_s=lag_s, water_l=2.5)
    test, water_c, element_w, second = selftest.SelfTest(values, 0), 20.0, 0.0, 0
    guard = 0
    while not test.done and second < 3600:
        _, guard = test.step(1000 * second, round(16.0 * water_c) / 16.0)
        element_w += (150.0 * guard - element_w) / lag_s
        water_c += element_w / largest_load_j_per_k(values)
        second += 1
    assert test.fault == faults.SWITCH_SHORTED
    assert 0.85 * items.switch_verdict_s(values) < second <= items.switch_verdict_s(values)
