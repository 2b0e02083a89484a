"""`bain calibrate`: known temperatures, the fit to them, what is stored, and all of it on a virtual board."""

from __future__ import annotations

import contextlib
import json
import math
import types
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from fake_board import FakeBoard, event_line, status_line
from known_points import NOW, point

from bainboard import settings as board
from bainwright import cli
from bainwright.calibration import calibration_record, reading, rig_editor, warmer
from bainwright.calibration import report as calibration_report
from bainwright.calibration.baths import VirtualBench
from bainwright.calibration.fit import (
    AT_C,
    fever_known,
    ice_known,
)
from bainwright.calibration.options import CalibrateOptions
from bainwright.calibration.reading import lifted, steady
from bainwright.calibration.run import run_calibration
from bainwright.core.errors import LinkError, RefusedError, UseError
from bainwright.files.documents import document
from bainwright.files.rig import BUNDLED, PlantTable, load_rig
from bainwright.link.protocol import Link
from bainwright.virtual.probe_ids import name_probes

VALUES = {**board.defaults(board.SETTINGS), "probe.bowl.kind": "onewire"}


# -- reading -----------------------------------------------------------------------------------------------------------


class Bathed(FakeBoard):
    """A board that says the next batch of temperatures, a line a second, each time its heat is locked out."""

    def __init__(self, batches, state):
        super().__init__(state=state)
        self.say(status_line(1, 0, water=20000, bowl=20000))  # of before, with the probes still elsewhere
        self.batches, self.state = [*batches], state
        self.hold = []  # lines of a hold, said once its settings were fetched

    def write(self, data):
        super().write(data)
        if self.asked[-1]["do"] == "commit":
            self.say(*self.hold)
        if self.asked[-1]["do"] == "cold" and self.asked[-1]["for_ms"] and self.batches:
            self.say(*(status_line(at, 0, state=self.state, stage="", target=None, water_target=None,
                                   water=_milli(water_c), bowl=_milli(bowl_c))
                       for at, (water_c, bowl_c) in enumerate(self.batches.pop(0), 1)))


def _milli(temp_c):
    return None if temp_c is None else round(1000 * temp_c)


def link_of(*batches, state="idle"):
    """A link to such a board, and the board."""
    fake = Bathed(batches, state)
    return Link(fake), fake


def test_a_steady_half_minute_is_read_with_the_old_calibration_taken_out():
    link, fake = link_of([(20.0 + min(at, 36) / 2, 38.0) for at in range(120)])
    values = {**VALUES, "probe.water.offset_c": 0.5, "probe.water.gain": 1.01}
    read = steady(link, values, ["water", "bowl"], 38.0)
    assert read["water"].raw_c == pytest.approx((38.0 - 0.5) / 1.01, abs=1e-6)
    assert read["bowl"].raw_c == 38.0
    assert read["bowl"].u_k == pytest.approx(0.01804, abs=1e-5)  # steps of 1/16 °C: a rectangle's width over root 12
    assert fake.asked[0]["do"] == "cold"  # before anything is read


@pytest.mark.parametrize(
    ("rows", "word"),
    [
        ([(30.0 + at / 60, 38.0) for at in range(300)], "stir all the time"),
        ([(38.0 + 0.3 * (at % 2), 38.0) for at in range(300)], "scatter 0.15 °C"),
        ([(38.0, None)] * 300, "chocolate probe gives no reading"),
        ([(38.0, 22.0)] * 300, "chocolate probe: got 22.0 °C in a bath of 38.0 °C"),
    ],
)
def test_a_bath_that_is_none_is_refused_in_words(rows, word):
    link, _ = link_of(rows)
    with pytest.raises(UseError, match=word):
        steady(link, VALUES, ["water", "bowl"], 38.0)


def test_a_warmer_that_is_started_meanwhile_ends_the_reading():
    link, _ = link_of([(38.0, 38.0)] * 60, state="check")
    with pytest.raises(RefusedError, match="on an idle warmer"):
        steady(link, VALUES, ["water", "bowl"], 38.0)


