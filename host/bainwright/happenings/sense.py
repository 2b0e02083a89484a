"""What finds of the search mean together: a fall that its own recovery hid, a bath that mixes, a probe that slipped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bainwright.happenings.balance import ENDLESS, LAG_S, STEP_S, Balance, course
from bainwright.happenings.kinds import (
    CHOCOLATE_COOLED,
    COLD_REFILL,
    COOLED,
    HEATED,
    HOT_WATER,
    LIFTED,
    PROBE_SLIPPED,
    SHARE,
    SIDE_S,
    TOP_UP,
    WARM_REFILL,
    WATER_COOLED,
    Happening,
    end_s,
    happening_of,
)

Floats = NDArray[np.float64]

ECHOES = {HEATED, HOT_WATER, WATER_COOLED, COOLED}  # what a bath may look like for `ECHO_S` after something poured in
# All of these are chosen, on simulated evenings other than those that tests/bench/RESULTS.md judges.
ECHO_S, ECHO_TIMES = 420.0, 2.0  # and up to so many times its heat
AROUND_S = 180.0  # two things within this are shown as one
READ_K = 0.02  # spread of a mean reading: a step of a sixteenth of a degree has 0.018
LIFT_K, NOTABLE_K = 0.15, 0.35  # of a lift and anything else: smaller is not worth a line
LONGEST_S = 3 * 3600.0  # a loss that ends later is shown as two
ALIKE = 0.6  # the end of a loss may differ from its begin by this share
LEAST_LOSS_S, LONGEST_LIFT_S = 120.0, 900.0  # a bowl off the warmer for longer cools so far that its own line bends
MIXED_S, BEFORE_POUR_S = 360.0, 20.0  # after this a bath has mixed; so long before, no probe shows the pour
LEAST_MIXED_ROWS = 12
SLIPPED_K = 0.3  # a smaller step of the bowl's reading is no slip that matters
SLIPPED_SHARES = (0.7, 1.5)  # of the step that remains between bath and bowl, where a refill leaves none of it
NEAR_S = 120.0  # a begin may be wrong by this
BEFORE_SLIP_S, AFTER_SLIP_S, SETTLES_S = 2400.0, 10800.0, 3600.0  # where the lead is taken, and what is left out
LEAST_LEAD_S = 1200.0  # of rows on either side
TURNS_K, LOW_K = 0.3, 0.1  # a bowl that warms up again by this is over it; so near its lowest it is not
FALLS = {LIFTED, CHOCOLATE_COOLED, COOLED, COLD_REFILL}
STEEP_S, STEEP_SHARE, STEEP_K = 40.0, 0.55, 0.3  # a pour falls by this share at once (0.67 at least), a lift by 0.42
ONSET_S = 400.0  # a lift begins and turns so near what its template says
STRAIGHT_SHARE = 0.02  # of its fall: a lifted bowl cools in a line as straight as this, one in a draught does not
SHORT_S = 240.0  # as long as such a fall looks at most
DEEPER_K = 0.5  # a bowl that fell by so much more than its template went on falling


def set_back(balance: Balance, found: list[Happening]) -> list[Happening]:
    """Where bowl or water warmed up by itself, look for what ended there or was poured in.

    A bowl set back warms up quickly, and so does what a cold pour has cooled. This is often stronger than the fall
    before it, and hides it from the search.
    """
    out: list[Happening] = []
    for each in found:
        warmed = max(each.bowl_j, each.water_j) > 0.0 and 0.0 < each.lasted_s < ENDLESS
        since_s = max((other.at_s for other in out if other.lasted_s == 0.0), default=-np.inf)
        fall = _before(balance, each, since_s) if warmed else None
        if fall is None:
            out.append(each)
            continue
        out = [other for other in out if other.lasted_s == 0.0 or end_s(other) <= fall.at_s] + [fall]
    return out


def _before(balance: Balance, gain: Happening, since_s: float) -> Happening | None:
    """The fall before a gain: the bowl's loss that ended where it begins, or what was poured in; None without one.

    What was poured in at `since_s` has a step of its own, so the line begins after it.
    """
    high = int(np.searchsorted(balance.t_s, gain.at_s + 2 * LAG_S))
    low = max(0, high - round((LONGEST_LIFT_S + SIDE_S) / STEP_S))
    low = max(low, int(np.searchsorted(balance.t_s, since_s + AROUND_S)))
    t_s = balance.t_s[low:high]
    reads = np.stack([balance.water_k[low:high], balance.bowl_k[low:high]], axis=1)
    known = np.isfinite(reads).all(axis=1)
    t_s, reads = t_s[known], reads[known]
    if len(t_s) < round((SIDE_S + LEAST_LOSS_S) / STEP_S):
        return None
    begins_s = np.arange(t_s[0] + SIDE_S, gain.at_s + STEP_S, STEP_S)
    pours_s = begins_s[begins_s >= gain.at_s - LEAST_LOSS_S]
    if gain.bowl_j > 0.0:
        lost = _bend(t_s, reads, 1, begins_s[begins_s <= gain.at_s - LEAST_LOSS_S], gain.at_s)
        # Both over the rows of the loss, or either might win by having fewer.
        since = int(np.searchsorted(t_s, lost[1] - SIDE_S)) if np.isfinite(lost[0]) else 0
        poured = _bend(t_s[since:], reads[since:], 1, pours_s, whole=True)
        error, at_s, (water_k, bowl_k) = min(lost, poured, key=lambda each: each[0])
        if -bowl_k > max(LIFT_K, SHARE * gain.bowl_k):
            length_s = 0.0 if error == poured[0] else gain.at_s - at_s
            return happening_of(balance, at_s, length_s, float(water_k), float(bowl_k), gain.strength)
    _, at_s, (water_k, bowl_k) = _bend(t_s, reads, 0, pours_s)
    if -water_k > NOTABLE_K and -_mixed_k(balance, at_s, np.inf) > NOTABLE_K:
        return happening_of(balance, at_s, 0.0, float(water_k), float(bowl_k), gain.strength)
    return None


def _bend(t_s: Floats, reads: Floats, store: int, begins_s: Floats, until_s: float = -np.inf, whole: bool = False
          ) -> tuple[float, float, Floats]:
    """The fall of one store that fits best: its error, begin and size. It lasts until `until_s`, or falls at once."""
    if not len(begins_s):
        return np.inf, 0.0, np.zeros(2)
    since_s = t_s - begins_s[:, None]
    near = since_s > (-np.inf if whole else -SIDE_S)  # the line before it, as everywhere else
    shapes = course(t_s, begins_s[:, None], (until_s - begins_s)[:, None] if until_s > -np.inf else 0.0)
    design = np.stack([np.ones_like(shapes), since_s, shapes], axis=2) * near[:, :, None]
    turned = design.transpose(0, 2, 1)
    fits = np.linalg.solve(turned @ design, turned @ reads)
    missed = near * reads[:, store] - (design @ fits[:, :, store, None])[:, :, 0]
    count = near.sum(axis=1)
    error = ((missed**2).sum(axis=1) / count + READ_K**2) / count**0.5  # as good a fit by a longer loss is likelier
    best = int(np.argmin(error))
    return float(error[best]), float(begins_s[best]), fits[best, 2]


def at_once(balance: Balance, found: list[Happening]) -> list[Happening]:
    """Short losses of the bowl whose reading fell at once: something cold was poured in, as no lifted bowl cools so.

    A bath in layers follows such a step for minutes, so that a slow loss fits both stores together better.
    """
    return [_poured(balance, each) if each.kind == LIFTED and each.lasted_s <= SHORT_S else each for each in found]


def _poured(balance: Balance, each: Happening) -> Happening:
    """The loss as a step, if the reading itself is one."""
    near = (balance.t_s >= each.at_s - NEAR_S) & (balance.t_s <= end_s(each) + NEAR_S)
    t_s, bowl_c, rows = balance.t_s[near], balance.bowl_c[near], round(STEEP_S / STEP_S)
    before_c, known = bowl_c[t_s < each.at_s], np.isfinite(bowl_c)
    if not np.isfinite(before_c).any() or len(bowl_c) <= rows:
        return each
    fell_k = float(np.nanmean(before_c) - bowl_c[known].min())
    at_once_k = np.nan_to_num(bowl_c[:-rows] - bowl_c[rows:])
    steepest = int(np.argmax(at_once_k))
    if fell_k < STEEP_K or at_once_k[steepest] < STEEP_SHARE * fell_k:
        return each
    wide = (balance.t_s >= t_s[steepest] - SIDE_S) & (balance.t_s <= t_s[steepest] + SIDE_S)
    reads = np.stack([balance.water_k[wide], balance.bowl_k[wide]], axis=1)
    known = np.isfinite(reads).all(axis=1)
    begins_s = t_s[steepest] + np.arange(-STEEP_S, STEEP_S, STEP_S)
    _, at_s, (water_k, bowl_k) = _bend(balance.t_s[wide][known], reads[known], 1, begins_s, whole=True)
    step = happening_of(balance, at_s, 0.0, float(water_k), float(bowl_k), each.strength)
    return replace(step, kind=COLD_REFILL) if bowl_k < 0.0 else each


def begun(balance: Balance, found: list[Happening]) -> list[Happening]:
    """Lifts from where the bowl's own reading begins to fall until it turns: the bath may move a template by minutes.
    """
    out: list[Happening] = []
    for number, each in enumerate(found):
        since_s = max((end_s(other) + AROUND_S for other in out), default=-np.inf)
        until_s = min((other.at_s for other in found[number + 1 :]), default=np.inf)
        if each.kind == LIFTED and each.lasted_s < ENDLESS:
            each = _hinged(balance, each, since_s, until_s)
        out.append(each)
    return out


def _hinged(balance: Balance, each: Happening, since_s: float, until_s: float) -> Happening:
    """The same, between the bend of the bowl's reading and its lowest; as it was where the fall is not straight."""
    known = np.isfinite(balance.bowl_c) & (balance.t_s >= since_s) & (balance.t_s < until_s)
    t_s, bowl_c = balance.t_s[known], balance.bowl_c[known]
    near = (t_s >= each.at_s - SIDE_S) & (t_s <= end_s(each) + ONSET_S)
    if not near.any():
        return each
    turns_s = float(t_s[near][np.argmin(bowl_c[near])])
    rows = (t_s >= min(each.at_s, turns_s) - ONSET_S) & (t_s <= turns_s)
    t_s, bowl_c = t_s[rows], bowl_c[rows]
    begins_s = np.arange(t_s[0] + 2 * LAG_S, turns_s - LEAST_LOSS_S / 2.0, STEP_S)
    if not len(begins_s):
        return each
    falls = course(t_s, begins_s[:, None], ENDLESS)
    design = np.stack([np.ones_like(falls), np.broadcast_to(t_s - t_s[0], falls.shape), falls], axis=2)
    turned = design.transpose(0, 2, 1)
    fits = np.linalg.solve(turned @ design, (turned @ bowl_c)[:, :, None])
    error = ((bowl_c - (design @ fits)[:, :, 0]) ** 2).sum(axis=1)
    best = int(np.argmin(error))
    lasted_s, fell_k_per_h = turns_s - float(begins_s[best]), -float(fits[best, 2, 0])
    straight_k = max(READ_K, STRAIGHT_SHARE * fell_k_per_h * lasted_s / 3600.0)
    if fell_k_per_h < 0.0 or error[best] > len(t_s) * straight_k**2:
        return each
    return replace(each, at_s=float(begins_s[best]), lasted_s=lasted_s)


