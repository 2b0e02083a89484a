"""An experiment on the water, for learning a warmer: up to the working point, then a square wave about it. Pure."""

from bainboard.control.rules import PROBE_LAG_S, READING_AGE_S

HALF_K = 0.7  # the wave reaches this far to either side: eleven steps of 1/16 K; chosen
COAST_K = 1.0  # how far the water may still rise once the heater is off; bounds its power; chosen
LEAST_OVER_LOSSES = 3.0  # the wave's heat over what the bath loses, or it would hardly rise; chosen


class Experiment:
    """The duty of each tick: all the heater has until near, then `share` of it below `mid_c` and nothing above."""

    def __init__(self, gains, heater_lag_s: float, working_c: float, top_c: float, room_c: float) -> None:
        full_c_per_s = gains.heater_w / gains.water_j_per_k
        self._coast_k = full_c_per_s * (heater_lag_s + PROBE_LAG_S + READING_AGE_S)
        lost_w = gains.loss_w_per_k * max(0.0, working_c - room_c)
        self.share = min(1.0, max(COAST_K / self._coast_k, LEAST_OVER_LOSSES * lost_w / gains.heater_w))
        self.mid_c = min(working_c, top_c - HALF_K - self.share * self._coast_k)
        self._near = self._rising = False

    def step(self, water_c: float) -> float:
        """The duty for the next tick; 0.0 for what is no reading."""
        if not -50.0 < water_c < 120.0:
            return 0.0
        self._near = self._near or water_c > self.mid_c - HALF_K - self._coast_k
        if not self._near:
            return 1.0
        if water_c >= self.mid_c + HALF_K:
            self._rising = False
        elif water_c <= self.mid_c - HALF_K:
            self._rising = True
        return self.share if self._rising else 0.0
