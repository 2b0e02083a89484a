"""`bain hold` on a virtual board, whole: the firmware on MicroPython, the wire, the simulated warmer, the files."""

import json
from pathlib import Path

import numpy as np
import pytest

from bainwright import cli
from bainwright.record.reader import read_log

STEADY = '''
class Steady:
    """Water that the heater warms, a bowl that follows it."""

    def __init__(self):
        self.water_c, self.bowl_c = 33.0, 31.5

    def step(self, power_w, dt_s):
        self.water_c += dt_s * (power_w - 2.0 * (self.water_c - 20.0)) / 9000.0
        self.bowl_c += dt_s * (self.water_c - 1.2 - self.bowl_c) / 900.0

    @property
    def temps_c(self):
        return {"water": self.water_c, "bowl": self.bowl_c}


class Dies(Steady):
    """The same, until its model fails at ten minutes."""

    def __init__(self):
        super().__init__()
        self.t_s = 0.0

    def step(self, power_w, dt_s):
        super().step(power_w, dt_s)
        self.t_s += dt_s
        if self.t_s > 600:
            self.water_c = float("nan")


class Counted(Steady):
    """Fails if it is made twice, or stepped outside 0 to 1 s."""

    made = 0

    def __init__(self):
        super().__init__()
        Counted.made += 1
        assert Counted.made == 1

    def step(self, power_w, dt_s):
        assert 0 < dt_s <= 1
        super().step(power_w, dt_s)
'''


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own, with plants in it."""
    monkeypatch.chdir(tmp_path)
    Path("plants.py").write_text(STEADY)
    return tmp_path


def hold(capsys, *arguments):
    """Run a hold: exit status, its JSON, stderr."""
    code = cli.main(["hold", *arguments, "--json"])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, json.loads(out) if out else None, err


def test_the_same_seed_gives_the_same_log_to_the_byte_and_another_seed_another(capsys):
    """Determinism is the design's: log rows carry board time only."""
    logs = []
    for seed in ("1", "1", "2"):
        code, result, _ = hold(capsys, "dark", "--virtual", "--for", "15m", "--seed", seed)
        assert code == 0
        logs.append(Path(result["log"]).read_bytes())
    assert logs[0] == logs[1]
    assert logs[0] != logs[2]


def test_a_hold_is_logged_a_row_a_second_and_loses_no_line(capsys):
    """Board time, rising by 1 s; nothing lost at full speed."""
    _, result, _ = hold(capsys, "dark", "--virtual", "mat", "--for", "20m")
    t_s = read_log(Path(result["log"]))["t_s"]
    assert len(t_s) in (1199, 1200)
    assert np.abs(t_s - np.arange(1, len(t_s) + 1)).max() < 0.02  # a pass of the loop that found something to do
    assert result["lost_lines"] == 0
    assert result["duration_s"] == 1200
    assert result["scored_from"] == "true temperatures"


def test_a_plant_of_ones_own_is_held(capsys):
    """It starts inside its window and stays there; made once, stepped as promised."""
    code, result, _ = hold(capsys, "dark", "--plant", "plants.py:Counted", "--for", "30m")
    assert (code, result["trips"], result["warm_up_s"]) == (0, [], pytest.approx(0, abs=1))
    assert result["in_window_fraction"] == 1.0
    assert result["bowl_rms_error_c"] < 0.2
    assert result["water_peak_c"] <= 34.5


def test_a_plant_that_dies_is_a_dead_probe_a_trip_and_exit_status_1(capsys):
    """The design: NaN is a dead probe: trip, exit 1. Three bad samples latch (settings: trip.bad_samples)."""
    code, result, _ = hold(capsys, "dark", "--plant", "plants.py:Dies", "--for", "1h")
    assert code == 1
    assert [trip["name"] for trip in result["trips"]] == ["water_probe"]
    assert 600 <= result["trips"][0]["t_s"] <= 605
    said = "The simulated warmer itself failed, so its probes gave no more readings: the plant's water is nan"
    assert result["summary"].startswith(said)


def test_a_plant_file_that_is_wrong_is_exit_status_2(capsys):
    """Missing, without the name, failing at once."""
    for spec in ("nowhere.py:P", "plants.py:Nobody", "plants.py"):
        code, result, err = hold(capsys, "dark", "--plant", spec)
        assert (code, result) == (2, None)
        assert "plant" in err