def _mixed_k(balance: Balance, at_s: float, until_s: float) -> float:
    """By how much the bath has changed once what was poured in has mixed, °C; NaN where too few rows show it."""
    t_s, known = balance.t_s - at_s, np.isfinite(balance.water_k)
    after = known & (t_s >= MIXED_S) & (t_s < MIXED_S + SIDE_S) & (balance.t_s < until_s)
    before = known & (t_s >= -SIDE_S) & (t_s < -BEFORE_POUR_S)
    if min(np.count_nonzero(after), np.count_nonzero(before)) < LEAST_MIXED_ROWS:
        return np.nan
    rows = before | after
    design = np.stack([np.ones(np.count_nonzero(rows)), t_s[rows], after[rows].astype(float)], axis=1)
    return float(np.linalg.lstsq(design, balance.water_k[rows], rcond=None)[0][2])


def mixed(balance: Balance, found: list[Happening]) -> list[Happening]:
    """Cold water by what is left of its fall when the bath has mixed, and by the store that the record itself shows.

    The first minutes show the layer that the probe is in, and the heater's answer.
    """
    out = []
    for number, each in enumerate(found):
        if each.kind == TOP_UP:
            since_s = max((end_s(other) for other in found[:number]), default=-np.inf)
            until_s = min((other.at_s for other in found[number + 1 :]), default=np.inf)
            water_k = _mixed_k(balance, each.at_s, until_s) if since_s < each.at_s - SIDE_S else np.nan
            if water_k < 0.0:
                each = replace(each, water_k=water_k, water_j=water_k / float(balance.figures[0]))
        out.append(each)
    return out