def test_the_probe_that_is_lifted_is_known_by_its_fall():
    link, _ = link_of([(38.0, max(22.0, 38.0 - at / 2)) for at in range(60)])
    assert lifted(link, VALUES) == "bowl"
    link, _ = link_of([(max(22.0, 38.0 - at / 2), 38.0) for at in range(60)])
    assert lifted(link, VALUES) == "water"
    link, _ = link_of([(38.0, 38.0)] * 100)
    with pytest.raises(UseError, match="neither probe"):
        lifted(link, VALUES)


# -- what is stored ----------------------------------------------------------------------------------------------------


def test_a_point_again_takes_the_place_of_the_one_before_and_a_day_parts_two_calibrations():
    record = calibration_record.Record("pot")
    calibration_record.add(record, VALUES, "water", point(fever_known(38.0), 38.2))
    calibration_record.add(record, VALUES, "water", point(ice_known(), 0.2))
    calibration_record.add(record, VALUES, "water", point(fever_known(38.2), 38.5))
    assert [p.bath for p in record.probes["water"].points] == ["ice", "fever"]
    later = (datetime.fromisoformat(NOW) + timedelta(days=2)).isoformat()
    calibration_record.add(record, VALUES, "water", point(ice_known(), 0.1, later))
    assert [p.bath for p in record.probes["water"].points] == ["ice"]


def test_a_record_is_a_probe_s_and_not_a_place_s():
    values = {**VALUES, "probe.water.rom": "28FF641D8216041C"}
    record = calibration_record.Record("pot")
    calibration_record.add(record, values, "water", point(fever_known(38.0), 38.2))
    other = {**values, "probe.water.rom": "28ee3c0c1d160161"}
    assert calibration_record.changes(record, values)["probe.water.offset_c"] == pytest.approx(-0.2, abs=1e-3)
    assert calibration_record.changes(record, other) == {}
    now = datetime.fromisoformat(NOW)
    assert "never calibrated" in calibration_record.notes(record, other, 1.0, now)[0]


def notes_after(days=0, width_k=1.0, known=None, **settings):
    """The message about a water probe calibrated this long ago."""
    values = {**VALUES, "probe.bowl.kind": "none"}
    record = calibration_record.Record("pot", bowl=calibration_record.StoredBowl([(33.0, 31.6)], 1.4, 0.0, 0.1, NOW))
    calibration_record.add(record, values, "water", point(known or fever_known(38.0), 38.2))
    now = datetime.fromisoformat(NOW) + timedelta(days=days)
    in_force = {**values, **calibration_record.changes(record, values), **settings}
    return " ".join(calibration_record.notes(record, in_force, width_k, now))


def test_a_fresh_calibration_needs_no_word():
    assert notes_after() == ""


def test_an_old_one_a_wide_one_and_another_one_are_said_aloud():
    assert "200 days old" in notes_after(days=200)
    assert "only to ± 0.18 °C, wider than the window of 0.3 °C" in notes_after(width_k=0.3)
    assert "another offset or gain" in notes_after(**{"probe.water.offset_c": 0.0})


def test_figures_go_into_a_rig_file_and_everything_else_stays(tmp_path):
    path = tmp_path / "my.toml"
    path.write_text('name = "my"  # mine\nbowl_offset_c = 1.2   # by hand\n\n[probe.water]\nkind = "onewire"\n'
                    'gain = 1.0\n\n[vessel.small]\nbowl_kg = 0.3\n')
    rig_editor.put(path, {"probe.water.offset_c": -0.12, "probe.water.gain": 1.001, "bowl_offset_c": 1.4,
                       "probe.bowl.offset_c": 0.1})
    assert path.read_text() == (
        'name = "my"  # mine\nbowl_offset_c = 1.4   # by hand\n\n[probe.water]\nkind = "onewire"\n'
        'gain = 1.001\noffset_c = -0.12\n\n[vessel.small]\nbowl_kg = 0.3\n\n[probe.bowl]\noffset_c = 0.1\n')


