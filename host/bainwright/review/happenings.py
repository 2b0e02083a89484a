"""What happened in a hold, found from its readings alone: water or chocolate poured in, the bowl lifted, heat lost.

The balance (`bainwright.review.balance`) is a straight line while nothing happens. Each template is a line with a step
or a ramp of some length in it, as the probes' lag shows it. It is fitted at every moment, in water and chocolate at
once. The best moments that exceed the threshold are the happenings, and the heat in each store says of which kind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.record.reader import HoldLog
from bainwright.review.balance import ENDLESS, LAG_S, STEP_S, Balance, balance_of, course

Floats = NDArray[np.float64]

TOP_UP, HOT_WATER, COLD_REFILL, WARM_REFILL = "top_up", "hot_water", "cold_refill", "warm_refill"
LIFTED, COOLED, CHOCOLATE_COOLED, WATER_COOLED = "lifted", "cooled", "chocolate_cooled", "water_cooled"
HEATED, STIRRED, PROBE_SLIPPED = "heated", "stirred", "probe_slipped"

# All of these are chosen, on simulated evenings other than those that tests/bench/RESULTS.md judges.
LENGTHS_S = (0.0, 120.0, 180.0, 240.0, 360.0, 480.0, 600.0, 900.0, ENDLESS)
SIDE_S, LONG_SIDE_S = 240.0, 480.0  # a line is fitted over this before and after; longer for one without an end
NEAR_S = 120.0  # the begin is looked for this far about the template's
BEFORE_S = 600.0  # what is seen may be the end of what began so long before, such as a bowl set back
AFTER_S = 300.0  # the rows after its own line that a ramp needs to be told from a longer one
AROUND_S = 180.0  # two things within this are shown as one
TRIED = 6  # rows about a place that was looked at
THRESHOLD = 6.0  # times the fit's own spread over the night
STRONG, VERY_STRONG = 10.0, 15.0  # the same for slow losses, and for those without an end: a model errs most like them
HEAT_SHARE, FLOW_SHARE = 0.1, 0.2  # what the model's own heat and coupling may be wrong by
READ_K = 0.02  # spread of a mean reading: a step of a sixteenth of a degree has 0.018
LEAST_K, LEAST_K_PER_H = 0.06, 0.6  # a sixteenth of a degree is one step of a probe
POURED_K, LIFT_K, NOTABLE_K = 0.12, 0.15, 0.35  # of a refill, a lift and anything else: smaller is not worth a line
LEAST_ROWS = 60  # ten minutes; a shorter record has no line to compare with
LONGEST_S = 3 * 3600.0  # a loss that ends later is shown as two
ALIKE = 0.6  # the end of a loss may differ from its begin by this share
LIFTED_TIMES = 1.45  # a lifted bowl loses this much more than what it got before
LEFT_SHARE = 0.6  # the same where the water keeps its heat
LONGEST_LIFT_S = 900.0  # a bowl off the warmer for longer cools so far that its own line bends
SLIPPED_K = 0.3  # a smaller step of the bowl's reading is no slip that matters
SLIPPED_SHARES = (0.7, 1.5)  # of the step that remains between bath and bowl, where a refill leaves none of it
BEFORE_SLIP_S, AFTER_SLIP_S, SETTLES_S = 2400.0, 10800.0, 3600.0  # where the lead is taken, and what is left out
LEAST_LEAD_S = 1200.0  # of rows on either side
LEAST_POWER = 1e-9  # of a template, so that one without any shape explains nothing
SHARE = 0.3  # of the other store's heat; less is none


@dataclass(frozen=True)
class Happening:
    """Something that heater, bowl and room do not explain.

    Attributes
    ----------
    at_s, lasted_s : float
        When it began and how long it lasted, s; 0 is at once, infinity has no end.
    kind : str
        One of the kinds above.
    water_j, bowl_j : float
        Heat that came into each store, J, or J/h where it has no end; negative is lost.
    water_k, bowl_k : float
        The same as a change of temperature, °C.
    strength : float
        How many times its own spread it is.
    """

    at_s: float
    lasted_s: float
    kind: str
    water_j: float
    bowl_j: float
    water_k: float
    bowl_k: float
    strength: float


@dataclass(frozen=True)
class _Template:
    length_s: float
    before: int  # steps from the kernel's begin to the happening's
    kernel: Floats


def _rows(length_s: float) -> tuple[int, int]:
    """Rows of the line on either side, and of the happening between them."""
    return (round(LONG_SIDE_S / STEP_S), 0) if length_s == ENDLESS else (
        round(SIDE_S / STEP_S), round(length_s / STEP_S))


def _template(length_s: float) -> _Template:
    side, length = _rows(length_s)
    count = 2 * side + length + round(2 * LAG_S / STEP_S)
    t_s = np.asarray(STEP_S * (np.arange(count) - side), dtype=np.float64)
    design = np.stack([np.ones(count), t_s, course(t_s, 0.0, length_s)], axis=1)
    return _Template(length_s, side, np.linalg.pinv(design)[2])


TEMPLATES = tuple(map(_template, LENGTHS_S))


def _fits(values: Floats, template: _Template) -> Floats:
    """The template's size at each moment, as if it began there; NaN where the window leaves the record."""
    out = np.full(len(values), np.nan)
    if len(values) >= len(template.kernel):
        sizes = np.correlate(values, template.kernel, mode="valid")
        out[template.before : template.before + len(sizes)] = sizes
    return out


