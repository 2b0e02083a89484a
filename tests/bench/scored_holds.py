"""Whole holds with each figure and sentence recomputed: ``python tests/bench/scored_holds.py 20 7`` plays 20 of seed 7.

The plants are drawn at random: cold, warm and hot starts, spikes of the bowl, noisy readings scored as they are, and
the three rigs that come with the product. The suite plays seven; gaps in the readings are in its 200 records.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "host"))

from scored_hold import recompute

PLANT = '''
import random


class {name}:
    raw_probes = {raw}

    def __init__(self):
        self.random, self.t_s = random.Random({seed}), 0.0
        self.water_c, self.bowl_c = {water_c}, {bowl_c}

    def step(self, power_w, dt_s):
        self.t_s += dt_s
        flow_w = {film} * (self.water_c - self.bowl_c)
        self.water_c += dt_s * (power_w - {loss} * (self.water_c - {room_c}) - flow_w) / {store}
        self.bowl_c += dt_s * (flow_w - {top} * (self.bowl_c - {room_c})) / {bowl_store}
        if {spike_s} <= self.t_s < {spike_s} + dt_s:
            self.bowl_c += {spike_k}

    @property
    def temps_c(self):
        return {{"water": self.water_c + self.random.gauss(0, {noise_c}),
                "bowl": self.bowl_c + self.random.gauss(0, {noise_c})}}
'''
START = "[start]\nwater_c = {water_c:.2f}\nbowl_c = {bowl_c:.2f}\nroom_c = {room_c:.1f}\n"


def drawn(rnd: random.Random, folder: Path) -> tuple[str, list[str]]:
    """A chocolate, and the options of a hold; writes the plant or the scenario they name."""
    chocolate = rnd.choice(["dark", "milk"])
    start_c = rnd.choice([18.0, 24.0, 29.5, 31.0, 31.5, 32.5, 34.6, 38.0, 45.0]) + rnd.uniform(-0.5, 0.5)
    water_c, room_c = start_c + rnd.uniform(-6.0, 3.0), rnd.uniform(16.0, 30.0)
    if rnd.random() < 0.3:
        (folder / "start.toml").write_text(START.format(water_c=water_c, bowl_c=start_c, room_c=room_c))
        return chocolate, ["--virtual", rnd.choice(["pot", "mat", "plate"]), "--scenario", str(folder / "start.toml"),
                           "--seed", str(rnd.randrange(1000))]
    raw = rnd.random() < 0.4
    (folder / "plant.py").write_text(PLANT.format(
        name="Raw" if raw else "True_", raw=raw, seed=rnd.randrange(1000), water_c=water_c, bowl_c=start_c,
        film=rnd.uniform(5.0, 14.0), loss=rnd.uniform(2.0, 7.0), room_c=room_c, store=rnd.uniform(7000.0, 14000.0),
        top=rnd.uniform(0.4, 1.6), bowl_store=rnd.uniform(1500.0, 5000.0),
        spike_s=rnd.choice([1e9, rnd.uniform(60.0, 1500.0)]), spike_k=rnd.choice([-3.0, 0.7, 4.0]),
        noise_c=rnd.choice([0.0, 0.05]) if raw else 0.0))  # fmt: skip
    return chocolate, ["--plant", f"{folder / 'plant.py'}:{'Raw' if raw else 'True_'}"]


def main(number: int, seed: int) -> None:
    """Play so many holds; a figure or a sentence that disagrees ends the run with the plant's file named."""
    rnd, claims, begun = random.Random(seed), 0, time.perf_counter()
    os.environ["BAIN_HOME"] = tempfile.mkdtemp()
    for at in range(1, number + 1):
        folder = Path(tempfile.mkdtemp())
        chocolate, options = drawn(rnd, folder)
        try:
            claims += recompute(chocolate, options, folder / "hold", "25m")
        except AssertionError:
            print(f"hold {at} of seed {seed}: bain hold {chocolate} {' '.join(options)}", flush=True)
            raise
        if at % 10 == 0:
            print(f"{at} holds, {claims} claims checked, {time.perf_counter() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    main(*(int(each) for each in (sys.argv[1:] or (20, 7))))
