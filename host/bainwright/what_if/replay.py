"""A recorded evening played again with the firmware's own control: what other heat would have changed.

The record holds whatever happened to the warmer: refills, lifts, draughts, the room. A warmer is linear enough near a
target that other heat only adds its own answer to the readings, so the replay is the recorded readings plus the
identified model's answer to the change of heat. The control sees these readings and decides the heat, second by second.
With the heat of the record the readings are exactly those of the record, noise included.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bainboard import refill
from bainboard.control.cascade import Cascade
from bainwright.tuning import compiled
from bainwright.tuning.model import Model

Floats = NDArray[np.float64]

AS_RECORDED, FOLLOWED, FREE = range(3)  # what the control does in a second: nothing, it looks on, it decides the heat
LEADS, EASES = 1.0, -1.0  # a refill that is coming is colder, or warmer, than the bowl
BARELY_W_PER_K = 1e-3  # between water and a bowl out of it: nothing, and no division by it

KERNEL = '''
import numpy as np

AS_RECORDED, FOLLOWED, FREE = range(3)

@njit(cache=True, nogil=True)
def replay(cascades, phis, gammas, rows, mode, kit, shift):
    low_c, high_c, ceiling_c, room_c, heater_w, walled = kit
    c = cascades[0]
    x, fresh = np.zeros(5), np.zeros(5)
    begun = False
    for t in range(len(mode)):
        water, bowl, duty = rows[t, 0] + x[3], rows[t, 1] + x[4], rows[t, 2]
        away = rows[t, 5] > 0.0
        if mode[t] != AS_RECORDED and not isnan(water):
            if not begun:
                Cascade_reset(c, water, bowl)
                begun = True
            aim, comes = rows[t, 3], rows[t, 4]
            if comes > 0.0 and not isnan(bowl):
                aim = LED(aim, high_c, ceiling_c, bowl)
            elif comes < 0.0:
                aim = EASED(aim, low_c)
            wanted = Cascade_step(c, water, nan if away else bowl, aim, ceiling_c, room_c, 1.0, away, walled > 0.0)
            if mode[t] == FREE:
                duty = wanted
            Cascade_applied(c, duty)
        changed_w = heater_w * (duty - rows[t, 2])
        out = 1 if away or rows[t, 6] > 0.0 else 0
        for i in range(5):
            total = gammas[out, i] * changed_w
            for j in range(5):
                total += phis[out, i, j] * x[j]
            fresh[i] = total
        shift[t, 0], shift[t, 1] = x[3], x[4]
        x[:] = fresh
'''


@dataclass(frozen=True)
class Evening:
    """What a record says, second by second; all arrays of shape (n,).

    Attributes
    ----------
    at_s : ndarray
        Seconds of the hold.
    water_c, bowl_c : ndarray
        Readings, °C; NaN where there is none.
    duty : ndarray
        Heat of the second after the readings, as a share of the heater's.
    target_c : ndarray
        The target of the hold, °C.
    comes : ndarray
        `LEADS` or `EASES` while a refill was announced, else 0.
    away, out : ndarray
        1 while the board knew that the bowl was off the warmer; while it was, known or not.
    mode : ndarray of int
        `AS_RECORDED`, `FOLLOWED` or `FREE`.
    counts : ndarray of bool
        The seconds that are scored: of the hold's own step, whoever decided the heat.
    low_c, high_c, ceiling_c, room_c, heater_w : float
        Of the hold.
    walled : bool
        Whether the ceiling is for the bowl's wall.
    """

    at_s: Floats
    water_c: Floats
    bowl_c: Floats
    duty: Floats
    target_c: Floats
    comes: Floats
    away: Floats
    out: Floats
    mode: NDArray[np.int64]
    counts: NDArray[np.bool_]
    low_c: float
    high_c: float
    ceiling_c: float
    room_c: float
    heater_w: float
    walled: bool


class Played(NamedTuple):
    """Readings of one replay, °C, and by how much its bowl differs from the recorded one; shape (n,)."""

    water_c: Floats
    bowl_c: Floats
    shift_c: Floats


def play(evening: Evening, law: Cascade, models: Sequence[Model]) -> Iterator[Played]:
    """Play an evening again, once with each model of the warmer, one after the other: of two days all take 250 MB.

    Parameters
    ----------
    evening : Evening
        The record; its target and announcements may be others than those of the record.
    law : Cascade
        The firmware's controller with the gains to try.
    models : sequence of Model
        Warmers that fit the record.
    """
    from bainwright.tuning.identify import discrete  # brings SciPy, which a review without a question does without

    rows = np.stack([evening.water_c, evening.bowl_c, np.nan_to_num(evening.duty), evening.target_c, evening.comes,
                     evening.away, evening.out], axis=1)  # fmt: skip
    kit = (evening.low_c, evening.high_c, evening.ceiling_c, evening.room_c, evening.heater_w,
           float(evening.walled))
    machine = _machine(law)
    for model in models:
        both = [discrete(each) for each in (_late(model), _late(replace(model, coupling_w_per_k=BARELY_W_PER_K)))]
        phis, gammas = np.array([phi for phi, _ in both]), np.array([gamma[:, 0] for _, gamma in both])
        shift = np.zeros((len(rows), 2))
        machine.replay(compiled.records([law]), phis, gammas, rows, evening.mode, kit, shift)
        yield Played(evening.water_c + shift[:, 0], evening.bowl_c + shift[:, 1], shift[:, 1])


def _late(model: Model) -> Model:
    """The dead time as part of the heater's lag, which differs little in a loop that is slower than both."""
    return replace(model, heater_lag_s=model.heater_lag_s + model.dead_s)


def _machine(law: Cascade):  # type: ignore[no-untyped-def]
    """The compiled law and replay; `compiled.load` stores it, so a second call costs nothing."""
    unit = compiled.Unit(law)
    for name in ("reset", "step", "applied"):
        unit.method(Cascade, name)
    kernel = KERNEL
    for word, rule in (("LED", refill.led_c), ("EASED", refill.eased_c)):
        kernel = kernel.replace(f"{word}(", f"{unit.outside(rule, rule.__name__, refill)}(")
    return compiled.load(unit.text(), kernel)
