"""What happened in a hold, found from its readings alone: water or chocolate poured in, the bowl lifted, heat lost.

The balance (`balance`) is a straight line while nothing happens. Each template is a line with a step
or a ramp of some length in it, as the probes' lag shows it. It is fitted at every moment, in water and chocolate at
once. The best moments that exceed the threshold are the happenings, and the heat in each store says of which kind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bainwright.happenings import robust
from bainwright.happenings.balance import ENDLESS, LAG_S, STEP_S, Balance, balance_of, course
from bainwright.happenings.kinds import (
    COLD_REFILL,
    HEATED,
    LIFTED,
    SIDE_S,
    STIRRED,
    WARM_REFILL,
    Happening,
    end_s,
    happening_of,
)
from bainwright.happenings.sense import (
    AROUND_S,
    LIFT_K,
    NEAR_S,
    NOTABLE_K,
    READ_K,
    at_once,
    begun,
    lasting,
    mixed,
    paired,
    set_back,
    slipped,
    unechoed,
)
from bainwright.record.reader import HoldLog

Floats = NDArray[np.float64]

# All of these are chosen, on simulated evenings other than those that tests/bench/RESULTS.md judges.
LENGTHS_S = (0.0, 120.0, 180.0, 240.0, 360.0, 480.0, 600.0, 900.0, ENDLESS)
LONG_SIDE_S = 480.0  # the line before and after one without an end
BEFORE_S = 600.0  # what is seen may be the end of what began so long before, such as a bowl set back
AFTER_S = 300.0  # the rows after its own line that a ramp needs to be told from a longer one
TRIED = 6  # rows about a place that was looked at
THRESHOLD = 6.0  # times the fit's own spread over the night
STRONG, VERY_STRONG = 10.0, 15.0  # the same for slow losses; for gains and what has no end: a model errs like them
HEAT_SHARE, FLOW_SHARE = 0.1, 0.2  # what the model's own heat and coupling may be wrong by
LEAST_K, LEAST_K_PER_H = 0.06, 0.6  # a sixteenth of a degree is one step of a probe
POURED_K = 0.12  # of a refill: smaller is not worth a line
LEAST_ROWS = 60  # ten minutes; a shorter record has no line to compare with
LEAST_POWER = 1e-9  # of a template, so that one without any shape explains nothing

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
    return robust.spread(known - np.median(known)) if known.size else np.nan


def find(
    log: HoldLog, settings: Mapping[str, Any], without: Sequence[tuple[float, float]] = ()
) -> tuple[Balance, list[Happening]]:
    """The balance of a record and everything that happened in it, in order of time.

    The balance is fitted again with what was found, so that what was poured in is not taken for heat.

    Parameters
    ----------
    log : HoldLog
        The log.
    settings : mapping
        The rig's litres, kilograms and watts.
    without : sequence of (float, float)
        Begin and end of what the balance leaves out, s.
    """
    balance = balance_of(log, settings, without=without)
    if np.count_nonzero(np.isfinite(balance.water_k)) < LEAST_ROWS:
        return balance, []
    for _ in range(2):
        found = at_once(balance, set_back(balance, _search(balance)))
        balance = balance_of(log, settings, [(each.at_s, each.lasted_s) for each in found], without)
    found = at_once(balance, set_back(balance, _search(balance)))
    found = paired([each for each in unechoed(found) if _notable(each)])
    found = [each for each in lasting(log["t_s"], log["bowl_c"], begun(balance, found)) if _is_read(each)]
    return balance, slipped(balance, mixed(balance, found))


def _is_read(each: Happening) -> bool:
    """Does the bowl's own reading show a refill too? Else it is what another one leaves in the balance."""
    if each.kind not in (COLD_REFILL, WARM_REFILL) or each.read_k is None:
        return True
    return each.read_k <= -POURED_K if each.kind == COLD_REFILL else each.read_k >= POURED_K


def _search(balance: Balance) -> list[Happening]:
    """Take the strongest, leave out every window that it touches, and take the next."""
    strength = np.array([_strength(balance, template) for template in TEMPLATES])
    found: list[Happening] = []
    for last in (len(TEMPLATES) - 1, len(TEMPLATES)):  # what has no end only where nothing shorter was found
        while True:
            number, at = np.unravel_index(int(np.argmax(strength[:last])), strength[:last].shape)
            if not strength[number, at] >= THRESHOLD:
                break
            each = _closer(balance, int(at), TEMPLATES[number], float(strength[number, at]), found)
            if not any(_overlap(each, other) for other in found):
                found.append(each)
            strength[:, max(0, at - TRIED) : at + TRIED] = 0.0
            _leave_out(strength, balance, each)
    return sorted(found, key=lambda each: each.at_s)


def _leave_out(strength: Floats, balance: Balance, each: Happening) -> None:
    """No window that this happening touches shows another one."""
    over_s = end_s(each) + 2 * LAG_S
    for number, template in enumerate(TEMPLATES):
        side, length = _rows(template.length_s)
        reach_s = STEP_S * (side + length) + 2 * LAG_S
        strength[number, (balance.t_s > each.at_s - reach_s) & (balance.t_s < over_s + STEP_S * side)] = 0.0


def _overlap(one: Happening, other: Happening) -> bool:
    """Are these two nearer than can be held apart?"""
    return one.at_s < end_s(other) + AROUND_S and other.at_s < end_s(one) + AROUND_S


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
    strong = each.strength >= (VERY_STRONG if each.lasted_s == ENDLESS or each.kind == HEATED else STRONG)
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


def _closer(balance: Balance, at: int, template: _Template, strength: float, found: Sequence[Happening]) -> Happening:
    """The begin and length that fit best near a place, all compared over the same rows: none shows what was found."""
    lengths_s = (ENDLESS,) if template.length_s == ENDLESS else LENGTHS_S[:-1]
    near_s, side_s = float(balance.t_s[at]), STEP_S * template.before
    over_s = 0.0 if template.length_s == ENDLESS else template.length_s
    poured_s = [each.at_s for each in found if each.lasted_s == 0.0]
    ends_s = [each_s + 2 * LAG_S for each_s in poured_s if each_s < near_s]
    begins_s = [each_s - 2 * LAG_S for each_s in poured_s if each_s > near_s]
    between_s = (min(max(ends_s, default=-np.inf), near_s - side_s),
                 max(min(begins_s, default=np.inf), near_s + over_s + side_s))
    at_s, length_s, size_k = _best(balance, near_s, template.length_s, lengths_s, between_s)
    return happening_of(balance, at_s, length_s, float(size_k[0]), float(size_k[1]), strength)


def _best(balance: Balance, near_s: float, length_s: float, lengths_s: Sequence[float],
          between_s: tuple[float, float]) -> tuple[float, float, Floats]:
    """Begin, length and sizes of the best fit over the rows that a happening of some length near a moment needs."""
    side, length = _rows(length_s)
    back_s = 0.0 if length_s in (0.0, ENDLESS) else BEFORE_S
    at = int(np.searchsorted(balance.t_s, near_s))
    low = max(0, at - side - round(back_s / STEP_S))
    high = min(len(balance.t_s), at + length + side + round((AFTER_S if back_s else 2 * LAG_S) / STEP_S))
    low = max(low, int(np.searchsorted(balance.t_s, between_s[0])))
    high = min(high, int(np.searchsorted(balance.t_s, between_s[1])))
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
