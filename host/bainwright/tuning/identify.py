"""Identify a warmer's model from a record: output-error least squares, intervals by resampling, a check on new data.

The fit compares the readings with temperatures that the model *simulates* from the heat alone, not with predictions
one step ahead, because a simulation of hours must not drift. Each piece of the record has its own start, and a constant
and a ramp of outside heat (sun, a wrong room temperature); a fit without them would put that heat into the losses.
The guess from litres, kilograms and watts counts as one soft observation for each figure. A figure that the data do not
determine stays at its guess, and its interval shows that.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm
from scipy.optimize import least_squares

from bainwright.core.errors import FileError
from bainwright.physics.materials import WATER_J_PER_LK
from bainwright.tuning import compiled
from bainwright.tuning.dataset import Piece, Record
from bainwright.tuning.load_check import WRONG_STORE
from bainwright.tuning.model import IDENTIFIED, NAMES, SPREAD, Findings, Model, guess

Floats = NDArray[np.float64]

PACE_S = 5  # readings are averaged over this before they are compared; chosen, a fifth of the usual lags
BLOCK_S = 120  # length of the resampled blocks; residuals were correlated for less than this on the rigs tried; chosen
# Intervals from a few dozen resampled blocks are too narrow, because the fit has already reduced the residuals.
# Without this factor 87 % of figures lie inside their intervals, with it 97 % (tests/bench/intervals.py).
WIDER = 1.3
SAMPLES = 400  # resampled fits; the ends of the 95 % interval then vary by a few per cent
HELD_BACK = 0.3  # share of the record, at its end, that the validation keeps from the fit; chosen
ROUGH = 1e-4  # of the first fit, which only weighs the readings for the second; chosen, half of the time
LEAST_NOISE_C = 0.02  # steps of 1/16 K are 0.018 K of noise; computed
ROOM_SPREAD_K = 1.5  # error of the stated room temperature; chosen
BIAS_SPREAD_K = 0.1  # difference between the probes after calibration; chosen, a sixteenth and more
RAMP_SHARE = 0.5  # spread of the ramp over a piece, as a share of the constant's; chosen
SWAPPED = 0.5  # the squared error with the probes exchanged must be below this share; chosen
SUSPECT_K = 0.08  # with a smaller error no exchange is reported: on a slow rise either order fits; chosen
RISEN_K = 1.0  # the probe that has risen so far first is the one nearer to the heater; chosen
# A sample may fit the log so much worse than the best one, in squares of noise: 99 % of chi-squared with nine degrees
# of freedom is 21.7 (any table), times the square of WIDER.
WORSE_FIT = 37.0
TRIED, LEAST = 80, 20  # samples that are compared with the log again, and how many of the best remain anyway; chosen
_SPREAD = np.array([SPREAD[name] for name in NAMES])


def step_through(phi: Floats, gamma: Floats, x: Floats, inputs: Floats, out: Floats) -> None:
    """Fill `out` (n, 2) with the readings of x' = phi x + gamma u; changes `x`. Runs compiled, see `_respond`."""
    fresh = x.copy()
    for t in range(len(inputs)):
        for i in range(len(x)):
            total = 0.0
            for j in range(len(x)):
                total += phi[i, j] * x[j]
            for j in range(inputs.shape[1]):
                total += gamma[i, j] * inputs[t, j]
            fresh[i] = total
        x[:] = fresh
        out[t, 0] = x[3]
        out[t, 1] = x[4]


def _respond(phi: Floats, gamma: Floats, start: Floats, inputs: Floats) -> Floats:
    """Readings, shape (n, 2), from a start."""
    out = np.empty((len(inputs), 2))
    compiled.function(step_through)(phi, gamma, start.copy(), inputs, out)
    return out


def discrete(model: Model, dt_s: float = 1.0) -> tuple[Floats, Floats]:
    """Exact matrices for inputs that are constant in each step."""
    a, b = model.continuous()
    whole = np.zeros((8, 8))
    whole[:5, :5], whole[:5, 5:] = a, b
    moved = expm(whole * dt_s)
    return np.ascontiguousarray(moved[:5, :5]), np.ascontiguousarray(moved[:5, 5:])