def unechoed(found: list[Happening]) -> list[Happening]:
    """Without what the bath still does of itself after something was poured in: it mixes, and its heater answers."""
    poured = [each for each in found if each.lasted_s == 0.0]
    return [each for each in found if each.kind not in ECHOES or not any(
        0.0 < each.at_s - other.at_s < ECHO_S and _heat_j(each) < ECHO_TIMES * _heat_j(other) for other in poured)]


def _heat_j(each: Happening) -> float:
    return abs(each.water_j) + abs(each.bowl_j)


def paired(found: list[Happening]) -> list[Happening]:
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


def lasting(t_s: Floats, bowl_c: Floats, found: list[Happening]) -> list[Happening]:
    """Losses of the bowl as long and as deep as its reading shows them; their end is no heat from elsewhere.

    A template is a line of a quarter of an hour at most, and the balance leaves out a bowl far from its target.

    Parameters
    ----------
    t_s, bowl_c : ndarray, shape (n,)
        The record's own rows.
    found : list of Happening
        In order of time.
    """
    out: list[Happening] = []
    over_s = -np.inf
    for each in found:
        if each.kind == HEATED and abs(each.at_s - over_s) < AROUND_S:
            continue
        if each.kind in (LIFTED, CHOCOLATE_COOLED) and 0.0 < each.lasted_s < ENDLESS:
            turns_s, fell_k = _fall(t_s, bowl_c, each.at_s)
            if turns_s > end_s(each) and fell_k < each.bowl_k - DEEPER_K:
                share = fell_k / each.bowl_k
                each = replace(each, lasted_s=turns_s - each.at_s, bowl_k=fell_k, bowl_j=each.bowl_j * share)
            over_s = end_s(each)
        out.append(_as_read(t_s, bowl_c, each))
    return out