def _spread(sizes: Floats) -> float:
    known = sizes[np.isfinite(sizes)]
    return 1.4826 * float(np.median(np.abs(known - np.median(known)))) if known.size else np.nan


def find(log: HoldLog, settings: Mapping[str, Any]) -> tuple[Balance, list[Happening]]:
    """The balance of a record and everything that happened in it, in order of time.

    The balance is fitted again with what was found, so that what was poured in is not taken for heat.

    Parameters
    ----------
    log : HoldLog
        The log.
    settings : mapping
        The rig's litres, kilograms and watts.
    """
    balance = balance_of(log, settings)
    if np.count_nonzero(np.isfinite(balance.water_k)) < LEAST_ROWS:
        return balance, []
    for _ in range(2):
        found = _set_back(balance, _search(balance))
        balance = balance_of(log, settings, [(each.at_s, each.lasted_s) for each in found])
    found = _paired([each for each in _set_back(balance, _search(balance)) if _notable(each)])
    return balance, _slipped(balance, found)


def _slipped(balance: Balance, found: list[Happening]) -> list[Happening]:
    """Steps of the bowl's reading that stay between bath and bowl: a probe has slipped, and nothing was poured in.

    A refill is warmed up by its bath, and an hour later the bath leads the bowl by what it did before.
    """
    out = []
    for number, each in enumerate(found):
        until_s = min((other.at_s for other in found[number + 1 :]), default=np.inf)
        since_s = max((_end_s(other) for other in found[:number]), default=-np.inf)
        if each.kind in (COLD_REFILL, WARM_REFILL) and abs(each.bowl_k) >= SLIPPED_K:
            before_k = _lead_k(balance, max(since_s + SETTLES_S / 2.0, each.at_s - BEFORE_SLIP_S), each.at_s - NEAR_S)
            after_k = _lead_k(balance, each.at_s + SETTLES_S, min(until_s - NEAR_S, each.at_s + AFTER_SLIP_S))
            if SLIPPED_SHARES[0] <= (before_k - after_k) / each.bowl_k <= SLIPPED_SHARES[1]:
                each = replace(each, kind=PROBE_SLIPPED, water_j=0.0, bowl_j=0.0)
        out.append(each)
    return out


def _lead_k(balance: Balance, from_s: float, to_s: float) -> float:
    """Bath over bowl between two moments, °C; NaN where there are too few rows."""
    lead_k = (balance.water_c - balance.bowl_c)[(balance.t_s >= from_s) & (balance.t_s <= to_s)]
    known_k = lead_k[np.isfinite(lead_k)]
    return float(known_k.mean()) if STEP_S * len(known_k) >= LEAST_LEAD_S else np.nan


