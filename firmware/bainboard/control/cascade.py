"""Bowl over water over duty: the outer controller asks for a water temperature, the inner one heats to it."""

from bainboard.control.pid import MAX_DT_S, Pid, clamp, sane

SPAN_C = 15.0  # K, room to ceiling: the outer controller's range before the first tick; chosen
OFFSET_LOW_C, OFFSET_HIGH_C = -2.0, 12.0  # K, water over bowl that can be true: probe errors to nearly empty; chosen
COOLING_S = 4000.0  # s, a bowl on the bench: 2 kg in 0.6 kg of steel cool with 1.1 h (computed from handbook films)
LEARN_K = 0.3  # K, a bowl further off says little of its offset: something was poured in; chosen by simulation
# Filter before the bowl's derivative, s: one of a minute then lets noise move the water's target by half as much again
# as none, else by five times as much (computed); chosen, short beside the 45 s of wall and probe.
CALM_S = 10.0
RAILED = 0.999  # duty from which on the heater can give no more; chosen
LEAST_WEIGHT = 0.2  # a smaller setpoint weight would let the target run off without bound; chosen
COLD_K = 1.0  # a bowl this far below its target since the start is warming up; chosen
# Most that water may be over its ceiling then, as over a bowl 9 K colder (rules.WALL_SHARE): a bowl's probe that is
# stuck cold lies by no more; chosen.
MOST_OVER_K = 0.375
DEAD_SHARE = 0.6  # dead time as a share of 1 / (gain * slope): 0.4 by rules.CLOSED, and caution; chosen


