"""A night or an evening reviewed from its record: temperatures, trips, gaps, heat, water, outages. Pure functions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainboard import settings
from bainwright.archive.listing import Entry
from bainwright.core.errors import BainError
from bainwright.files.rig import Rig
from bainwright.files.score import LONGEST_STEP_ROWS
from bainwright.happenings import jumps, stray
from bainwright.happenings.announced import Announced, announced, moved
from bainwright.happenings.balance import Balance
from bainwright.happenings.jumps import Jump
from bainwright.happenings.kinds import Happening
from bainwright.happenings.outside import Course, course_of
from bainwright.happenings.search import find
from bainwright.happenings.stray import Stray
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Scales, Surroundings, vapour_kg_per_s
from bainwright.plan.spread import GUESSED_POT
from bainwright.record.gaps import longest_steps_s, row_s_of
from bainwright.record.reader import HoldLog
from bainwright.review.night_figures import NightFigures, night_figures
from bainwright.words import terms

Floats = NDArray[np.float64]

PC_ROW_S, LEAST_WATCHED = 1.5, 60  # a PC's rows are a second apart, a board's own ten; chosen: a minute of them
COVERED, OPEN = 0.9, 0.0  # share of the ring of water that is covered; the record does not say which (chosen)
HUMIDITY, ROOM_C = 0.5, 20.0  # of the room (common practice, no source)
TOP_UP_SHARE = 0.1  # a tenth of the water gone asks for a top-up (chosen: the probe still sits in it)
LONGEST_S = 72 * 3600.0  # chosen: a hold lasts 48 h at most, so a longer record has a wrong time in it
SIZES = {"heater_w", "water_l", "bowl_kg", "chocolate_kg", "heater_lag_s"}  # what a heat balance needs of the rig
FIGURES = ("below_s", "inside_s", "above_s", "unknown_s", "longest_outside_s", "exposure_k_min", "bowl_low_c",
           "bowl_peak_c", "water_peak_c")  # fmt: skip


@dataclass(frozen=True)
class Gap:
    """A stretch without rows, in seconds of the hold."""

    from_s: float
    to_s: float


@dataclass(frozen=True)
class Alarm:
    """A trip or a warning: when, the fault's number, and whether it was a trip."""

    t_s: float
    fault: int
    trip: bool


@dataclass(frozen=True)
class Night:
    """What a record says about one hold.

    Attributes
    ----------
    entry : Entry
        Its place in the list.
    figures : dict of str to float or None
        `FIGURES`, from the stored report; of the steps that were scored, where melting and seeding came before.
    part : str
        What the figures are of: ``work``, ``melted``, or empty for the whole hold.
    temper : str
        What became of the temper, as the list has it.
    alarms : list of Alarm
        In their order.
    course : Course or None
        When the chocolate was in its window, and when not.
    gaps : list of Gap
        Stretches without rows.
    rows, row_s : int, float
        How many rows there are, and the longest usual step between them, s.
    alone : list of Gap or None
        Stretches that the board recorded alone; None where that is all of it.
    heat_kwh, mean_w : float or None
        Heat that the heater gave, kWh, and its mean over the hold, W; None without the heater's power.
    evaporated_g : tuple of float or None
        Water that a bath of this size loses in that time, g: the least and the most; None for a plate.
    top_up_due : bool
        Whether the most of it is a tenth of the bath.
    outages : list of (float, dict)
        Restarts and power cuts: when, and the event.
    happenings : list of Happening
        What the readings show, announced or not.
    announced : list of Announced
        What somebody announced while the balance could see it, with what the readings show of it.
    balance : Balance or None
        The heat balance that they were found from; None without the rig's sizes.
    own : NightFigures or None
        The warmer's own figures on that night, to compare with other nights; None where it was not quiet for an hour.
    setup : dict
        The ``rig`` and ``gains`` of the hold, as they were stored.
    bath : str
        What was under the bowl: ``water`` or ``plate``.
    notes : list of str
        What is damaged in the record, in words.
    strays : list of Stray
        Falls of the bowl over a warmer bath that the balance does not tell.
    jumps : list of Jump
        Changes of a reading within a minute that it does not tell.
    """

    entry: Entry
    figures: dict[str, float | None]
    part: str
    temper: str
    alarms: list[Alarm]
    course: Course | None
    gaps: list[Gap]
    rows: int
    row_s: float
    alone: list[Gap] | None
    heat_kwh: float | None
    mean_w: float | None
    evaporated_g: tuple[float, float] | None
    top_up_due: bool
    outages: list[tuple[float, dict[str, Any]]]
    happenings: list[Happening]
    announced: list[Announced]
    balance: Balance | None
    own: NightFigures | None
    setup: dict[str, Any]
    bath: str
    notes: list[str]
    strays: list[Stray] = field(default_factory=list)
    jumps: list[Jump] = field(default_factory=list)