@pytest.mark.parametrize("text", ['probe.water.kind = "ntc"\n', 'probe = {water = {kind = "ntc"}}\n',
                                  'note = """\n[probe.water]\n"""\nprobe.water.kind = "ntc"\n'])
def test_a_rig_file_in_another_style_is_left_alone(text):
    assert rig_editor.changed(text, {"probe.water.offset_c": -0.12}) is None


def test_a_real_part_s_calibration_is_not_put_on_a_simulated_probe(tmp_path):
    """A simulated probe does not have the real one's error, unless its [plant] table gives one."""
    rig = load_rig("pot").with_settings({"probe.water.offset_c": 0.4, "probe.water.gain": 1.01})
    simulated = name_probes(rig).settings
    assert (simulated["probe.water.offset_c"], simulated["probe.water.gain"]) == (0.0, 1.0)
    wrong = replace(rig, plant=PlantTable(water_probe_bias_c=-0.4))
    assert name_probes(wrong).settings["probe.water.offset_c"] == 0.4


# -- the command -------------------------------------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own, and nobody at the terminal."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    return tmp_path


def run(capsys, *arguments):
    """Exit status, stdout, stderr."""
    code = cli.main(["calibrate", *arguments])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, out, err


@pytest.mark.parametrize(("rig", "seed"), [("pot", 3), ("mat", 5)])
def test_a_virtual_warmer_s_built_in_errors_are_found_within_the_stated_uncertainty(capsys, rig, seed):
    """The truth is the simulated probe's own bias; the baths are off by what such baths may be off."""
    code, out, err = run(capsys, "--virtual", rig, "--seed", str(seed), "--altitude", "520", "--json")
    result = json.loads(out)
    assert code == 0, err
    assert result["virtual"] is True
    for probe in result["probes"].values():
        found_k = probe["offset_c"] + (probe["gain"] - 1.0) * AT_C
        assert abs(found_k + result["built_in_error_k"][probe["place"]]) <= probe["doubt_k"] <= 0.2
        assert probe["told_apart"]
        assert [each["bath"] for each in probe["points"]] == ["fever", "ice", "boil"]
    assert list(Path().iterdir()) == []  # what was played is not kept


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("--fever", "100.4"), "that looks like °F, 38.0 °C: --fever 100.4F"),
        (("--fever", "warm"), "wanted a temperature"),
        (("--fever", "20"), "34 to 42 °C"),
        (("--boil",), "where does it boil"),
        (("--altitude", "12000"), "-430 to 5500 m"),
        (("--ice", "--fever", "38"), "one bath at a time"),
        ((), "what are the probes in"),
        (("--virtual", "--fever", "38"), "--fever is for a real warmer"),
        (("--virtual", "--bowl", "31"), "stores nothing"),
        (("--rig", "none.toml", "--show"), "no rig 'none.toml'"),
    ],
)
def test_what_cannot_be_is_refused_before_a_board_is_looked_for(capsys, arguments, word):
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert word in err


