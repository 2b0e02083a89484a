"""The experiment that a tuning learns from: run like a hold, on the board or on a simulated one."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from bainwright.core import units
from bainwright.core.errors import RefusedError
from bainwright.core.keys import Interrupts
from bainwright.core.units import duration_words
from bainwright.display.view import choose_view
from bainwright.evening import endings
from bainwright.evening.keyboard import KEYS_ALONE, KEYS_VIRTUAL
from bainwright.evening.options import HoldSetup
from bainwright.evening.prompts import HUMIDITY
from bainwright.evening.runner import Outcome, Runner
from bainwright.files.chocolate import Profile
from bainwright.files.rig import DEFAULT_RIG, Rig, load_rig
from bainwright.link.stopping import NOT_OFF, stop
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Surroundings, bath_j_per_k, steady
from bainwright.physics.materials import CP_LIQUID
from bainwright.tuning.tune import TuneAsked
from bainwright.virtual.opening import open_board
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import Scenario, StartTable
from bainwright.virtual.session import Simulated

Say = Callable[..., None]
Store = Callable[[Runner, Outcome, Any], object]

OFF = (endings.DONE, endings.STOPPED, endings.TRIPPED)  # a restarted board may resume by itself
LATE_S = 600.0  # chosen: an experiment so much over its time, and a quarter of it, has a board whose clock is wrong
LEARN_S = 3600.0  # chosen: from cold an hour holds the warm-up, and four waves or more; see the bench's table
WARM_SHARE = 0.6  # chosen: of the experiment; the waves after it show how the chocolate follows the water
COLD_C = 20.0  # a simulated warmer is learnt from cold, as a real one should be


def learn(asked: TuneAsked, profile: Profile, say: Say, store: Store) -> tuple[Path, Rig | None]:
    """Run the experiment, and have it stored as any hold is; its log's folder, and the rig if one was named."""
    setup = _experiment(asked, profile)
    view = choose_view(sys.stderr, full=sys.stdout.isatty(), big=False, keys=KEYS_VIRTUAL, keys_alone=KEYS_ALONE)
    with open_board(setup.port, setup.simulated) as session, Runner(setup, session, view) as runner:
        runner.prepare()
        start = runner.starter
        for note in [*runner.notes(), *doubts(start.rig, profile, start.room_c, setup.for_s or LEARN_S)]:
            say(f"bain: {note}", err=True)
        stir = "" if session.virtual else "stir the bowl every minute or two; "
        say(f"bain: learning the warmer: up to its working point, then a slow wave of heat; {stir}Ctrl-C stops it and "
            "the heater is off", err=True)
        limit_s = math.inf if session.virtual else 1.25 * (setup.for_s or LEARN_S) + LATE_S
        ended = runner.run(limit_s)
        off = ended.watch.ended in OFF or session.virtual
        if not off and ended.watch.ended != endings.NOT_OFF:  # it is late, or nobody stays near, or nobody sees it
            off = stop(session)
        folder = ended.watch.log.folder
        with Interrupts():  # as of a hold: Ctrl-C must not cost it its report
            store(runner, ended, session.truth())
    if ended.watch.ended not in (endings.DONE, endings.STOPPED):
        raise RefusedError(f"the experiment did not come to its end: {_why(ended, limit_s)}",
                           hint=f"{'the warmer is off' if off else NOT_OFF}; its log is in {folder}")
    return folder, setup.rig


def doubts(rig: Rig, profile: Profile, room_c: float, for_s: float) -> list[str]:
    """Why the tuning may be refused at its end, as far as the rig file tells: said before the wait.

    Parameters
    ----------
    rig : Rig
        The warmer.
    profile : Profile
        What it is to hold.
    room_c : float
        The room, where everything begins cold, °C.
    for_s : float
        How long the experiment takes, s.
    """
    body, target_c, heater_w = body_of(rig), profile.target_c, float(rig.settings["heater_w"])
    chocolate_kg = float(rig.settings["chocolate_kg"])
    needs = steady(body, target_c, Surroundings(room_c, HUMIDITY, chocolate_kg, rig.plant.ring_cover))
    if needs.need_w > heater_w:
        return [f"by its rig file the heater is too weak: holding {target_c:g} °C in a room of {room_c:g} °C takes "
                f"about {needs.need_w:.0f} W of its {heater_w:g} W, and tuning would be refused for that. Cover bowl "
                "and water, warm the room, or take a stronger heater"]
    full_j_per_k = bath_j_per_k(body) + body.wall_j_per_k + chocolate_kg * CP_LIQUID.value
    # The losses grow to their end meanwhile: half of them is their mean.
    warm_s = full_j_per_k * max(0.0, target_c - room_c) / (heater_w - needs.need_w / 2.0)
    if warm_s > WARM_SHARE * for_s:
        wanted_s = 1800.0 * math.ceil(warm_s / WARM_SHARE / 1800.0)
        return [f"by its rig file the warmer takes about {duration_words(warm_s)} to warm up, which leaves little of "
                f"the {duration_words(for_s)} to learn from: --for {units.duration_typed(wanted_s)} is safer"]
    return []


def _why(ended: Outcome, limit_s: float) -> str:
    if ended.watch.trips:
        return str(ended.watch.trips[0]["said"])
    if ended.wall_s > limit_s:
        return "by this PC's clock its time is long over, and by the warmer's it is not"
    if ended.watch.ended == endings.LEFT:
        return "this process was ended"
    return str(ended.watch.ended)


def _experiment(asked: TuneAsked, profile: Profile) -> HoldSetup:
    virtual = asked.virtual is not None or asked.plant is not None
    name = asked.rig or ((asked.virtual or DEFAULT_RIG) if virtual else None)
    rig = load_rig(name) if name else None
    if rig is not None and asked.vessel:
        rig = rig.with_vessel(asked.vessel)
    for_s = units.parse_duration_s(asked.for_) if asked.for_ else LEARN_S
    room_c = units.parse_room_c(asked.room) if asked.room else None
    setup = HoldSetup(profile, "tune", for_s, room_c, rig, {}, None, None, asked.port)
    if not virtual:
        return setup
    assert rig is not None
    rig = name_probes(rig)
    start_c = COLD_C if room_c is None else room_c
    scenario = None if asked.plant else Scenario(
        start=StartTable(water_c=start_c, bowl_c=start_c, room_c=start_c))
    speed = units.parse_speed(asked.speed) if asked.speed else None
    return replace(setup, rig=rig, simulated=Simulated(rig, asked.plant, scenario, asked.seed or 0, speed, None))
