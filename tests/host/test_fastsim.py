"""The compiled evenings: against the classes they are compiled from, and against the firmware on the virtual board."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import serial

from bainboard.control.cascade import Cascade
from bainboard.control.rules import safe_gains
from bainwright.files.documents import flash_of
from bainwright.files.rig import Rig, load_rig
from bainwright.link.ports import open_port
from bainwright.link.protocol import Link
from bainwright.tuning import choose, compiled, fastsim, model, surrogate
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.plant import Start, Warmer
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import load_scenario
from bainwright.virtual.truth import read_truth

RIGS = ["pot", "mat", "plate"]
assert serial  # the virtual board's ports need it


def quiet(name: str, folder: Path) -> Rig:
    """A bundled rig whose probes neither flicker nor err, so that two runs can be laid upon each other."""
    text = (Path(fastsim.__file__).parents[1] / "virtual" / "rigs" / f"{name}.toml").read_text()
    text += "probe_noise_c = 0.0\nwater_probe_bias_c = 0.0\nbowl_probe_bias_c = 0.0\n"
    text = text.replace("[vessel.small]\nbowl_kg = 0.35\nchocolate_kg = 1.0\n", "")
    if "[plant]" not in text:
        text = text.replace("probe_noise_c", "[plant]\nprobe_noise_c")
    path = folder / f"{name}.toml"
    path.write_text(text)
    return load_rig(str(path))


def test_compiled_plant_and_law_are_the_classes_to_the_last_bit():
    """Oracle: the same steps in Python, an hour of them with a refill in the middle."""
    rig = load_rig("pot")
    run = fastsim.run_of(rig, dict(rig.settings))
    module = fastsim.machine(run)
    law, plant = compiled.records([run.cascade])[0], compiled.records([run.warmer])[0]
    cascade, warmer = run.cascade, run.warmer
    cascade.reset(25.0, 29.0)
    module.Cascade_reset(law, 25.0, 29.0)
    for second in range(3600):
        if second == 1800:
            warmer.refill(0.3, 24.0)
            module.Warmer_refill(plant, 0.3, 24.0)
        duty = cascade.step(warmer.water_c, warmer.bowl_c, 31.5, 34.5, 20.0, 1.0)
        cascade.applied(duty)
        compiled_duty = module.Cascade_step(law, plant["water_c"], plant["bowl_c"], 31.5, 34.5, 20.0, 1.0, False, True)
        module.Cascade_applied(law, compiled_duty)
        assert compiled_duty == duty
        warmer.step(150.0 * duty, 1.0)
        module.Warmer_step(plant, 150.0 * compiled_duty, 1.0)
        assert (plant["water_c"], plant["bowl_c"], plant["wall_c"]) == (warmer.water_c, warmer.bowl_c, warmer.wall_c)


def test_a_lost_reading_is_a_nan_to_the_compiled_law():
    rig = load_rig("pot")
    run = fastsim.run_of(rig, dict(rig.settings))
    module = fastsim.machine(run)
    law = compiled.records([run.cascade])[0]
    module.Cascade_reset(law, 33.0, 31.5)
    run.cascade.reset(33.0, 31.5)
    for bowl_c, as_nan in ((31.5, 31.5), (None, np.nan), (31.25, 31.25)):
        want = run.cascade.step(33.0, bowl_c, 31.5, 34.5, 20.0, 1.0)
        assert module.Cascade_step(law, 33.0, as_nan, 31.5, 34.5, 20.0, 1.0, False, True) == want
    assert module.Cascade_step(law, np.nan, 31.0, 31.5, 34.5, 20.0, 1.0, False, True) == 0.0


def held_on_the_board(rig: Rig, folder: Path, hours: float, scenario) -> tuple[np.ndarray, int]:
    """Truth of a hold by the real firmware, and the second its control took over from the self-test."""
    rig = name_probes(rig)
    seconds = round(hours * 3600)
    with VirtualBoard(rig, None, scenario, 0, None, flash_of(rig), None, folder / "truth") as board:
        link = Link(open_port(board.path))
        link.hello()
        board.arm()
        link.request("start", drop_earlier=True, stage="work", for_ms=seconds * 1000)
        board.run_clock()
        checked = None
        ended = False
        while not ended:
            for message in link.poll():
                if isinstance(message, dict) and message.get("event") == "checked":
                    checked = message["t"] // 1000
                ended = ended or (isinstance(message, dict) and message.get("event") == "ended")
        link.transport.close()
    assert checked is not None
    return read_truth(folder / "truth")[:seconds], checked


@pytest.mark.parametrize("name", RIGS)
def test_a_hold_is_the_real_firmware_s_to_a_seventh_of_a_degree(name: str, tmp_path: Path):
    """Oracle: the untouched firmware in single precision on the virtual board, its switch, probes and self-test.

    The self-test's heat is given to the simulation as the board gave it; from then on both are on their own. The
    simulation has no looks: the pattern that proves the probe moves the water by a quarter of a degree and the bowl by
    up to an eighth on the plate, and the bowl's derivative answers that. Without looks the two were within 0.02 °C.
    """
    rig = quiet(name, tmp_path)
    scenario = load_scenario("orange_sticks") if name == "pot" else None
    hours = 2.5 if scenario else 1.5
    truth, checked = held_on_the_board(rig, tmp_path, hours, scenario)
    run = fastsim.run_of(rig, dict(rig.settings), scenario)
    given_w = truth["power_w"][: checked + 1][None, :]  # the pass that ends the self-test heats nothing yet
    traced = fastsim.simulate([run], len(truth), stride=1, given_w=given_w).trace[0]
    bowl_c = traced[:, fastsim.TRACE.index("bowl_c")]
    assert np.max(np.abs(bowl_c - truth["bowl_c"])) <= 0.15
    water_c = traced[:, fastsim.TRACE.index("water_c")]
    assert np.sqrt(np.mean((water_c - truth["water_c"]) ** 2)) <= 0.15


def test_scores_are_what_the_trace_says():
    """Oracle: NumPy on the trace of the same run."""
    rig = load_rig("pot")
    scenario = load_scenario("orange_sticks")
    done = fastsim.simulate([fastsim.run_of(rig, dict(rig.settings), scenario)], 13200, stride=1)
    bowl_c, wall_c = (done.trace[0][:, fastsim.TRACE.index(name)] for name in ("bowl_c", "wall_c"))
    first = int(np.argmax((bowl_c >= 31.0) & (bowl_c <= 32.0)))
    assert done["warm_up_s"][0] == first + 1
    assert done["rms_k"][0] == pytest.approx(np.sqrt(np.mean((bowl_c[first:] - 31.5) ** 2)))
    assert done["inside"][0] == pytest.approx(np.mean((bowl_c[first:] >= 31.0) & (bowl_c[first:] <= 32.0)))
    assert done["wall_peak_c"][0] == wall_c.max()
    assert done["exposure_k_min"][0] == pytest.approx(np.maximum(0.0, bowl_c - 32.0).sum() / 60.0)


def test_runs_side_by_side_are_those_run_alone():
    rig = load_rig("mat")
    runs = [fastsim.run_of(rig, dict(rig.settings), seed=float(n)) for n in range(5)]
    together = fastsim.simulate(runs, 1800, batch=2).scores
    alone = np.vstack([fastsim.simulate([run], 1800).scores for run in runs])
    assert np.array_equal(together, alone, equal_nan=True)
    assert len({row[8] for row in together}) == 5  # each with its own noise


def test_a_sampled_warmer_settles_at_its_heat_balance():
    """Oracle: the balance by hand. 60 W into 1.5 W/K of bath and, through 4 W/K, 0.5 W/K of bowl, the room at 20 °C."""
    which = model.Model(8000.0, 3000.0, 4.0, 1.5, 0.5, 30.0, 8.0, 15.0, 2.0, 150.0, 300.0)
    warmer = surrogate.ModelWarmer(which, surrogate.Kitchen(temper=1.0), 20.0, 20.0)
    for _ in range(200000):
        warmer.step(60.0, 1.0)
    water_k = 60.0 / (1.5 + 4.0 * 0.5 / 4.5)
    assert warmer.water_c == pytest.approx(20.0 + water_k, abs=1e-6)
    assert warmer.bowl_c == pytest.approx(20.0 + water_k * 4.0 / 4.5, abs=1e-6)


def test_what_cannot_be_compiled_is_refused_by_name():
    def odd(x: float) -> float:
        return x + len(RIGS)

    with pytest.raises(AssertionError, match="RIGS"):
        compiled.Unit().outside(odd, "odd", __import__(__name__))


def test_safe_gains_of_a_task_are_the_board_s():
    settings = dict(load_rig("pot").settings)
    gains = safe_gains(settings)
    assert choose.safe(settings)["gains.water.kp"] == gains.water_kp
    assert isinstance(fastsim.cascade_of(settings), Cascade)
    assert Warmer(load_rig("pot"), Start()).water_c == 25.0