def test_answers_during_the_self_test_are_recorded_at_their_time_and_each_with_its_verdict():
    """Two temper tests, one taken back, all before the self-test ends: the log has both verdicts, within a tick."""
    Path("s.toml").write_text("".join(
        f'[[event]]\nat_s = {at_s}\nkind = "{kind}"\n'
        for at_s, kind in ((20, "confirm"), (60, "confirm"), (80, "back"), (100, "confirm"))))
    cli.main(["hold", "dark", "--plant", "plants.py:Steady", "--from", "test", "--scenario", "s.toml", "--for", "110s",
              "--out", "hold"])
    events = [json.loads(line) for line in Path("hold/events.jsonl").read_text().splitlines()]
    tests = [(event["t_s"], event["verdict"], event["took_s"]) for event in events if event["event"] == "tested"]
    assert tests == [(pytest.approx(60, abs=2), "good", pytest.approx(40, abs=2)),
                     (pytest.approx(100, abs=2), "good", pytest.approx(80, abs=2))]
    (back_s,) = (event["t_s"] for event in events if event["event"] == "taken_back")
    (checked_s,) = (event["t_s"] for event in events if event["event"] == "checked")
    assert back_s == pytest.approx(80, abs=2)
    assert checked_s > 100


def test_announcements_of_a_scenario_work_with_a_plant(capsys):
    """And reach the board's own events."""
    Path("s.toml").write_text('[[event]]\nat_s = 700\nkind = "announce"\nin_s = 300\nmass_kg = 0.3\ntemp_c = 24.0\n')
    _, result, _ = hold(capsys, "dark", "--plant", "plants.py:Steady", "--scenario", "s.toml", "--for", "20m")
    told = [event for event in read_log(Path(result["log"])).events if event["event"] == "announced"]
    assert len(told) == 1
    assert 699 <= told[0]["t_s"] <= 702


PLATINUM = """
name = "platinum"
heater_w = 150.0
switch = "dc"
period_s = 1.0
water_l = 2.0
bowl_kg = 0.6
chocolate_kg = 2.2
hard_limit_c = 60.0
[probe.water]
kind = "platinum"
[probe.bowl]
kind = "onewire"
"""
LOOSE = """
[[event]]
at_s = 1500
kind = "fault"
name = "water_open"
"""


def test_a_hold_by_a_platinum_probe_keeps_the_window_until_a_lead_is_off(tmp_path, capsys):
    (tmp_path / "rig.toml").write_text(PLATINUM)
    (tmp_path / "loose.toml").write_text(LOOSE)
    arguments = ["hold", "dark", "--virtual", "--rig", "rig.toml", "--for", "40m", "--json", "--seed", "4"]
    assert cli.main(arguments) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["trips"], told["in_window_fraction"]) == ([], 1.0)
    assert cli.main([*arguments, "--scenario", "loose.toml"]) == 1
    (trip,) = json.loads(capsys.readouterr().out)["trips"]
    # Three bad samples in a row latch (trip.bad_samples), a second apart.
    assert (trip["name"], trip["latched"]) == ("water_probe", True)
    assert 1500 <= trip["t_s"] <= 1505


def test_a_learnt_warmer_warms_up_with_water_over_the_ceiling_and_nothing_trips(capsys):
    """The wall stays under 34.5 °C, the water does not: it may be at 34.675 °C until the bowl is nearly warm."""
    Path("gains.toml").write_text("bowl_w_per_k = 4.1\n[bowl]\nkp = 2.4\nti_s = 900.0\n")
    Path("cold.toml").write_text("[start]\nwater_c = 16.0\nbowl_c = 18.0\n")
    code, result, _ = hold(capsys, "dark", "--virtual", "--gains", "gains.toml", "--scenario", "cold.toml",
                           "--for", "90m")
    assert (code, result["trips"], result["temper"]) == (1, [], "set")  # the bowl began so cold that it has set
    log = read_log(Path(result["log"]))
    water_c, bowl_c = log["water_c"], log["bowl_c"]
    over = water_c > 34.5
    assert over.sum() > 120
    assert np.max(water_c) < 35.0  # of a settled hold, its limit
    assert np.max(bowl_c[over]) < 31.0
    assert result["water_peak_c"] == pytest.approx(np.max(water_c), abs=0.2)  # of the whole hold, warm-up included
    assert "A learnt warmer lets its water over the ceiling while a cold bowl warms up" in result["summary"]
    assert not [event for event in log.events if event["event"] in ("warn", "trip")]
