"""Ordinary evenings and nights, and the everyday acts that must trip nothing."""

from __future__ import annotations

import random
from collections.abc import Callable

from bainwright.files.chocolate import load_profile
from bainwright.virtual import scenario as acts

from .phases import NIGHT_C, TARGET_C, Setting
from .rigs import Warmer
from .world import Mishap

HOUR = 3600.0


def _bath(s: Setting) -> bool:
    return bool(s.warmer.rig.plant.bath == "water")


def _watch(s: Setting, seconds: float) -> None:
    s.end_s = max(s.end_s, s.strike_s + seconds)


def _top_up(s: Setting) -> None:
    """A fifth of the water, cold at 15 °C; on a plate a wet cloth cools as much."""
    if _bath(s):
        s.events.append(acts.WaterSwap(at_s=s.strike_s, litres=0.2 * float(s.values["water_l"]), temp_c=15.0))
    else:
        s.events.append(acts.Draught(at_s=s.strike_s, for_s=120.0, factor=8.0))
    _watch(s, 2400.0)


def _kettle_then_cold(s: Setting) -> None:
    """Hot water to help it along, and cold against too much of it: a rise at rest, and then heat is wanted again."""
    litres = float(s.values["water_l"])
    if _bath(s):
        s.events += [acts.WaterSwap(at_s=s.strike_s, litres=0.05 * litres, temp_c=60.0),
                     acts.WaterSwap(at_s=s.strike_s + 100.0, litres=0.3 * litres, temp_c=18.0)]
    else:
        watts = float(s.values["heater_w"])
        s.mishaps += [Mishap(s.strike_s, "world", "outside_w", watts),
                      Mishap(s.strike_s + 1.4 * 4180.0 * litres / watts, "world", "outside_w", 0.0)]
        s.events.append(acts.Draught(at_s=s.strike_s + 100.0, for_s=400.0, factor=8.0))
    _watch(s, 2700.0)


def _kettle_fill(s: Setting) -> None:
    s.water_c, s.bowl_c = 45.0, 28.0
    _watch(s, 2400.0)


def _warm_bowl(s: Setting) -> None:
    s.water_c, s.bowl_c = 25.0, 45.0
    _watch(s, 3000.0)


def _bowl_lifted(s: Setting) -> None:
    reported = s.rng.random() < 0.5
    s.events += [acts.BowlOff(at_s=s.strike_s, reported=reported),
                 acts.BowlOn(at_s=s.strike_s + 600.0, reported=reported)]
    _watch(s, 2700.0)


def _lid(s: Setting) -> None:
    s.events += [acts.Lid(at_s=s.strike_s, on=True), acts.Lid(at_s=s.strike_s + 1200.0, on=False)]
    _watch(s, 2400.0)


def _door(s: Setting) -> None:
    s.events.append(acts.Draught(at_s=s.strike_s, for_s=300.0, factor=4.0))
    _watch(s, 1500.0)


def _probe_washed(s: Setting) -> None:
    at_s = s.strike_s
    s.mishaps += [Mishap(at_s, "world", "bowl_out", 1.0), Mishap(at_s + 240.0, "world", "bowl_out", 0.0)]
    _watch(s, 1800.0)


def _refill_never_comes(s: Setting) -> None:
    s.mishaps.append(Mishap(s.strike_s, "request", "", {"do": "announce", "in_s": 300}))
    _watch(s, 2400.0)


def _open_hot(s: Setting) -> None:
    """An uncovered hold at 45 °C in a cool kitchen: duty 0.6 to 0.75 with no rise."""
    s.stage = "melted"
    window = {"low_c": 43.5, "target_c": 44.5, "high_c": 45.5, "ceiling_c": 48.0}
    s.profile = {**load_profile("melted").document(), **window}
    s.water_c, s.bowl_c, s.room_c = 46.0, 44.0, 16.0
    _watch(s, 2 * HOUR)


def _cold_start(s: Setting) -> None:
    s.water_c, s.bowl_c, s.room_c = 12.0, 20.0, 16.0
    _watch(s, 2 * HOUR)


def _mains(share: float) -> Callable[[Setting], None]:
    def set_up(s: Setting) -> None:
        s.mishaps.append(Mishap(0.0, "world", "watts_share", share))
        _watch(s, 1 * HOUR)

    return set_up


EVERYDAY: dict[str, Callable[[Setting], None]] = {
    "top_up": _top_up, "kettle_then_cold": _kettle_then_cold,
    "kettle_fill": _kettle_fill, "warm_bowl": _warm_bowl, "bowl_lifted": _bowl_lifted, "lid": _lid,
    "door": _door, "probe_washed": _probe_washed, "refill_never_comes": _refill_never_comes, "open_hot": _open_hot,
    "cold_start": _cold_start, "mains_low": _mains(0.81), "mains_high": _mains(1.21),
}