def delayed(power_w: Floats, dead_s: float) -> Floats:
    """Power after a dead time, which need not be whole seconds. Before the record the power is that of its start."""
    whole = int(dead_s)
    part = dead_s - whole
    padded = np.concatenate([np.full(whole + 1, power_w[0]), power_w])
    count = len(power_w)
    return (1.0 - part) * padded[1 : 1 + count] + part * padded[:count]


def simulate(model: Model, piece: Piece, room_c: float, start_c: tuple[float, float]) -> Floats:
    """Readings of a piece, shape (n, 2), °C, from its heat alone; the start is steady at `start_c` (water, bowl)."""
    phi, gamma = discrete(model)
    start = np.array([piece.power_w[0], start_c[0], start_c[1], start_c[0], start_c[1]])
    start[1:] -= room_c
    inputs = np.zeros((len(piece), 3))
    inputs[:, 0] = delayed(piece.power_w, model.dead_s)
    return _respond(phi, gamma, start, inputs) + room_c


# Unknowns of a piece beyond the model: start of water and bowl (K), heat in the heater (W), constant and ramp of
# outside heat into the water, constant into the bowl (W), and the bowl probe's bias (K).
EXTRAS = 7


def _bases(model: Model, piece: Piece) -> Floats:
    """Readings per unit of each extra, shape (EXTRAS, n, 2)."""
    phi, gamma = discrete(model)
    n = len(piece)
    none, still = np.zeros((n, 3)), np.zeros(5)
    water, bowl, heat = np.array([0.0, 1, 0, 1, 0]), np.array([0.0, 0, 1, 0, 1]), np.array([1.0, 0, 0, 0, 0])
    out = [_respond(phi, gamma, start, none) for start in (water, bowl, heat)]
    for column, shape in ((1, np.ones(n)), (1, np.linspace(-1.0, 1.0, n)), (2, np.ones(n))):
        inputs = none.copy()
        inputs[:, column] = shape
        out.append(_respond(phi, gamma, still, inputs))
    out.append(np.column_stack([np.zeros(n), np.ones(n)]))
    return np.array(out)