def _search(balance: Balance) -> list[Happening]:
    """Take the strongest, leave out every window that it touches, and take the next."""
    strength = np.array([_strength(balance, template) for template in TEMPLATES])
    found: list[Happening] = []
    for last in (len(TEMPLATES) - 1, len(TEMPLATES)):  # what has no end only where nothing shorter was found
        while True:
            number, at = np.unravel_index(int(np.argmax(strength[:last])), strength[:last].shape)
            if not strength[number, at] >= THRESHOLD:
                break
            each = _closer(balance, int(at), TEMPLATES[number], float(strength[number, at]))
            if not any(_overlap(each, other) for other in found):
                found.append(each)
            strength[:, max(0, at - TRIED) : at + TRIED] = 0.0
            _leave_out(strength, balance, each)
    return sorted(found, key=lambda each: each.at_s)


def _leave_out(strength: Floats, balance: Balance, each: Happening) -> None:
    """No window that this happening touches shows another one."""
    end_s = _end_s(each) + 2 * LAG_S
    for number, template in enumerate(TEMPLATES):
        side, length = _rows(template.length_s)
        reach_s = STEP_S * (side + length) + 2 * LAG_S
        strength[number, (balance.t_s > each.at_s - reach_s) & (balance.t_s < end_s + STEP_S * side)] = 0.0


def _end_s(each: Happening) -> float:
    return each.at_s if each.lasted_s == ENDLESS else each.at_s + each.lasted_s


def _overlap(one: Happening, other: Happening) -> bool:
    """Are these two nearer than can be held apart?"""
    return one.at_s < _end_s(other) + AROUND_S and other.at_s < _end_s(one) + AROUND_S


def _set_back(balance: Balance, found: list[Happening]) -> list[Happening]:
    """Where the bowl warmed up by itself, look for the loss that ended there: a bowl set back warms up quickly.

    Its warming up is often the stronger of the two, and hides the loss before it from the search.
    """
    out: list[Happening] = []
    for each in found:
        warmed = each.bowl_j > 0.0 and 0.0 < each.lasted_s < ENDLESS
        since_s = max((other.at_s for other in out if other.lasted_s == 0.0), default=-np.inf)
        loss = _loss_until(balance, each, since_s) if warmed else None
        if loss is None:
            out.append(each)
            continue
        out = [other for other in out if other.lasted_s == 0.0 or _end_s(other) <= loss.at_s] + [loss]
    return out


def _loss_until(balance: Balance, gain: Happening, since_s: float) -> Happening | None:
    """The loss of heat that ended where this gain begins, if there was one: a bend in the line before it.

    What was poured in at `since_s` has a step of its own, so the line begins after it.
    """
    high = int(np.searchsorted(balance.t_s, gain.at_s + 2 * LAG_S))
    low = max(0, high - round((LONGEST_LIFT_S + SIDE_S) / STEP_S))
    low = max(low, int(np.searchsorted(balance.t_s, since_s + AROUND_S)))
    t_s = balance.t_s[low:high]
    reads = np.stack([balance.water_k[low:high], balance.bowl_k[low:high]], axis=1)
    known = np.isfinite(reads).all(axis=1)
    t_s, reads = t_s[known], reads[known]
    if len(t_s) < round((SIDE_S + LENGTHS_S[1]) / STEP_S):
        return None
    begins_s = np.arange(t_s[0] + SIDE_S, gain.at_s - LENGTHS_S[1] + STEP_S, STEP_S)
    if not len(begins_s):
        return None
    since_begin_s = t_s - begins_s[:, None]
    near = since_begin_s > -SIDE_S  # the line before it, as everywhere else
    shapes = course(t_s, begins_s[:, None], (gain.at_s - begins_s)[:, None])
    design = np.stack([np.ones_like(shapes), since_begin_s, shapes], axis=2) * near[:, :, None]
    turned = design.transpose(0, 2, 1)
    fits = np.linalg.solve(turned @ design, turned @ reads)
    missed = ((near * reads[:, 1] - (design @ fits[:, :, 1:])[:, :, 0]) ** 2).sum(axis=1)
    count = near.sum(axis=1)
    at = int(np.argmin((missed / count + READ_K**2) / count**0.5))  # a longer loss that fits as well is the likelier
    at_s, (water_k, bowl_k) = float(begins_s[at]), fits[at, 2]
    if not -bowl_k > max(LIFT_K, SHARE * gain.bowl_k):
        return None
    return _happening(balance, at_s, gain.at_s - at_s, float(water_k), float(bowl_k), gain.strength)