def _evening(warmer: Warmer, seed: int) -> Setting:
    """Three to five hours of dipping, refills, some reported, a top-up, a door, lids, the bowl lifted now and then."""
    rng = random.Random(f"evening {warmer.name} {seed}")
    s = Setting(warmer, rng, load_profile(rng.choice(("dark", "milk", "white"))).document())
    s.room_c, s.fill = rng.uniform(14.0, 28.0), rng.uniform(0.4, 1.0)
    s.water_c, s.bowl_c = rng.uniform(max(s.room_c, 15.0), 40.0), s.profile["target_c"] + rng.uniform(-3.0, 1.0)
    at_s, s.end_s = 900.0, rng.uniform(3.0, 5.0) * HOUR
    left_kg = s.chocolate_kg
    begin(s, int(s.end_s * 1000) - 60_000)
    while at_s < s.end_s - 900.0:
        left_kg = _something(s, at_s, left_kg)
        at_s += rng.expovariate(1 / 600.0)
    return s


SMALL = ("door", "lid", "bowl", "top_up", "thicker", "thinner", "pause", "washed", "confirm")


def _something(s: Setting, at_s: float, left_kg: float) -> float:
    """One act of an evening; the chocolate that is left."""
    rng, full_kg = s.rng, float(s.values["chocolate_kg"])
    pick = rng.random()
    if pick < 0.4 and left_kg > 0.3 * full_kg:
        mass_kg = rng.uniform(0.05, 0.15) * full_kg
        s.events.append(acts.Dip(at_s=at_s, mass_kg=mass_kg, for_s=rng.uniform(120.0, 600.0)))
        return left_kg - mass_kg
    if pick < 0.6 and left_kg < 0.8 * full_kg:
        mass_kg = rng.uniform(0.05, 0.2) * full_kg
        s.events.append(acts.Refill(at_s=at_s + 300.0, mass_kg=mass_kg, temp_c=rng.uniform(26.0, 33.0)))
        if rng.random() < 0.5:
            s.mishaps.append(Mishap(at_s, "request", "", {"do": "announce", "in_s": 300}))
        return left_kg + mass_kg
    _small_act(s, at_s, rng.choice(SMALL))
    return left_kg


def _small_act(s: Setting, at_s: float, what: str) -> None:
    rng = s.rng
    if what == "door":
        s.events.append(acts.Draught(at_s=at_s, for_s=rng.uniform(30.0, 300.0), factor=rng.uniform(1.5, 5.0)))
    elif what == "lid":
        s.events += [acts.Lid(at_s=at_s, on=True), acts.Lid(at_s=at_s + rng.uniform(60.0, 1800.0), on=False)]
    elif what == "bowl":
        reported, away_s = rng.random() < 0.5, rng.uniform(30.0, 600.0)
        s.events += [acts.BowlOff(at_s=at_s, reported=reported), acts.BowlOn(at_s=at_s + away_s, reported=reported)]
    elif what == "top_up" and _bath(s):
        share, warm_c = rng.uniform(0.02, 0.2), rng.choice((15.0, 20.0, 40.0))
        s.events.append(acts.WaterSwap(at_s=at_s, litres=share * float(s.values["water_l"]), temp_c=warm_c))
    elif what == "pause":
        s.mishaps.append(Mishap(at_s, "request", "", {"do": "pause"}))
        s.mishaps.append(Mishap(at_s + rng.uniform(20.0, 300.0), "request", "", {"do": "resume"}))
    elif what == "washed":
        s.mishaps.append(Mishap(at_s, "world", "bowl_out", 1.0))
        s.mishaps.append(Mishap(at_s + rng.uniform(30.0, 300.0), "world", "bowl_out", 0.0))
    elif what in ("thicker", "thinner", "confirm"):
        s.mishaps.append(Mishap(at_s, "request", "", {"do": what}))


def _night(warmer: Warmer, seed: int) -> Setting:
    """Melted stock kept six to thirteen hours, nobody there; the kitchen cools and someone comes by once."""
    rng = random.Random(f"night {warmer.name} {seed}")
    s = Setting(warmer, rng, load_profile("melted").document())
    s.stage = "melted"
    s.room_c, s.fill = rng.uniform(18.0, 28.0), rng.uniform(0.2, 1.0)
    s.water_c, s.bowl_c = rng.uniform(s.room_c, 50.0), rng.uniform(30.0, 42.0)
    s.end_s = rng.uniform(6.0, 13.0) * HOUR
    begin(s, 0)
    s.events.append(acts.Room(at_s=2 * HOUR, temp_c=max(14.0, s.room_c - rng.uniform(0.0, 4.0))))
    s.events.append(acts.Lid(at_s=rng.uniform(0.2, 1.0) * HOUR, on=True))
    if rng.random() < 0.5:
        s.events.append(acts.Draught(at_s=rng.uniform(1.0, 5.0) * HOUR, for_s=300.0, factor=3.0))
    return s


def begin(s: Setting, for_ms: int) -> None:
    """Ask for the hold."""
    room = round(1000 * (s.room_c + s.rng.uniform(-2.0, 2.0)))
    s.mishaps.append(Mishap(
        s.start_s, "request", "", {"do": "start", "stage": s.stage, "for_ms": for_ms, "room": room}))


EVENINGS: dict[str, Callable[[Warmer, int], Setting]] = {"evening": _evening, "melted_night": _night}
assert TARGET_C < NIGHT_C
