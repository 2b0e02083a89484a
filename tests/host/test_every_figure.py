"""Every figure that a hold reports, in JSON and in sentences, against a second scorer that shares no code with it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from independent_scorer import Row, check_sentences, rescore
from scored_hold import WINDOWS, agree, known, recompute

from bainwright.files.score import READINGS, Trace, score
from bainwright.report.sentences import paragraph


@st.composite
def records(draw):
    """Short holds: cold, warm and hot starts that near the window, with spikes, noise, gaps and lost readings."""
    seconds = draw(st.integers(1, 1500))
    start_c = draw(st.sampled_from([18.0, 26.0, 29.5, 31.0, 31.5, 32.0, 33.0, 34.5, 38.0, 45.0]))
    end_c = draw(st.sampled_from([29.0, 30.9, 31.0, 31.4, 31.6, 32.05, 33.0, 40.0]))
    tau_s = draw(st.floats(5, 2000))
    noise_c = draw(st.sampled_from([0.0, 0.02, 0.3]))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    t_s = np.arange(1, seconds + 1, dtype=float)
    bowl_c = end_c + (start_c - end_c) * np.exp(-t_s / tau_s) + rng.normal(0, noise_c, seconds)
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, seconds - 1))
        bowl_c[at : at + draw(st.integers(1, 90))] += draw(st.sampled_from([-3.0, 0.7, 4.0, math.nan]))
    if draw(st.booleans()):  # a stay of about a minute: an entry, or just not
        at = draw(st.integers(0, seconds - 1))
        bowl_c[at : at + draw(st.integers(50, 70))] = 30.95 + 0.05 * draw(st.integers(0, 2))
    keep = np.ones(seconds, dtype=bool)
    for _ in range(draw(st.integers(0, 2))):
        at = draw(st.integers(0, seconds - 1))
        keep[at + 1 : at + draw(st.integers(1, 200))] = False
    target_c = np.where(rng.random(seconds) < draw(st.sampled_from([0.0, 0.5])), np.nan, 31.6)
    water_c = np.where(rng.random(seconds) < 0.01, np.nan, bowl_c + 1.3)
    return (np.round(each[keep], 3) for each in (t_s, water_c, bowl_c, target_c)), float(t_s[-1] + 1)


def rows_of(t_s, water_c, bowl_c, target_c, usual_c):
    """Columns as rows of the second scorer."""
    return [Row(float(t), known(water), known(bowl), usual_c if math.isnan(target) else float(target))
            for t, water, bowl, target in zip(t_s, water_c, bowl_c, target_c, strict=True)]


@settings(max_examples=200, deadline=None)
@given(records(), st.sampled_from(sorted(WINDOWS)))
def test_figures_and_sentences_agree_with_the_second_scorer(record, chocolate):
    """To the last digit that a sentence shows, and to 1e-9 in JSON."""
    columns, end_s = record
    t_s, water_c, bowl_c, target_c = columns
    window = WINDOWS[chocolate]
    s = score(Trace(t_s, water_c, bowl_c, target_c, end_s, READINGS), window)
    wanted = rescore(rows_of(t_s, water_c, bowl_c, target_c, window.target_c), end_s, window.low_c, window.high_c)
    agree(s.as_dict(), wanted)
    check_sentences(paragraph(chocolate, s, window, []), wanted, window.low_c, window.high_c, window.ceiling_c)


PLANT = '''
import random


class Bath:
    """Two lumps and a cold or warm start; noisy where it says so. Shares nothing with the built-in warmer."""

    water_c, bowl_c, noise_c, watts = 33.0, 31.5, 0.0, 150.0

    def __init__(self):
        self.random = random.Random(7)
        self.t_s = 0.0

    def step(self, power_w, dt_s):
        self.t_s += dt_s
        self.water_c += dt_s * (power_w - 6.0 * (self.water_c - 20.0) - 8.0 * (self.water_c - self.bowl_c)) / 9000.0
        self.bowl_c += dt_s * (8.0 * (self.water_c - self.bowl_c) - 1.0 * (self.bowl_c - 20.0)) / 4000.0
        self.happens()

    def happens(self):
        """Nothing."""

    @property
    def temps_c(self):
        return {"water": self.water_c + self.random.gauss(0, self.noise_c),
                "bowl": self.bowl_c + self.random.gauss(0, self.noise_c)}


class Warm(Bath):
    water_c, bowl_c = 35.0, 38.0


class Spike(Bath):
    def happens(self):
        if 600.0 <= self.t_s < 630.0:
            self.bowl_c = 35.0


class Raw(Bath):
    raw_probes, noise_c = True, 0.05


class Dip(Bath):
    def happens(self):
        if 900.0 <= self.t_s < 901.0:
            self.bowl_c = 29.0
'''
COLD = "[start]\nwater_c = 22.0\nbowl_c = 24.0\n"
HOT = "[start]\nwater_c = 45.0\nbowl_c = 45.0\nroom_c = 35.0\n"
MILD = "[start]\nwater_c = 33.0\nbowl_c = 33.5\n"
HOLDS = [
    ("dark", ["--plant", "plants.py:Warm"]), ("dark", ["--plant", "plants.py:Spike"]),
    ("dark", ["--plant", "plants.py:Raw"]), ("milk", ["--plant", "plants.py:Dip"]),
    ("dark", ["--virtual", "mat", "--scenario", "cold.toml"]), ("dark", ["--virtual", "pot", "--scenario", "hot.toml"]),
    ("milk", ["--virtual", "plate", "--scenario", "mild.toml"]),
]


@pytest.mark.slow
@pytest.mark.parametrize(("chocolate", "options"), HOLDS, ids=[f"{name} {' '.join(each)}" for name, each in HOLDS])
def test_a_whole_hold_reports_what_its_files_say(chocolate, options, tmp_path, monkeypatch):
    """Seven holds on plants and rigs; ``tests/bench/scored_holds.py`` draws any number of them."""
    monkeypatch.chdir(tmp_path)
    for name, text in (("plants.py", PLANT), ("cold.toml", COLD), ("hot.toml", HOT), ("mild.toml", MILD)):
        Path(name).write_text(text)
    assert recompute(chocolate, options, Path("hold")) >= 5
