"""Finding a warmer's model in a record: output-error least squares, intervals by resampling, and a check on new data.

What is fitted is the temperature the model *simulates* from the heat alone, not one step ahead of the readings: a
warmer that is simulated for hours must not drift. Each piece has its own start, and a constant and a ramp of heat that
no heater gave (sun, a room that is not what was said), because a fit that leaves these out puts them into the losses.
What litres, kilograms and watts make likely stands beside the data as one soft observation a figure, so a figure the
data do not carry stays at its guess, and its interval says so.
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
from bainwright.tuning.model import IDENTIFIED, NAMES, PARAMETERS, SPREAD, Findings, Model, guess

Floats = NDArray[np.float64]

PACE_S = 5  # readings are averaged over this before they are compared; chosen, a fifth of the usual lags
BLOCK_S = 120  # resampled blocks; longer than the misses hang together on the rigs tried; chosen
# Resampling a few dozen blocks of a fit's own misses comes out too narrow, since the fit has taken its share of them:
# without this factor 87 % of figures lie inside their intervals, with it 97 % (tests/bench/intervals.py).
WIDER = 1.3
SAMPLES = 400  # resampled fits; 95 % ends then wander by a few per cent
HELD_BACK = 0.3  # share of the record, its end, that the validation keeps from the fit; chosen
LEAST_NOISE_C = 0.02  # a quantum of 1/16 K is 0.018 K of noise; computed
ROOM_SPREAD_K = 1.5  # how far the room may be from what was said; chosen
BIAS_SPREAD_K = 0.1  # what a calibration leaves between the probes; chosen, a sixteenth and more
RAMP_SHARE = 0.5  # the ramp's reach over a piece as a share of the constant's; chosen
SWAPPED = 0.5  # the fit with the probes exchanged must be this much better to say so; chosen
SUSPECT_K = 0.08  # a fit that misses by less accuses no probe: on a slow rise either order fits within a step; chosen
_SPREAD = np.array([SPREAD[name] for name in NAMES])


def step_through(phi: Floats, gamma: Floats, x: Floats, inputs: Floats, out: Floats) -> None:
    """Fill `out` (n, 2) with the readings of x' = phi x + gamma u; changes `x`. Run compiled, see `_respond`."""
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
    """Readings (n, 2) from a start."""
    out = np.empty((len(inputs), 2))
    compiled.function(step_through)(phi, gamma, start.copy(), inputs, out)
    return out


def discrete(model: Model, dt_s: float = 1.0) -> tuple[Floats, Floats]:
    """Exact matrices for inputs that hold over each step."""
    a, b = model.continuous()
    whole = np.zeros((8, 8))
    whole[:5, :5], whole[:5, 5:] = a, b
    moved = expm(whole * dt_s)
    return np.ascontiguousarray(moved[:5, :5]), np.ascontiguousarray(moved[:5, 5:])


def delayed(power_w: Floats, dead_s: float) -> Floats:
    """Power as it comes out of a dead time, whole seconds or not; before the record it was as at its start."""
    whole = int(dead_s)
    part = dead_s - whole
    padded = np.concatenate([np.full(whole + 1, power_w[0]), power_w])
    count = len(power_w)
    return (1.0 - part) * padded[1 : 1 + count] + part * padded[:count]


def simulate(model: Model, piece: Piece, room_c: float, start_c: tuple[float, float]) -> Floats:
    """Readings of a piece (n, 2), °C, from its heat alone; everything at rest at `start_c` (water, bowl)."""
    phi, gamma = discrete(model)
    start = np.array([piece.power_w[0], start_c[0], start_c[1], start_c[0], start_c[1]])
    start[1:] -= room_c
    inputs = np.zeros((len(piece), 3))
    inputs[:, 0] = delayed(piece.power_w, model.dead_s)
    return _respond(phi, gamma, start, inputs) + room_c


# Unknowns of a piece beside the model: start of water and bowl (K), heat on its way (W), constant and ramp of heat
# into the water, constant into the bowl (W); and the bowl probe's bias (K).
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
    return np.asarray(values[..., :n, :].reshape(shape).mean(axis=-2))


class _Fit:
    """The residuals and their slopes, for one record."""

    def __init__(self, record: Record, likely: Model, noise_c: float) -> None:
        self.record, self.likely, self.noise_c = record, likely, noise_c
        self.center = np.log(likely.vector())
        self.read = [_averaged(np.column_stack([each.water_c, each.bowl_c])) for each in record.pieces]
        for read in self.read:  # a piece with holes in its bowl is fitted by its water
            if not np.isfinite(read[:, 1]).all():
                read[:, 1] = np.nan
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
        for piece, extra in zip(self.record.pieces, extras, strict=True):
            start = self._start(piece)
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
        """Readings less simulation, K, all pieces in one row; 0 where nothing was read."""
        pairs = zip(self.read, self.simulated(x), strict=True)
        return np.concatenate([np.nan_to_num(read - made).ravel() for read, made in pairs])

    def residuals(self, x: Floats) -> Floats:
        """Misses in units of noise, then how far each unknown is from what is likely, in spreads."""
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

    def solve(self, x: Floats | None = None) -> Any:
        """The best unknowns."""
        size = len(NAMES) + EXTRAS * len(self.record.pieces)
        start = np.zeros(size) if x is None else x
        return least_squares(self.residuals, start, jac=self.slopes, method="trf", x_scale=1.0, max_nfev=60)


