"""Whether the water takes the heat that its gains were learnt with; if not, the pot or the water level differs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

WRONG_STORE = 1.5  # a heat store that is wrong by this factor means another pot or other watts; chosen
RISE_K = 4.0  # rise of the water before it is judged: a probe's lag is then a twentieth of it; chosen
LEAP_K = 0.5  # if a reading moves by more in a second, something was poured in; chosen


class LoadCheck:
    """The heat balance of the water in a warm-up, a status line at a time.

    The heater's lag delays its heat. The losses of bath and bowl both count as the bath's; they are small beside the
    heat of a warm-up.

    Parameters
    ----------
    values : mapping
        The settings with the gains in force: ``heater_w``, ``heater_lag_s`` and what was learnt of the warmer.
    room_c : float
        Room temperature, °C.
    """

    def __init__(self, values: Mapping[str, Any], room_c: float) -> None:
        self._heater_w, self._lag_s = float(values["heater_w"]), float(values["heater_lag_s"])
        self._store_j_per_k = float(values["gains.water_j_per_k"])
        self._coupling_w_per_k = float(values["gains.bowl_w_per_k"])
        self._loss_w_per_k = float(values["gains.loss_w_per_k"])
        self._room_c = room_c
        self._told = not (self._store_j_per_k > 0.0 and self._coupling_w_per_k > 0.0)  # nothing was learnt
        self._arriving_w = 0.0
        self._last: tuple[float, float] | None = None
        self._begin()

    def _begin(self) -> None:
        self._from_c: float | None = None
        self._stored_j = 0.0

    def step(self, t_s: float, duty: float, water_c: float | None, bowl_c: float | None) -> float | None:
        """Take a line; returns once, and only if it is wrong, the water's heat store over what it should be.

        Parameters
        ----------
        t_s : float
            Time of the line, s.
        duty : float
            Mean duty since the last line.
        water_c, bowl_c : float or None
            Readings, °C. If one is missing, as while the bowl is off, the balance starts again.
        """
        if self._told:
            return None
        last, self._last = self._last, None if water_c is None else (t_s, water_c)
        if last is None or water_c is None or bowl_c is None:
            self._begin()
            return None
        dt_s = t_s - last[0]
        self._arriving_w += (duty * self._heater_w - self._arriving_w) * dt_s / (self._lag_s + dt_s)
        if not 0.0 < dt_s < 10.0 or abs(water_c - last[1]) > LEAP_K:
            self._begin()
            return None
        if self._from_c is None:
            self._from_c = water_c
        self._stored_j += dt_s * (self._arriving_w - self._loss_w_per_k * (water_c - self._room_c)
                                  - self._coupling_w_per_k * (water_c - bowl_c))
        rise_k = water_c - self._from_c
        if rise_k < RISE_K:
            return None
        self._told = True
        share = self._stored_j / (self._store_j_per_k * rise_k)
        return None if 1.0 / WRONG_STORE < share < WRONG_STORE else share