class Cascade:
    """Duty from the probes. `water_target_c` is what it is after, `bowl_est_c` what it takes the bowl for."""

    def __init__(self, gains, bowl_offset_c: float) -> None:
        self.bowl_offset_c = bowl_offset_c
        self.water = Pid(gains.water_kp, gains.water_ti_s, gains.water_td_s)
        self.bowl = Pid(
            gains.bowl_kp, gains.bowl_ti_s, gains.bowl_td_s, gains.bowl_weight, 0.0, SPAN_C, tracks=False,
            reach=LEARN_K, calm_s=CALM_S)
        self._take(gains)
        self.reset(None, None)

    def set_gains(self, gains) -> None:
        """New gains without a bump in the water target or the duty."""
        self._take(gains)
        self.water.set_gains(gains.water_kp, gains.water_ti_s, gains.water_td_s, 1.0)
        self.bowl.set_gains(gains.bowl_kp, gains.bowl_ti_s, gains.bowl_td_s, gains.bowl_weight)
        self._smooth = True

    def _take(self, gains) -> None:
        self.gains = gains
        weight = max(gains.water_weight, LEAST_WEIGHT)
        self._lead_gain = gains.water_kp * weight
        fastest_c_per_s = gains.heater_w / gains.water_j_per_k
        one_s = 1.0 / (fastest_c_per_s * gains.water_kp)
        # how far the water trails a moving target: what the gain and the derivative ask for, and the dead time
        self.follow_s = (one_s + gains.water_td_s) / weight + DEAD_SHARE * one_s

    def reset(self, water_c: float, bowl_c: float) -> None:
        """Start again from the readings (None: none yet), with the offset as it was set."""
        self.offset_c = self.bowl_offset_c
        self.water.reset()
        self._following = self._smooth = False
        self.water_target_c = self._followed_c = water_c
        self._cold = True
        self.drop_k = 0.0
        self.bowl_est_c = bowl_c
        if bowl_c is None and water_c is not None:
            self.bowl_est_c = water_c - self.offset_c
        self.duty = 0.0

    def water_ceiling(self, ceiling_c: float) -> float:
        """Warmest water in a settled hold: the wall is taken to be as warm as the water."""
        return ceiling_c - self.gains.ceiling_margin_c

    @property
    def over_k(self) -> float:
        """How far the water may be over its ceiling in this warm-up, at most; at this moment, by `drop_k`."""
        return MOST_OVER_K if self._cold and self.gains.wall_share > 0.0 else 0.0

    def _wall_drop_k(self, bowl_c: float, target_c: float, top_c: float) -> float:
        """By how much the wall is sure to be colder than the water, while the bowl warms up.

        Not after a refill: what the water stores beyond the ceiling would come into the bowl later (simulated: dipping
        up to 7 % worse).
        """
        self._cold = self._cold and bowl_c is not None and bowl_c < target_c - COLD_K
        share = self.gains.wall_share
        return clamp((top_c - bowl_c) * share / (1.0 - share), 0.0, MOST_OVER_K) if self._cold else 0.0

    # -- a tick ---------------------------------------------------------------------------------------------------

    def step(
        self, water_c: float, bowl_c: float, target_c: float, ceiling_c: float, room_c: float, dt_s: float,
        bowl_away: bool = False, walled: bool = True,
    ) -> float:
        """The duty for the next tick; 0.0 and nothing learnt when an input is no number. `bowl_c` None: no reading.

        `walled`: the ceiling is for the bowl's wall, and not for the water.
        """
        if not (sane(water_c) and sane(target_c) and sane(ceiling_c) and sane(room_c)):
            self.duty = 0.0
            return 0.0
        dt_s = dt_s if sane(dt_s) and 0.0 < dt_s <= MAX_DT_S else 0.0
        bowl_c = bowl_c if sane(bowl_c) else None
        if self.water_target_c is None:
            self.water_target_c = self._followed_c = water_c
        self._estimate_bowl(water_c, bowl_c, room_c, dt_s, bowl_away)
        top_c = self.water_ceiling(ceiling_c)
        room_c = min(room_c, top_c)  # a room said to be warmer than the ceiling lifts nothing over it
        self.drop_k = self._wall_drop_k(bowl_c, target_c, top_c) if walled and not bowl_away else 0.0
        top_c += self.drop_k
        if bowl_away:
            self._following = False  # frozen: the water keeps its last target
        else:
            wanted_c = self._wanted_water(water_c, bowl_c, target_c, top_c, room_c, dt_s)
            most_c = self.gains.slew_c_per_min * dt_s / 60.0
            self.water_target_c += clamp(wanted_c - self.water_target_c, -most_c, most_c)
        self.water_target_c = min(self.water_target_c, top_c)
        self.duty = self._heat(water_c, self._known_w(room_c, bowl_away), dt_s)
        if not water_c < top_c + self.gains.ceiling_margin_c:
            self.duty = 0.0  # whatever is fed forward for a bowl that stays cold: a model can be wrong
        return self.duty

    def applied(self, duty: float) -> None:
        """Take the duty really given since the last step, after the supervisor and the drive."""
        self.water.applied(duty)

    def _estimate_bowl(self, water_c: float, bowl_c: float, room_c: float, dt_s: float, bowl_away: bool) -> None:
        """The reading, or failing that the water less the offset, lagged as the bowl lags."""
        settled_c = max(water_c - self.offset_c, min(water_c, room_c))
        if bowl_c is not None:
            self.bowl_est_c = bowl_c
        elif self.bowl_est_c is None:
            self.bowl_est_c = settled_c
        elif bowl_away:
            self.bowl_est_c += (room_c - self.bowl_est_c) * dt_s / COOLING_S
        else:
            self.bowl_est_c += (settled_c - self.bowl_est_c) * dt_s / self.gains.bowl_tau_s

    def _wanted_water(
        self, water_c: float, bowl_c: float, target_c: float, top_c: float, room_c: float, dt_s: float,
    ) -> float:
        """The outer controller; without a bowl reading the water is held at the offset last learnt.

        Its integral is the offset, a property of the bowl: it is frozen while the water cannot do what was asked
        (at the ceiling, or the heater at a rail and the water on the wrong side). Back-calculation would drag it by
        all that the rail withheld, and the bowl would creep for a quarter of an hour after each cold refill.
        """
        if bowl_c is None:
            self._following = False
            return clamp(target_c + self.offset_c, room_c, top_c)
        self.bowl.low, self.bowl.high = room_c, top_c
        if not self._following:
            self.bowl.reset(self.offset_c, target_c)
            self._following = True
        short = self.duty >= RAILED and water_c < self.water_target_c
        over = self.duty <= 0.0 and water_c > self.water_target_c
        wanted_c = self.bowl.step(target_c, bowl_c, dt_s, target_c, not short, not over)
        self.offset_c = clamp(self.bowl.at_rest(target_c), OFFSET_LOW_C, OFFSET_HIGH_C)
        return wanted_c

    def _known_w(self, room_c: float, bowl_away: bool) -> float:
        """Heat known to be needed: what bath and bowl lose to the room, and what a bowl out of balance takes up."""
        loss_w = self.gains.loss_w_per_k * (self.water_target_c - room_c)
        if bowl_away:
            return loss_w
        return loss_w + self.gains.bowl_w_per_k * (self.water_target_c - self.offset_c - self.bowl_est_c)

    def _heat(self, water_c: float, known_w: float, dt_s: float) -> float:
        """The inner controller. Its proportional action sees the target (by its weight), its integral sees it lagged as
        the water follows it: so a step or a ramp teaches the integral nothing, and the water arrives without overshoot.
        """
        self._followed_c += (self.water_target_c - self._followed_c) * dt_s / (self.follow_s + dt_s)
        feed = known_w / self.gains.heater_w + self._lead_gain * (self.water_target_c - self._followed_c)
        if self._smooth:  # gains are new: the integral takes up what they change
            self.water.step(self._followed_c, water_c, 0.0, feed)
            self.water.preset(self.duty)
            self._smooth = False
        return self.water.step(self._followed_c, water_c, dt_s, feed)