def _as_read(t_s: Floats, bowl_c: Floats, each: Happening) -> Happening:
    """The same, with its fall by the readings: its bath gave some heat back meanwhile."""
    before_c = bowl_c[(t_s >= each.at_s - BEFORE_POUR_S) & (t_s <= each.at_s) & np.isfinite(bowl_c)]
    then_c = bowl_c[(t_s > each.at_s) & (t_s <= end_s(each) + AROUND_S) & np.isfinite(bowl_c)]
    rises = each.kind == WARM_REFILL
    if not (rises or each.kind in FALLS) or each.lasted_s == ENDLESS or not before_c.size or not then_c.size:
        return each
    return replace(each, read_k=float((then_c.max() if rises else then_c.min()) - before_c.mean()))


def _fall(t_s: Floats, bowl_c: Floats, at_s: float) -> tuple[float, float]:
    """When a fall that began at a moment turned, s, and by how much the bowl had changed then, °C."""
    before = (t_s >= at_s - BEFORE_POUR_S) & (t_s <= at_s) & np.isfinite(bowl_c)
    rows = np.flatnonzero((t_s > at_s) & (t_s < at_s + LONGEST_S) & np.isfinite(bowl_c))
    if not before.any() or not rows.size:
        return at_s, 0.0
    after_c = bowl_c[rows]
    least_c = np.minimum.accumulate(after_c)
    rose = np.flatnonzero(after_c > least_c + TURNS_K)
    fall_c = after_c[: rose[0] if rose.size else None]
    turns = int(np.flatnonzero(fall_c <= fall_c.min() + LOW_K)[-1])
    return float(t_s[rows[turns]]), float(fall_c.min() - bowl_c[before].mean())


def slipped(balance: Balance, found: list[Happening]) -> list[Happening]:
    """Steps of the bowl's reading that stay between bath and bowl: a probe has slipped, and nothing was poured in.

    A refill is warmed up by its bath, and an hour later the bath leads the bowl by what it did before.
    """
    out = []
    for number, each in enumerate(found):
        until_s = min((other.at_s for other in found[number + 1 :]), default=np.inf)
        since_s = max((end_s(other) for other in found[:number]), default=-np.inf)
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