@dataclass(frozen=True)
class Fitted:
    """What a fit leaves for a picture: per piece the time (s), readings and simulation (n, 2), °C."""

    time_s: list[Floats]
    read_c: list[Floats]
    made_c: list[Floats]


def identify(record: Record, settings: Mapping[str, Any], seed: int = 0) -> tuple[Findings, Fitted]:
    """The warmer in a record.

    Parameters
    ----------
    record : Record
        Checked and cut (`bainwright.tuning.dataset`).
    settings : mapping
        The rig's litres, kilograms and watts.
    seed : int
        Settles the resampling.

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


def _fitted(record: Record, likely: Model) -> tuple[_Fit, Floats]:
    """Fit twice: the second time the readings count as little as the first misses and their kinship say."""
    fit = _Fit(record, likely, LEAST_NOISE_C)
    x = fit.solve().x
    misses = fit.misses(x).reshape(-1, 2)
    told = misses[:, misses.std(axis=0) > 0.0]
    spread_c = float(np.sqrt(np.mean(told**2)))
    kin = np.mean([_kinship(column) for column in told.T])
    fit = _Fit(record, likely, max(spread_c, LEAST_NOISE_C / np.sqrt(PACE_S)) * np.sqrt(kin))
    return fit, fit.solve(x).x


def _kinship(misses: Floats) -> float:
    """How many neighbouring misses say the same thing: 1 + twice the sum of correlations until they vanish."""
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
    """Resample the misses in blocks and see where the best fit goes; one linear step each is enough near it."""
    jac = fit.slopes(x)
    misses = fit.misses(x)
    rows = len(misses)
    spread = np.linalg.solve(jac.T @ jac, jac.T)
    block = 2 * BLOCK_S // PACE_S
    starts = rng.integers(0, max(1, rows - block), (SAMPLES, rows // block + 1))
    drawn = misses[(starts[:, :, None] + np.arange(block)).reshape(SAMPLES, -1)[:, :rows] % rows] / fit.noise_c
    # What is likely was one observation too: it is drawn again with the rest.
    drawn = np.concatenate([drawn, rng.standard_normal((SAMPLES, len(x)))], axis=1)
    moved = np.clip(x + WIDER * drawn @ spread.T, -4.0, 4.0)[:, : len(NAMES)]
    samples = np.exp(fit.center + moved * _SPREAD)
    low, high = np.percentile(samples, [2.5, 97.5], axis=0)
    model, _ = fit.split(x)
    identified = tuple(name for name, a, b in zip(NAMES, low, high, strict=True) if b / a < IDENTIFIED)
    for at, name in enumerate(NAMES):
        if name not in identified:  # as far as what is likely reaches, and at least as far as the samples do
            reach = np.exp(1.96 * _SPREAD[at])
            low[at] = min(low[at], fit.likely.vector()[at] / reach)
            high[at] = max(high[at], fit.likely.vector()[at] * reach)
    used = [np.nanmean((read - made) ** 2) for read, made in zip(fit.read, fit.simulated(x), strict=True)]
    return Findings(model, model.with_vector(low), model.with_vector(high), samples, identified,
                    fit_k=float(np.sqrt(np.mean(used))))


def _validated(record: Record, likely: Model) -> float:
    """Error of a model fitted to the first part, simulated on through the rest without seeing it, K."""
    last = record.pieces[-1]
    keep = len(last) - int(HELD_BACK * record.seconds)
    if keep < 300:  # the last piece is the rest: too little of it to start from
        return float("nan")
    first = replace(last, power_w=last.power_w[:keep], water_c=last.water_c[:keep], bowl_c=last.bowl_c[:keep])
    part = replace(record, pieces=[*record.pieces[:-1], first])
    x = _fitted(part, likely)[1].copy()
    x[-EXTRAS + 4] = 0.0  # a ramp says nothing of the hours after it
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
    if own > SUSPECT_K**2 and other < SWAPPED * own:
        raise FileError("the two probes look exchanged: what should be the chocolate answers the heater first",
                        hint="swap their plugs, or their ids in the rig file, and record again")


def _warnings(findings: Findings, likely: Model) -> list[str]:
    """What in the findings does not fit what was said of the warmer."""
    model = findings.model
    share = model.water_j_per_k / likely.water_j_per_k
    if 1.0 / WRONG_STORE < share < WRONG_STORE:
        return []
    litres = likely.water_j_per_k / WATER_J_PER_LK
    said = f"the water stores {share:.1f} times what {litres:g} L should: another pot or water level than said"
    # Wrong watts stretch both stores alike, another pot the water's alone. The water's has the pot's metal in it, so
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


def figure_lines(findings: Findings) -> list[str]:
    """One plain line a figure."""
    lines = []
    for name, unit, what in PARAMETERS:
        low, high = getattr(findings.low, name), getattr(findings.high, name)
        if name in findings.identified:
            lines.append(f"{what}: {_short(getattr(findings.model, name))} {unit} "
                         f"(95 %: {_short(low)} to {_short(high)})")
        else:
            lines.append(f"{what}: not identified; taken as anything from {_short(low)} to {_short(high)} {unit}")
    return lines


def _short(value: float) -> str:
    return f"{value:.3g}" if value < 1000 else f"{value:.0f}"