def _paired(found: list[Happening]) -> list[Happening]:
    """Each loss without an end, together with the opposite change that ends it."""
    out: list[Happening] = []
    for each in found:
        begun = next((n for n in range(len(out) - 1, -1, -1) if _ends(out[n], each)), None)
        if begun is None:
            out.append(each)
            continue
        first = out[begun]
        lasted_s = each.at_s - first.at_s
        share = lasted_s / 3600.0
        out[begun] = replace(first, lasted_s=lasted_s, water_j=first.water_j * share, bowl_j=first.bowl_j * share,
                             water_k=first.water_k * share, bowl_k=first.bowl_k * share)
    return out


def _ends(first: Happening, last: Happening) -> bool:
    """Does the second undo the first: the same heat, the other way?"""
    if first.lasted_s != ENDLESS or last.lasted_s != ENDLESS or last.at_s - first.at_s > LONGEST_S:
        return False
    before, after = np.array([first.water_j, first.bowl_j]), np.array([last.water_j, last.bowl_j])
    return bool(np.linalg.norm(before + after) < ALIKE * np.linalg.norm(before))


def _notable(each: Happening) -> bool:
    """Is it of a size that somebody would want to know?"""
    if each.kind == STIRRED:
        return False
    share = LONG_SIDE_S / 3600.0 if each.lasted_s == ENDLESS else 1.0
    water_k, bowl_k = abs(each.water_k) * share, abs(each.bowl_k) * share
    if each.kind in (COLD_REFILL, WARM_REFILL):
        return bowl_k >= POURED_K
    if each.lasted_s == 0.0:
        return water_k >= NOTABLE_K
    strong = each.strength >= (VERY_STRONG if each.lasted_s == ENDLESS else STRONG)
    return strong and (bowl_k >= LIFT_K if each.kind == LIFTED else max(water_k, bowl_k) >= NOTABLE_K)


def _strength(balance: Balance, template: _Template) -> Floats:
    """How far the template's size exceeds its own spread and what the model may be wrong by, at each moment."""
    water, bowl = _fits(balance.water_k, template), _fits(balance.bowl_k, template)
    heat, flow = _fits(balance.heat_k, template), _fits(balance.flow_k, template)
    into = _fits(balance.bowl_flow_k, template)
    floor = READ_K * float(np.linalg.norm(template.kernel))
    least_k = LEAST_K if template.length_s != ENDLESS else LEAST_K_PER_H
    own_w = max(_spread(water), floor) ** 2 + (HEAT_SHARE * heat) ** 2 + (FLOW_SHARE * flow) ** 2
    own_b = max(_spread(bowl), floor) ** 2 + (FLOW_SHARE * into) ** 2
    strength = np.sqrt(np.nan_to_num(water**2 / own_w) + np.nan_to_num(bowl**2 / own_b))
    return np.where(np.fmax(np.abs(water), np.abs(bowl)) >= least_k, strength, 0.0)


def _closer(balance: Balance, at: int, template: _Template, strength: float) -> Happening:
    """The begin and length that fit best near a place, all compared over the same rows."""
    lengths_s = (ENDLESS,) if template.length_s == ENDLESS else LENGTHS_S[:-1]
    at_s, length_s, size_k = _best(balance, float(balance.t_s[at]), template.length_s, lengths_s)
    return _happening(balance, at_s, length_s, float(size_k[0]), float(size_k[1]), strength)


