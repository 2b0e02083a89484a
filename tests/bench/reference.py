"""The practical bound: a controller with the true model, the present masses and losses, and the probes' readings.

It plans the heat of the next 25 minutes every 5 s by projected gradients on the plant's own heat balances (element,
water, wall, chocolate), so that the squared error of the chocolate is least and the wall stays under its ceiling. Its
state comes from the probes: a twin of the plant runs beside it, gets every event except a refill's temperature, and is
corrected towards the readings. It does not know the future, unless a refill is announced.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit  # type: ignore[import-untyped]

from bainwright.tuning import compiled, fastsim

STEP_S, STEPS, PLAN_S, ROUNDS = 15, 100, 5, 100
SUBSTEPS = 3
WALL_MARGIN_C = 0.1
OVER_WEIGHT = 5.0  # weight of a wall over its ceiling, against the chocolate's error
CALM, STIRRED_UP, FOR_S = 0.02, 0.25, 90  # correction by the bowl's reading: in quiet, and for a while after a refill


@njit(cache=True, error_model="numpy")
def balances(w, power_w, f, g, h):
    """x' = f x + g + h u over one step, from the plant's coefficients now; implicit, in substeps."""
    dt = STEP_S / SUBSTEPS
    body = w.body
    cc = 1590.0
    part = (w.bowl_c - 28.0) / 6.0
    if 0.0 < part < 1.0:
        cc += body.table.temper_latent_j_per_kg * part * (1.0 - part)
    store = np.array([body.element_j_per_k, w.water_kg * 4180.0 + body.vessel_j_per_k, body.wall_j_per_k,
                      w.chocolate_kg * cc]) / dt
    hw, uw, ub = body.element_w_per_k, w._water_wall, w._wall_bowl
    m = np.zeros((4, 4))
    m[0, 0], m[0, 1] = store[0] + hw + w._leak, -hw
    m[1, 0], m[1, 1], m[1, 2] = -hw, store[1] + hw + uw + w._water_loss, -uw
    m[2, 1], m[2, 2], m[2, 3] = -uw, store[2] + uw + ub + w._wall_loss, -ub
    m[3, 2], m[3, 3] = -ub, store[3] + ub + w._bowl_loss
    inverse = np.linalg.inv(m)
    lost = np.array([w._leak, w._water_loss, w._wall_loss, w._bowl_loss]) * w.room_c
    lost[1] -= w._vapour_w
    once = inverse * store
    g1, h1 = inverse @ lost, inverse[:, 0] * power_w
    f[:, :] = np.eye(4)
    g[:] = 0.0
    h[:] = 0.0
    for _ in range(SUBSTEPS):
        f[:, :] = once @ f
        g[:] = once @ g + g1
        h[:] = once @ h + h1


@njit(cache=True, error_model="numpy")
def plan(x0, u, now, later, target_c, ceiling_c, pour_at, kept, poured_c):
    """Improve the heats `u` (0 to 1 each); returns the first. `now`, `later`: (f, g, h) before and after a pour."""
    xs, grads = np.zeros((STEPS + 1, 4)), np.zeros(STEPS)
    momentum = u.copy()
    # the curvature of the squared error along each heat, from the response to a lasting one
    x, total = np.zeros(4), 0.0
    f, _, h = now
    for _ in range(STEPS):
        x = f @ x + h
        total += x[3] * x[3] + OVER_WEIGHT * x[2] * x[2]
    rate = STEPS / (8.0 * total + 1e-9)  # the largest curvature is near twice the mean square of that response, a step
    old = u.copy()
    for turn in range(ROUNDS):
        xs[0] = x0
        for t in range(STEPS):
            f, g, h = later if 0 <= pour_at < t else now
            xs[t + 1] = f @ xs[t] + g + h * momentum[t]
            if t == pour_at:
                xs[t + 1, 3] = kept * xs[t + 1, 3] + (1.0 - kept) * poured_c
        back = np.zeros(4)
        for t in range(STEPS - 1, -1, -1):
            over = max(0.0, xs[t + 1, 2] - ceiling_c)
            back[3] += 2.0 * (xs[t + 1, 3] - target_c)
            back[2] += 2.0 * OVER_WEIGHT * over
            if t == pour_at:
                back[3] *= kept
            f, _, h = later if 0 <= pour_at < t else now
            grads[t] = h @ back
            back = f.T @ back
        fresh = np.minimum(1.0, np.maximum(0.0, momentum - rate * grads))
        momentum = fresh + (turn / (turn + 3.0)) * (fresh - old)
        old = fresh
    u[:] = old
    return old[0]


@njit(cache=True, error_model="numpy")
def play(step, refill, top_up, warmers, k, events, seconds, announced_s, out):
    """One evening; fills `out` with (water, bowl, wall, duty) a second. `warmers`: the true one, its twin, a spare."""
    w, twin = warmers[0], warmers[1]
    np.random.seed(int(k.seed))
    keep_w, keep_b = math.exp(-1.0 / k.water_lag_s), math.exp(-1.0 / k.bowl_lag_s)
    element_w, element_b = w.water_c, w.bowl_c
    twin_w, twin_b = w.water_c, w.bowl_c
    before_w, before_b = twin_w, twin_b
    read_w, read_b = element_w, element_b
    u = np.zeros(STEPS)
    now = (np.zeros((4, 4)), np.zeros(4), np.zeros(4))
    later = (np.zeros((4, 4)), np.zeros(4), np.zeros(4))
    at, stirred, duty = 0, -10**9, 0.0
    for t in range(1, seconds + 1):
        step(w, duty * k.heater_w, 1.0)
        step(twin, duty * k.heater_w, 1.0)
        element_w += (w.water_c - element_w) * (1.0 - keep_w)
        element_b += (w.bowl_c - element_b) * (1.0 - keep_b)
        before_w, before_b = twin_w, twin_b
        twin_w += (twin.water_c - twin_w) * (1.0 - keep_w)
        twin_b += (twin.bowl_c - twin_b) * (1.0 - keep_b)
        while at < len(events) and events[at, 0] <= t:
            kind, a, b = events[at, 1], events[at, 2], events[at, 3]
            for each in (w, twin):
                if kind == 0.0:
                    rate = each.dip_kg_per_s + a
                    each.dip_kg_per_s = 0.0 if abs(rate) < 1e-12 else rate
                elif kind == 3.0:
                    each.draught = a
                elif kind == 2.0:
                    top_up(each, a, b)
                each._fresh_s = 0.0
            if kind == 1.0:
                refill(w, a, b)
                refill(twin, a, b if announced_s > 0.0 else twin.bowl_c)
                stirred = t
            at += 1
        # readings are a second old, in steps; compare them with the twin's state of that moment
        miss_w, miss_b = read_w - before_w, read_b - before_b
        twin.water_c += 0.02 * miss_w
        twin_w += 0.02 * miss_w
        twin.bowl_c += (STIRRED_UP if t - stirred < FOR_S else CALM) * miss_b
        twin_b += 0.05 * miss_b
        noisy_w = element_w + k.noise_c * np.random.normal()
        noisy_b = element_b + k.noise_c * np.random.normal()
        read_w = math.floor(noisy_w / k.water_step_c + 0.5) * k.water_step_c
        read_b = math.floor(noisy_b / k.bowl_step_c + 0.5) * k.bowl_step_c
        if t % PLAN_S == 0:
            balances(twin, k.heater_w, *now)
            pour_at, kept, poured_c = -1, 1.0, 0.0
            for n in range(at, len(events)):
                ahead = events[n, 0] - t
                if events[n, 1] == 1.0 and ahead <= announced_s:
                    pour_at = int(ahead / STEP_S)
                    kept = twin.chocolate_kg / (twin.chocolate_kg + events[n, 2])
                    poured_c = events[n, 3]
                    # more chocolate, and stirred: a plan with the still film would heat far too much
                    warmers[2] = warmers[1]
                    refill(warmers[2], events[n, 2], poured_c)
                    step(warmers[2], 0.0, 1.0)
                    balances(warmers[2], k.heater_w, *later)
                    break
            if t % STEP_S == 0:
                u[:-1] = u[1:].copy()
            x0 = np.array([twin.element_c, twin.water_c, twin.wall_c, twin.bowl_c])
            duty = plan(x0, u, now, later, k.target_c, k.ceiling_c - WALL_MARGIN_C, pour_at, kept, poured_c)
        out[t - 1, 0], out[t - 1, 1], out[t - 1, 2], out[t - 1, 3] = w.water_c, w.bowl_c, w.wall_c, duty


def reference(run: fastsim.Run, seconds: int, announced_s: float = 0.0) -> np.ndarray:
    """Play an evening of the built-in plant under the reference; (seconds, 4): water, bowl, wall, duty."""
    module = fastsim.machine(run)
    warmers = compiled.records([run.warmer, run.warmer, run.warmer])
    kit = compiled.records([run.kit])[0]
    events = np.array(run.events or [(math.inf, 0.0, 0.0, 0.0)])
    out = np.zeros((seconds, 4))
    play(module.Warmer_step, module.Warmer_refill, module.Warmer_top_up, warmers, kit, events, seconds,
         announced_s, out)
    return out


def scored(bowl_c: np.ndarray, wall_c: np.ndarray, run: fastsim.Run) -> dict[str, float]:
    """The scores of the fast simulation, computed from temperatures in each second."""
    k: Any = run.kit
    inside = (bowl_c >= k.low_c) & (bowl_c <= k.high_c)
    first = int(np.argmax(inside))
    times = np.arange(1, len(bowl_c) + 1)
    # every event, as in the fast simulation
    since = np.full(len(bowl_c), 1e9)
    for at_s, kind, *_ in run.events:
        if kind == fastsim.ANNOUNCE:
            continue
        later = times >= at_s
        since[later] = np.minimum(since[later], times[later] - at_s)
    error = bowl_c - k.target_c
    quiet = (times > first) & (since > k.quiet_after_s)
    return {
        "rms_k": float(np.sqrt(np.mean(error[first:] ** 2))),
        "quiet_k": float(np.sqrt(np.mean(error[quiet] ** 2))) if quiet.any() else math.nan,
        "warm_up_s": float(first + 1) if inside.any() else math.nan,
        "wall_over_s": float((wall_c > k.ceiling_c).sum()),
    }