def _averaged(values: Floats) -> Floats:
    """Means over `PACE_S`, along the second axis from the end."""
    n = values.shape[-2] // PACE_S * PACE_S
    shape = (*values.shape[:-2], n // PACE_S, PACE_S, values.shape[-1])
    parts = values[..., :n, :].reshape(shape)
    return np.asarray(sum(parts[..., at, :] for at in range(PACE_S)) / PACE_S)  # five times as fast as its mean


class _Fit:
    """The residuals and their slopes, for one record."""

    def __init__(self, record: Record, likely: Model, noise_c: float) -> None:
        self.record, self.likely, self.noise_c = record, likely, noise_c
        self.center = np.log(likely.vector())
        self.read = [_averaged(np.column_stack([each.water_c, each.bowl_c])) for each in record.pieces]
        for read in self.read:  # where bowl readings are missing, a piece is fitted by its water only
            if not np.isfinite(read[:, 1]).all():
                read[:, 1] = np.nan
        self.starts = [self._start(piece) for piece in record.pieces]
        room_w = ROOM_SPREAD_K * np.array([likely.bath_loss_w_per_k + 0.3, likely.bowl_loss_w_per_k])
        self.reach = np.array([1.0, 1.0, likely.heater_w, room_w[0], RAMP_SHARE * room_w[0], room_w[1], BIAS_SPREAD_K])

    def split(self, x: Floats) -> tuple[Model, Floats]:
        """The model and each piece's extras."""
        model = self.likely.with_vector(np.exp(self.center + x[: len(NAMES)] * _SPREAD))
        return model, x[len(NAMES) :].reshape(-1, EXTRAS) * self.reach

    def simulated(self, x: Floats) -> list[Floats]:
        """Averaged readings of each piece."""
        model, extras = self.split(x)
        phi, gamma = discrete(model)
        out = []
        for piece, begin, extra in zip(self.record.pieces, self.starts, extras, strict=True):
            start = begin.copy()
            start[0] += extra[2]
            start[[1, 3]] += extra[0]
            start[[2, 4]] += extra[1]
            inputs = np.empty((len(piece), 3))
            inputs[:, 0] = delayed(piece.power_w, model.dead_s)
            inputs[:, 1] = extra[3] + extra[4] * np.linspace(-1.0, 1.0, len(piece))
            inputs[:, 2] = extra[5]
            read = _respond(phi, gamma, start, inputs) + self.record.room_c
            read[:, 1] += extra[6]
            out.append(_averaged(read))
        return out

    def _start(self, piece: Piece) -> Floats:
        water_c = float(np.mean(piece.water_c[:PACE_S]))
        bowl_c = float(np.nanmean(piece.bowl_c[:PACE_S])) if np.isfinite(piece.bowl_c[:PACE_S]).any() else water_c
        start = np.array([piece.power_w[0], water_c, bowl_c, water_c, bowl_c])
        start[1:] -= self.record.room_c
        return start

    def misses(self, x: Floats) -> Floats:
        """Readings minus simulation, K, all pieces in one array; 0 where there is no reading."""
        pairs = zip(self.read, self.simulated(x), strict=True)
        return np.concatenate([np.nan_to_num(read - made).ravel() for read, made in pairs])

    def residuals(self, x: Floats) -> Floats:
        """Misses in units of noise, then each unknown's distance from its guess, in spreads."""
        return np.concatenate([self.misses(x) / self.noise_c, x])

    def slopes(self, x: Floats) -> Floats:
        """Derivatives of `residuals`: differences for the model's figures, exact for the extras, which are linear."""
        base = self.misses(x)
        jac = np.zeros((len(base) + len(x), len(x)))
        for at in range(len(NAMES)):
            moved = x.copy()
            moved[at] += 1e-4
            jac[: len(base), at] = (self.misses(moved) - base) / 1e-4 / self.noise_c
        model, _ = self.split(x)
        row = 0
        for number, (piece, read) in enumerate(zip(self.record.pieces, self.read, strict=True)):
            bases = _averaged(_bases(model, piece)) * np.isfinite(read)
            column = len(NAMES) + number * EXTRAS
            size = read.size
            jac[row : row + size, column : column + EXTRAS] = -(
                bases.reshape(EXTRAS, -1) * self.reach[:, None] / self.noise_c).T
            row += size
        jac[len(base) :] = np.eye(len(x))
        return jac

    def misfit(self, x: Floats) -> float:
        """Squared residuals of a model's figures with the extras that fit best; the readings are linear in those."""
        model, _ = self.split(x)
        bare = x.copy()
        bare[len(NAMES) :] = 0.0
        total = float(x[: len(NAMES)] @ x[: len(NAMES)])
        for piece, read, made in zip(self.record.pieces, self.read, self.simulated(bare), strict=True):
            missed = np.nan_to_num(read - made).ravel() / self.noise_c
            bases = (_averaged(_bases(model, piece)) * np.isfinite(read)).reshape(EXTRAS, -1)
            bases *= self.reach[:, None] / self.noise_c
            along = bases @ missed
            total += float(missed @ missed - along @ np.linalg.solve(bases @ bases.T + np.eye(EXTRAS), along))
        return total

    def solve(self, x: Floats | None = None, tolerance: float = 1e-8) -> Any:
        """The best unknowns, until the squared error falls by less than this share of itself."""
        size = len(NAMES) + EXTRAS * len(self.record.pieces)
        start = np.zeros(size) if x is None else x
        return least_squares(self.residuals, start, jac=self.slopes, method="trf", ftol=tolerance, x_scale=1.0,
                             max_nfev=60)


@dataclass(frozen=True)
class Fitted:
    """A fit for the picture: time (s), readings and simulation (n, 2), °C, of each piece."""

    time_s: list[Floats]
    read_c: list[Floats]
    made_c: list[Floats]


def identify(record: Record, settings: Mapping[str, Any], seed: int = 0) -> tuple[Findings, Fitted]:
    """Identify the warmer from a record.

    Parameters
    ----------
    record : Record
        Checked and cut (`bainwright.tuning.dataset`).
    settings : mapping
        The rig's litres, kilograms and watts.
    seed : int
        Random seed of the resampling.

    Returns
    -------
    Findings
        The model with its intervals.
    Fitted
        The fit beside the record.

    Raises
    ------
    FileError
        If the probes look exchanged.
    """
    likely = guess(settings)
    fit, x = _fitted(record, likely)
    _refuse_swapped(record, likely, fit.misses(x))
    findings = _intervals(fit, x, np.random.default_rng(seed))
    notes = [*record.notes, *_warnings(findings, likely)]
    findings = replace(findings, validation_k=_validated(record, likely), notes=notes)
    return findings, _beside(fit, x)


def fitted_warmer(record: Record, settings: Mapping[str, Any], seed: int = 0) -> Findings:
    """The model with its intervals alone: no look at the probes' order and no validation, at a third of the time."""
    fit, x = _fitted(record, guess(settings))
    return _intervals(fit, x, np.random.default_rng(seed))


def _fitted(record: Record, likely: Model) -> tuple[_Fit, Floats]:
    """Fit twice: the second time the readings are weighted by the size and correlation of the first misses."""
    fit = _Fit(record, likely, LEAST_NOISE_C)
    x = fit.solve(tolerance=ROUGH).x
    misses = fit.misses(x).reshape(-1, 2)
    read = misses[:, misses.std(axis=0) > 0.0]
    spread_c = float(np.sqrt(np.mean(read**2)))
    repeats = np.mean([_correlation_length(column) for column in read.T])
    fit = _Fit(record, likely, max(spread_c, LEAST_NOISE_C / np.sqrt(PACE_S)) * np.sqrt(repeats))
    return fit, fit.solve(x).x


def _correlation_length(misses: Floats) -> float:
    """Misses in a row that carry the same information: 1 + twice the sum of their correlations until these vanish."""
    centred = misses - misses.mean()
    power = float(centred @ centred)
    total = 1.0
    for lag in range(1, min(len(centred) // 4, 120)):
        share = float(centred[:-lag] @ centred[lag:]) / power
        if share < 0.05:
            break
        total += 2.0 * share
    return total


def _intervals(fit: _Fit, x: Floats, rng: np.random.Generator) -> Findings:
    """Resample the misses in blocks and refit each sample, by one linear step from the best fit."""
    jac = fit.slopes(x)
    misses = fit.misses(x)
    rows = len(misses)
    spread = np.linalg.solve(jac.T @ jac, jac.T)
    block = 2 * BLOCK_S // PACE_S
    starts = rng.integers(0, max(1, rows - block), (SAMPLES, rows // block + 1))
    own = spread[:, rows:] @ rng.standard_normal((SAMPLES, len(x))).T  # the guess was one observation too
    for at, begin in enumerate(starts):  # one by one: all of a long log together are hundreds of megabytes
        own[:, at] += spread[:, :rows] @ misses[(begin[:, None] + np.arange(block)).ravel()[:rows] % rows] / fit.noise_c
    reach = np.maximum(4.0, np.abs(x) + 1.0)  # in spreads: no absurd model, and the best fit well inside
    moved = np.clip(x + WIDER * own.T, -reach, reach)[:, : len(NAMES)]
    low, high = np.percentile(np.exp(fit.center + moved * _SPREAD), [2.5, 97.5], axis=0)
    samples = np.exp(fit.center + _conditioned(fit, x, moved[:TRIED]) * _SPREAD)
    model, _ = fit.split(x)
    identified = tuple(name for name, a, b in zip(NAMES, low, high, strict=True) if b / a < IDENTIFIED)
    for at, name in enumerate(NAMES):
        if name not in identified:  # the guess's own range, or the samples' range if that is wider
            reach = np.exp(1.96 * _SPREAD[at])
            low[at] = min(low[at], fit.likely.vector()[at] / reach)
            high[at] = max(high[at], fit.likely.vector()[at] * reach)
    used = [np.nanmean((read - made) ** 2) for read, made in zip(fit.read, fit.simulated(x), strict=True)]
    return Findings(model, model.with_vector(low), model.with_vector(high), samples, identified,
                    fit_k=float(np.sqrt(np.mean(used))))


def _conditioned(fit: _Fit, x: Floats, moved: Floats) -> Floats:
    """The samples that fit the log about as well as the best fit does: a linear step may leave what can be true."""
    misfits = np.array([fit.misfit(np.concatenate([row, x[len(NAMES) :]])) for row in moved])
    order = np.argsort(misfits)
    within = int((misfits <= fit.misfit(x) + WORSE_FIT).sum())
    return moved[np.sort(order[: max(LEAST, within)])]


def _validated(record: Record, likely: Model) -> float:
    """Error, K, of a model that is fitted to the first part and simulates the rest."""
    last = record.pieces[-1]
    keep = len(last) - int(HELD_BACK * record.seconds)
    if keep < 300:  # the last piece is too short to start from
        return float("nan")
    first = replace(last, power_w=last.power_w[:keep], water_c=last.water_c[:keep], bowl_c=last.bowl_c[:keep])
    part = replace(record, pieces=[*record.pieces[:-1], first])
    x = _fitted(part, likely)[1].copy()
    x[-EXTRAS + 4] = 0.0  # a ramp does not predict the hours after it
    onward = _Fit(replace(record, pieces=[last]), likely, 1.0)
    made = onward.simulated(np.concatenate([x[: len(NAMES)], x[-EXTRAS:]]))[0]
    missed = (onward.read[0] - made)[keep // PACE_S :]
    return float(np.sqrt(np.nanmean(missed**2)))


def _refuse_swapped(record: Record, likely: Model, misses: Floats) -> None:
    if not all(np.isfinite(each.bowl_c).all() for each in record.pieces):
        return
    pieces = [replace(each, water_c=each.bowl_c, bowl_c=each.water_c) for each in record.pieces]
    fit = _Fit(replace(record, pieces=pieces), likely, LEAST_NOISE_C)
    other = float(np.mean(fit.misses(fit.solve().x) ** 2))
    own = float(np.mean(misses**2))
    if own > SUSPECT_K**2 and other < SWAPPED * own and _chocolate_rises_first(record):
        raise FileError("the two probes look exchanged: the chocolate's reading follows the heater first",
                        hint="exchange their plugs, or their ids in the rig file, and record again")


def _chocolate_rises_first(record: Record) -> bool:
    """Does the chocolate's reading follow the heater first, wherever one of the two rises?"""
    times = [(_risen_at_s(each.water_c), _risen_at_s(each.bowl_c)) for each in record.pieces]
    seen = [pair for pair in times if min(pair) < math.inf]
    return bool(seen) and all(bowl < water for water, bowl in seen)


def _risen_at_s(read_c: Floats) -> float:
    """When a reading has risen by `RISEN_K`, s after the start of its piece; infinite if it does not."""
    risen = np.flatnonzero(read_c >= read_c[:PACE_S].mean() + RISEN_K)
    return float(risen[0]) if risen.size else math.inf


def _warnings(findings: Findings, likely: Model) -> list[str]:
    """Findings that contradict the warmer's settings."""
    model = findings.model
    share = model.water_j_per_k / likely.water_j_per_k
    if 1.0 / WRONG_STORE < share < WRONG_STORE:
        return []
    litres = likely.water_j_per_k / WATER_J_PER_LK
    part = ", or its probe shows only part of each change: is it deep in the water" if share > 1.0 else ""
    said = (f"the water stores {share:.1f} times as much heat as {litres:g} L should: another pot or water level than "
            f"in the settings{part}")
    # Wrong watts change both heat stores, another pot only the water's. The water's includes the pot's metal, so
    # the mean of both is the better guess: off by 5 % on half of simulated warmers, by 19 % at most (computed).
    bowl = model.bowl_j_per_k / likely.bowl_j_per_k if "bowl_j_per_k" in findings.identified else share
    if not 1.0 / WRONG_STORE < share / bowl < WRONG_STORE:
        return [said]
    watts = likely.heater_w / math.sqrt(share * bowl)
    return [f"{said}, or the heater gives about {watts:.0f} W and not {likely.heater_w:g} W"]


def _beside(fit: _Fit, x: Floats) -> Fitted:
    made = fit.simulated(x)
    times = [np.asarray(each.start_s + PACE_S * (np.arange(len(read)) + 0.5), dtype=np.float64)
             for each, read in zip(fit.record.pieces, fit.read, strict=True)]
    return Fitted(times, fit.read, made)