def review(entry: Entry, log: HoldLog) -> Night:
    """Review one hold.

    Parameters
    ----------
    entry : Entry
        Its place in the list.
    log : HoldLog
        Its log, with facts and events.
    """
    t_s = np.asarray(log["t_s"], dtype=float)
    row_s = row_s_of(log)
    heat_kwh, mean_w = _heat(log, t_s, row_s)
    evaporated_g, due = _water(log, t_s, row_s)
    falls = stray.strays(log)
    balance, happened, own = _happened(log, falls)
    known = _announced(log, balance, happened)
    report = log.facts.get("report")
    stored = report if isinstance(report, dict) else {}
    scored = stored.get("dipping")
    scored = scored if isinstance(scored, dict) else {}
    return Night(
        entry=entry,
        figures={name: _number(scored.get(name, stored.get(name))) for name in FIGURES},
        part=("melted" if entry.kind == "melted" else "work") if scored else "",
        temper=entry.temper,
        alarms=_alarms(log),
        gaps=_gaps(t_s, longest_steps_s(log["state"], row_s), entry.duration_s),
        course=course_of(log, row_s),
        rows=len(t_s),
        row_s=row_s,
        alone=_alone(t_s, row_s),
        heat_kwh=heat_kwh,
        mean_w=mean_w,
        evaporated_g=evaporated_g,
        top_up_due=due,
        outages=[(float(event["t_s"]), event) for event in log.events if event.get("event") in ("boot", "power_back")],
        happenings=happened,
        strays=stray.unexplained(falls, happened),
        jumps=jumps.unexplained(jumps.jumps(log), happened, known),
        announced=known,
        balance=balance,
        own=own,
        setup={part: log.facts.get(part) for part in ("rig", "gains")},
        bath=log.bath,
        notes=list(log.notes),
    )


def _number(value: Any) -> float | None:
    number = float(value) if isinstance(value, int | float) and not isinstance(value, bool) else float("nan")
    return number if np.isfinite(number) else None


def _gaps(t_s: Floats, longest_s: Floats, duration_s: float | None) -> list[Gap]:
    """Where rows are missing: before the first, between two, and after the last where the hold lasted longer."""
    ends_s = [0.0, *t_s.tolist(), *([] if duration_s is None else [duration_s])]
    limits_s = [*longest_s.tolist(), *longest_s[-1:].tolist()]
    return [Gap(from_s, to_s) for (from_s, to_s), limit_s in zip(pairwise(ends_s), limits_s, strict=False)
            if to_s - from_s > limit_s]  # fmt: skip


def _alone(t_s: Floats, row_s: float) -> list[Gap] | None:
    """What the board recorded alone: its own rows are farther apart than a PC's, also where both are in one record."""
    steps_s = np.diff(t_s)
    watched = steps_s <= PC_ROW_S
    if row_s <= PC_ROW_S:
        return []
    if np.count_nonzero(watched) < LEAST_WATCHED:
        return None
    edges = np.flatnonzero(np.diff(np.concatenate([[True], watched, [True]]).astype(np.int8)))
    runs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [Gap(float(t_s[low]), float(t_s[high])) for low, high in runs
            if t_s[high] - t_s[low] > LONGEST_STEP_ROWS * row_s]  # fmt: skip


def _steps_s(t_s: Floats, row_s: float) -> Floats:
    """How long each row counts: until the next one, never across a gap."""
    return np.minimum(np.diff(t_s, append=t_s[-1] + row_s), LONGEST_STEP_ROWS * row_s)


def _alarms(log: HoldLog) -> list[Alarm]:
    """Every trip, and every warning that its step of the evening does not cause itself."""
    found = []
    for event in log.events:
        fault, t_s = event.get("fault"), float(event["t_s"])
        if event.get("event") not in ("trip", "warn") or not isinstance(fault, int):
            continue
        is_trip = event["event"] == "trip"
        row = max(0, int(np.searchsorted(log["t_s"], t_s, side="right")) - 1)
        if is_trip or not terms.expected_in_step(event, str(log["stage"][row])):
            found.append(Alarm(t_s, fault, is_trip))
    return found


