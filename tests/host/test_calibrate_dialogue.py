"""The dialogue of `bain calibrate` with a live board, and what breaks it off."""

from __future__ import annotations

import contextlib
import json
import signal

import pytest
from bathed_board import VALUES, link_of
from fake_board import FakeBoard, event_line, status_line

from bainwright.calibration import calibration_record, reading, warmer
from bainwright.calibration.options import CalibrateOptions
from bainwright.calibration.run import run_calibration
from bainwright.core.errors import LinkError, RefusedError
from bainwright.core.keys import GO
from bainwright.files.documents import document
from bainwright.link.protocol import Link


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own, and nobody at the terminal."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    return tmp_path


class OneBoard:
    """A bench with one fake board on it."""

    simulated = False

    def __init__(self, link):
        self.link = link

    def bath(self, name):
        return contextlib.nullcontext(self.link)

    def close(self):
        """Nothing to close."""


@pytest.fixture
def live(monkeypatch):
    """A live board of the pot's settings; gives its link and the fake behind it."""

    def made(*batches):
        link, fake = link_of([], *batches)  # a first lock comes before anything is asked
        payload = document("settings", {**VALUES, "name": "pot"})
        fake.stored["settings"], fake.hello["settings"] = payload, "12345678"
        monkeypatch.setattr(warmer, "LiveBench", lambda port: OneBoard(link))
        monkeypatch.setattr(reading, "SILENT_S", 0.0)
        return fake

    return made


def answers(*typed):
    """A person who types these in turn, and then presses Ctrl-C."""
    left = list(typed)

    def ask(question):
        if not left:
            raise KeyboardInterrupt
        return left.pop(0)

    return ask


def talk(ask, **options):
    """The dialogue; what was said."""
    said = []
    code = run_calibration(CalibrateOptions(**options), ask, as_json=False,
                                      say=lambda text, err=False: said.append(text))
    return code, "\n".join(said)


def test_broken_off_half_way_loses_nothing(live):
    fake = live([(38.4, 38.1)] * 40)
    with pytest.raises(KeyboardInterrupt):
        talk(answers("100.4", "38.2"))
    record = calibration_record.read(calibration_record.path_for(None, "pot"))
    assert record.probes["water"].offset_c == pytest.approx(-0.2, abs=0.001)
    assert json.loads(fake.stored["settings"])["probe.bowl.offset_c"] == pytest.approx(0.1, abs=0.001)
    locks = [each["for_ms"] for each in fake.asked if each["do"] == "cold"]
    assert locks[0] > 0
    assert locks[-1] == 0  # whatever happens, it may heat again


@pytest.mark.parametrize("number", GO)
def test_a_closed_terminal_or_an_ended_process_also_gives_the_heat_back(live, number):
    """They ended the process at once, and no hold started for half an hour."""
    fake = live([(38.4, 38.1)] * 40)

    def ask(question):
        signal.raise_signal(number)
        raise AssertionError

    before = signal.signal(number, lambda *_: None)  # without the mend this process would end
    try:
        with pytest.raises(KeyboardInterrupt):
            talk(ask)
    finally:
        signal.signal(number, before)
    assert [each["for_ms"] for each in fake.asked if each["do"] == "cold"] == [1000 * reading.LOCK_S, 0]


def test_a_mistake_in_the_dialogue_is_reported_and_asked_again(live):
    live([(39.4, 38.1)] * 40)
    code, said = talk(answers("100.4", "38.2", "", "", "9000", ""))
    assert code == 0
    assert "that looks like °F" in said
    assert "-430 to 5500 m" in said
    assert "-1.2 °C is large for a probe" in said
    assert "Stored in pot-calibration.json" in said


def test_swapped_probes_are_found_by_lifting_one(live):
    live([(38.2, 38.2)] * 31, [(max(22.0, 38.0 - at / 2), 38.2) for at in range(60)])
    _, said = talk(answers("38.2", "go", "", "", ""))
    assert "the probes are swapped: got the water probe's reading moved" in said
    assert "exchange probe.water.rom and probe.bowl.rom" in said


def test_a_board_that_falls_silent_ends_it_and_what_was_measured_is_stored(live):
    live([(38.4, 38.1)] * 31)
    with pytest.raises(LinkError, match="what was measured before is stored"):
        talk(answers("38.2", "", "ice"))
    assert calibration_record.path_for(None, "pot").exists()


def test_a_board_that_sends_events_and_no_reading_counts_as_silent():
    class Talker(FakeBoard):
        def read(self):
            return super().read() or event_line("x", 1, 0)

    ticks = iter(range(100))
    with pytest.raises(LinkError, match="no reading from the board for 5 s"):
        next(reading.rows(Link(Talker()), lambda: next(ticks)))


def test_by_hand_the_water_is_read_from_a_settled_hold(live):
    fake = live()
    fake.stored["settings"] = document("settings", {**VALUES, "name": "pot", "probe.bowl.kind": "none"})
    fake.hold = [status_line(at + 1, 1000 * at, water=33000 + 10 * (at % 3), bowl=31600, est=1) for at in range(30)]
    code, said = talk(None, bowl=("31.5",))
    assert code == 0
    record = calibration_record.read(calibration_record.path_for(None, "pot"))
    assert record.bowl.offset_c == pytest.approx(1.51, abs=0.001)
    assert "cold" not in [each["do"] for each in fake.asked]  # a hold must go on heating
    assert "a running hold does not change" in said


def test_by_hand_a_warmer_that_rests_has_no_offset(live):
    fake = live()
    fake.stored["settings"] = document("settings", {**VALUES, "name": "pot", "probe.bowl.kind": "none"})
    fake.hold = [status_line(1, 0, state="idle", stage="")]
    with pytest.raises(RefusedError, match="not in a steady hold"):
        talk(None, bowl=("31.5",))


@pytest.mark.parametrize(("state", "word"), [("hold", "a hold is running"), ("trip", "hold the recessed button")])
def test_a_warmer_that_does_not_rest_is_not_calibrated(live, state, word):
    fake = live([(38.0, 38.0)] * 40)
    fake.hello["state"] = state
    with pytest.raises(RefusedError, match=word):
        talk(None, fever="38.0")
    assert [each["do"] for each in fake.asked] == ["hello"]