def _best(balance: Balance, near_s: float, length_s: float, lengths_s: Sequence[float]) -> tuple[float, float, Floats]:
    """Begin, length and sizes of the best fit over the rows that a happening of some length near a moment needs."""
    side, length = _rows(length_s)
    back_s = 0.0 if length_s in (0.0, ENDLESS) else BEFORE_S
    at = int(np.searchsorted(balance.t_s, near_s))
    low = max(0, at - side - round(back_s / STEP_S))
    high = min(len(balance.t_s), at + length + side + round((AFTER_S if back_s else 2 * LAG_S) / STEP_S))
    t_s = balance.t_s[low:high]
    reads = np.stack([balance.water_k[low:high], balance.bowl_k[low:high]], axis=1)
    known = np.isfinite(reads).all(axis=1) if np.isfinite(reads[:, 1]).any() else np.isfinite(reads[:, 0])
    t_s, reads = t_s[known], np.nan_to_num(reads[known])
    best = (-1.0, near_s, length_s, np.zeros(2))
    if len(t_s) < 2 * side:
        return best[1:]
    basis, _ = np.linalg.qr(np.stack([np.ones(len(t_s)), t_s - t_s[0]], axis=1))
    reads = reads - basis @ (basis.T @ reads)
    first_s = max(near_s - NEAR_S - back_s, t_s[0] + 4 * LAG_S)
    begins_s = np.arange(first_s, near_s + length * STEP_S + NEAR_S, STEP_S)
    for each_s in lengths_s:
        over_s = 0.0 if each_s == ENDLESS else each_s
        tried_s = begins_s[begins_s + over_s <= t_s[-1] - 4 * LAG_S]
        if not len(tried_s):
            continue
        shapes = course(t_s, tried_s[:, None], each_s)
        shapes = shapes - (shapes @ basis) @ basis.T
        power = np.maximum((shapes**2).sum(axis=1), LEAST_POWER)
        along = shapes @ reads
        explained = (along**2).sum(axis=1) / power
        first = int(np.argmax(explained))
        if explained[first] > best[0]:
            best = (float(explained[first]), float(tried_s[first]), each_s, along[first] / power[first])
    return best[1:]


def _happening(balance: Balance, at_s: float, length_s: float, water_k: float, bowl_k: float, strength: float
               ) -> Happening:
    water_j, bowl_j = balance.model.water_j_per_k * water_k, balance.model.bowl_j_per_k * bowl_k
    over_s = 3600.0 if length_s == ENDLESS else length_s
    kind = _at_once(water_j, bowl_j) if length_s == 0.0 else _kind(water_j, bowl_j, _fed_w(balance, at_s) * over_s)
    if kind == LIFTED and length_s == ENDLESS:  # nobody holds a bowl up for that long
        kind = CHOCOLATE_COOLED
    return Happening(at_s, length_s, kind, water_j, bowl_j, water_k, bowl_k, strength)


def _fed_w(balance: Balance, at_s: float) -> float:
    """The heat that the water gave the bowl each second before a moment, W."""
    before = (balance.t_s < at_s) & (balance.t_s >= at_s - SIDE_S)
    if np.count_nonzero(before) < 2:
        return 0.0
    return float(np.mean(np.diff(balance.bowl_flow_k[before]))) / STEP_S * balance.model.bowl_j_per_k


def _at_once(water_j: float, bowl_j: float) -> str:
    """What was poured in: into which store, and was it warmer or colder?"""
    if abs(water_j) > abs(bowl_j):
        return TOP_UP if water_j < 0.0 else HOT_WATER
    return COLD_REFILL if bowl_j < 0.0 else WARM_REFILL


def _kind(water_j: float, bowl_j: float, fed_j: float) -> str:
    """Which store lost or gained. A bowl out of the water gets none of its heat and loses by its wall as well."""
    if bowl_j < -LIFTED_TIMES * fed_j or (water_j > -SHARE * bowl_j > 0.0 and bowl_j < -LEFT_SHARE * fed_j):
        return LIFTED
    in_water, in_bowl = abs(water_j) > SHARE * abs(bowl_j), abs(bowl_j) > SHARE * abs(water_j)
    if in_water and in_bowl and water_j * bowl_j < 0.0:
        return STIRRED
    if in_water and in_bowl:
        return COOLED if water_j < 0.0 else HEATED
    if in_bowl:
        return CHOCOLATE_COOLED if bowl_j < 0.0 else HEATED
    return WATER_COOLED if water_j < 0.0 else HEATED
