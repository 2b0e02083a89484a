"""`bain calibrate` as a person runs it, on a virtual board."""

from __future__ import annotations

import json
import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from bainwright import cli
from bainwright.calibration import reading, report
from bainwright.calibration.baths import VirtualBench
from bainwright.calibration.fit import (
    AT_C,
    fever_known,
)
from bainwright.core.errors import RefusedError
from bainwright.files.rig import BUNDLED, load_rig
from bainwright.virtual.probe_ids import name_probes


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


def test_a_rig_file_without_the_result_is_not_said_to_have_it():
    """Its disk filled after the record was written; "Stored in" both was read."""
    rig = load_rig("pot")
    there = rig.settings["probe.water.offset_c"]
    assert report._apart(SimpleNamespace(rig=rig), {"probe.water.offset_c": there}) == []
    apart = report._apart(SimpleNamespace(rig=rig), {"probe.water.offset_c": -0.114})
    assert apart == ["probe.water.offset_c = -0.114"]
