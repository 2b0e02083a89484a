"""A calibration's readings of known temperatures, and what is stored of them."""

from __future__ import annotations

import types
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from bathed_board import VALUES, link_of
from known_points import NOW, point

from bainwright.calibration import calibration_record, rig_editor
from bainwright.calibration import report as calibration_report
from bainwright.calibration.fit import (
    fever_known,
    ice_known,
)
from bainwright.calibration.reading import lifted, steady
from bainwright.core.errors import RefusedError, UseError
from bainwright.files.rig import PlantTable, load_rig
from bainwright.virtual.probe_ids import name_probes

# -- reading -----------------------------------------------------------------------------------------------------------


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
    with pytest.raises(RefusedError, match="reports a hold or heat"):
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
