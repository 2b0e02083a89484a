"""Kitchens of every kind for `bain plan`, drawn at random, and what no plan for any of them may say."""

from __future__ import annotations

import math
import random
import re
from collections.abc import Iterator
from typing import Any

from bainwright.core.errors import UseError
from bainwright.core.masses import Shown
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.parts import Plan
from bainwright.plan.planner import make_plan
from bainwright.plan.request import BatchRequest
from bainwright.plan.words import short_text, text

KINDS = ("dark", "milk", "white", "ruby", "caramelised_white", "melted")
NOTHING = re.compile(r"(?<![\d.,])0 (?:g|kg|oz|lb|W|L|min)\b")


def planned(name: str, total: str) -> Plan:
    """The plan of a batch, all else as usual."""
    return make_plan(batch_request(PlanOptions(name, total=total), Shown()))


def words_of(plan: Plan) -> str:
    """What a plan says, on one line."""
    return " ".join(text(plan, Shown()).split())


def options(rnd: random.Random) -> PlanOptions:
    """One kitchen: any chocolate, 50 g to 40 kg, rooms from 5 to 40 °C, seed from the freezer to half melted."""
    kind = rnd.choice(KINDS)
    asked: dict[str, Any] = {
        "profile": kind,
        "total": f"{math.exp(rnd.uniform(math.log(0.05), math.log(40.0))):.3f}kg",
        "rig": rnd.choice(["pot", "mat", "plate"]),
        "room": f"{rnd.uniform(5.0, 40.0):.1f}",
        "humidity": f"{rnd.uniform(5.0, 99.0):.0f}%",
        "water_temp": f"{rnd.uniform(2.0, 60.0):.1f}",
        "cold_water": f"{rnd.uniform(0.0, 40.0):.1f}",
        "altitude": rnd.uniform(-400.0, 5000.0),
    }
    if kind != "melted":
        asked["method"] = rnd.choice(["seed", "seed", "seed", "butter", "cool"])
        asked["seed_temp"] = f"{rnd.uniform(0.0, 40.0):.1f}" if rnd.random() < 0.7 else None
        asked["melt"] = f"{rnd.uniform(33.0, 50.0):.1f}" if rnd.random() < 0.3 else None
        if asked["method"] == "seed" and rnd.random() < 0.3:
            asked["seed"] = f"{rnd.uniform(1.0, 60.0):.0f}%"
    return PlanOptions(**asked)


def requests(seed: int, number: int) -> Iterator[BatchRequest]:
    """So many requests that are accepted."""
    rnd = random.Random(seed)
    found = 0
    while found < number:
        try:
            request = batch_request(options(rnd), Shown())
        except UseError:
            continue
        found += 1
        yield request


def check_numbers(value: Any, where: str = "") -> None:
    """Every number is finite; every mass, time, heat and volume is not negative."""
    if isinstance(value, dict):
        for name, each in value.items():
            check_numbers(each, name)
    elif isinstance(value, list | tuple):
        for each in value:
            check_numbers(each, where)
    elif isinstance(value, float):
        assert math.isfinite(value), where
        if where.endswith(("_kg", "_s", "_j", "_w", "_l", "_h")):
            assert value >= 0.0, (where, value)


def check_words(plan: Plan) -> None:
    """No sentence weighs out nothing, and none has an infinity in it."""
    for said in (text(plan, Shown(True, True)), text(plan, Shown()), short_text(plan, Shown())):
        assert not NOTHING.search(said), said
        assert not re.search(r"\b(inf|nan|None)\b", said), said