def _happened(
    log: HoldLog, falls: Sequence[Stray]
) -> tuple[Balance | None, list[Happening], NightFigures | None]:
    """The balance, what it shows, and the night's own figures; nothing without the rig's sizes."""
    rig = log.facts.get("rig")
    if not isinstance(rig, dict) or log["t_s"][-1] - log["t_s"][0] > LONGEST_S:
        return None, [], None
    values, why = settings.check(settings.SETTINGS, {name: each for name, each in rig.items() if name in SIZES})
    if why or values is None or SIZES - set(rig):
        return None, [], None
    known = {**settings.defaults(settings.SETTINGS), **values}
    without = stray.not_balanced(falls)
    balance, found = find(log, known, without)
    missed = [(each.at_s, each.end_s) for each in stray.unexplained(falls, found) if each.held]
    if set(missed) - set(without):  # or its end would be taken for heat from outside
        without = missed
        balance, found = find(log, known, without)
    return balance, found, night_figures(log, known, found, without)


def _announced(log: HoldLog, balance: Balance | None, happened: list[Happening]) -> list[Announced]:
    """The announcements of the time that the balance covers."""
    if balance is None:
        return []
    seen_s = balance.t_s[np.isfinite(balance.water_k)]
    return [moved(log["t_s"], log["bowl_c"], each) for each in announced(log.events, happened, float(log["t_s"][-1]))
            if ((seen_s >= each.from_s) & (seen_s <= each.to_s + 600.0)).any()]


def _heat(log: HoldLog, t_s: Floats, row_s: float) -> tuple[float | None, float | None]:
    rig = log.facts.get("rig")
    heater_w = _number(rig.get("heater_w")) if isinstance(rig, dict) else None
    if heater_w is None:
        return None, None
    duty = np.nan_to_num(np.asarray(log["duty"], dtype=float))
    steps_s = _steps_s(t_s, row_s)
    joules = heater_w * float(duty @ steps_s)
    return joules / 3.6e6, joules / max(float(steps_s.sum()), row_s)


def _water(log: HoldLog, t_s: Floats, row_s: float) -> tuple[tuple[float, float] | None, bool]:
    """Vapour from the ring of water round the bowl, by the plan's own balance.

    From a covered ring in a narrow pot to an open one in a wide pot or a draught, the bowl lifted when it was said to
    be. Row by row: a melt at 50 °C loses several times what its mean temperature would.
    """
    values = log.facts.get("rig")
    if not isinstance(values, dict) or not values or log.bath == "plate":
        return None, False
    try:
        rig = Rig(str(values.get("name", "")), values)
        body = body_of(rig)
    except (BainError, KeyError, TypeError, ValueError):
        return None, False
    rooms_c = [_number(log.facts.get("room_c")), _number(values.get("room_c")), ROOM_C]
    room_c = next(each for each in rooms_c if each is not None)
    water_c = np.asarray(log["water_c"], dtype=float)
    known = np.isfinite(water_c)
    if not known.any():
        return None, False
    steps_s = _steps_s(t_s, row_s)[known]
    whole_s = float(t_s[-1] - t_s[0])
    bands_c, of_row = np.unique(np.round(water_c[known]), return_inverse=True)

    def lost_g(cover: float, factor: float, away: NDArray[np.bool_]) -> float:
        around = Surroundings(room_c, HUMIDITY, 0.0, cover, scales=Scales(bath_loss=factor))
        rates = [np.array([vapour_kg_per_s(body, float(each_c), around, bowl_off=off) for each_c in bands_c])[of_row]
                 for off in (False, True)]  # fmt: skip
        mean = float(np.average(np.where(away, rates[1], rates[0]), weights=steps_s))
        return 1000.0 * whole_s * mean

    away = stray.lifted(log, t_s)[known]
    least_g = lost_g(COVERED, GUESSED_POT[0], np.zeros_like(away))
    most_g = lost_g(OPEN, GUESSED_POT[1], away)
    litres = _number(values.get("water_l"))
    return (least_g, most_g), litres is not None and most_g > 1000 * TOP_UP_SHARE * litres