def test_by_hand_an_estimated_bowl_gets_its_offset_and_its_spread_is_shown(capsys, tmp_path):
    rig = tmp_path / "mine.toml"
    rig.write_text('name = "mine"\nheater_w = 60\nswitch = "dc"\nperiod_s = 1\nwater_l = 1.5\nbowl_kg = 0.5\n'
                   'chocolate_kg = 1.5\nhard_limit_c = 60\n\n[probe.water]\nkind = "ntc"\n')
    code, out, err = run(capsys, "--rig", "mine.toml", "--bowl", "33.1/31.6", "--json")
    assert code == 0
    assert "1 of 3 readings" in err
    # One reading says nothing of the next: half a degree is taken for it (chosen), beside the thermometer's limit.
    assert json.loads(out)["bowl"]["doubt_k"] == pytest.approx(2 * math.hypot(0.5, 0.5 / math.sqrt(3)), abs=0.001)
    code, out, err = run(capsys, "--rig", "mine.toml", "--bowl", "33.3/31.6", "--bowl", "91.9F/31.6", "--json")
    result = json.loads(out)["bowl"]
    assert result["offset_c"] == pytest.approx((1.5 + 1.7 + 1.678) / 3, abs=0.001)
    assert result["spread_k"] == pytest.approx(0.2, abs=0.001)
    assert result["doubt_k"] == pytest.approx(2 * math.hypot(np.std([1.5, 1.7, 1.678], ddof=1), 0.5 / math.sqrt(3)),
                                            abs=0.002)
    assert load_rig("mine.toml").settings["bowl_offset_c"] == result["offset_c"]
    code, out, err = run(capsys, "--rig", "mine.toml", "--show")
    assert "3 readings over 0.20 °C" in out
    assert "the chocolate's estimate is known only to" in err  # half a degree by hand is wider
    assert "water probe was never calibrated" in err
    for among_others in ((), ("--forget",)):  # nor does it hide in the mean of those before it
        code, _, err = run(capsys, "--rig", "mine.toml", "--bowl", "31.6/33.1", *among_others)
        assert code == 2
        assert "are they exchanged" in err
    assert load_rig("mine.toml").settings["bowl_offset_c"] == result["offset_c"]


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


def test_a_virtual_probe_whose_built_in_error_was_not_found_is_named():
    """Its offset undoes the error; one of the wrong sign doubles it."""
    rig = name_probes(load_rig("pot"))
    errors_k = calibration_report._built_in_k(types.SimpleNamespace(rig=rig, settings=rig.settings), 3)
    assert min(abs(error_k) for error_k in errors_k.values()) > 0.01
    for sign, named in ((-1.0, 0), (1.0, len(errors_k))):
        probes = {calibration_record.identity(rig.settings, place): calibration_record.StoredProbe(
            place, offset_c=sign * error_k, uncertainty_k=0.01) for place, error_k in errors_k.items()}
        record = calibration_record.Record(probes=probes)
        warmer = types.SimpleNamespace(rig=rig, settings=rig.settings, record=record)
        assert len(calibration_report._missed(warmer, 3)) == named


@pytest.mark.parametrize("text", ["[1,", '{"probes": {"water": {"place": "water", "at": "yesterday"}}}'])
def test_a_file_that_is_not_a_record_is_refused_in_words(capsys, tmp_path, text):
    (tmp_path / "pot-calibration.json").write_text(text)
    rig = tmp_path / "pot.toml"
    rig.write_text((BUNDLED / "pot.toml").read_text())
    code, _, err = run(capsys, "--rig", "pot.toml", "--show")
    assert code == 2
    assert "is not the record of a calibration" in err


# -- the lock on the board ---------------------------------------------------------------------------------------------


def test_a_locked_board_starts_for_nobody_until_the_lock_ends():
    rig = name_probes(load_rig("pot"))
    with VirtualBench(rig, 1, [fever_known(38.2)]).bath("fever") as link:
        link.hello()
        link.request("cold", for_ms=3600000)
        with pytest.raises(RefusedError, match="locked out while the probes are calibrated"):
            link.request("start", stage="work")
        link.request("cold", for_ms=0)
        assert link.request("start", stage="work")["ok"]


def test_the_lock_is_over_by_itself():
    rig = name_probes(load_rig("pot"))
    with VirtualBench(rig, 1, [fever_known(38.2)]).bath("fever") as link:
        link.hello()
        link.request("cold", for_ms=20000)
        for count, _ in enumerate(reading.rows(link)):
            if count > 25:
                break
        assert link.request("start", stage="work")["ok"]
