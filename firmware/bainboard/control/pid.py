"""One PID controller of the ISA form, for floats of either precision; knows no clock and no hardware."""

QUANTUM_C = 0.0625  # K, last bit of a 12-bit digital probe (its data sheet, from memory)
KICK = 0.1  # share of the output's range that one quantum may move through the derivative; chosen
FILTER_SHARE = 0.25  # derivative filter no shorter than this share of td; chosen, N = 4 of the textbooks' 2 to 20
# Share of the range that tracking may take the integral below the low end. An hour at full heat would dig until the
# output leaves its rail kelvins too early, and a long integral time then takes an hour to fill the hole; with no hole
# the water overshoots by 0.3 K. Simulated on 27 warmers: 0.25 arrives as soon as none, within 0.05 K. Chosen.
DIG = 0.25
MAX_DT_S = 5.0  # a longer gap is no sample; chosen, over the loop's 4.5 s bound


def sane(value: float) -> bool:
    """True for a finite number of this world; NaN, infinities and None are not."""
    return value is not None and -1e6 < value < 1e6


def clamp(value: float, low: float, high: float) -> float:
    """Value inside low..high. Only for sane values: NaN would come out as high."""
    return low if value < low else high if value > high else value


class Pid:
    """output = feed + kp * (weight * target - y) + integral - kp * td * d(filtered y)/dt, limited to low..high.

    The integral moves by kp * error * dt / ti (an error beyond `reach` counts as `reach`), never further into a rail it
    has reached, and by back-calculation down towards the output that was really applied (`tracks` false: not at all),
    no further than DIG. It is not lifted to the low rail: a bath that cools slowly would rest there for an hour, and
    with the output brought to that rail's edge each quantum of noise would heat. What the derivative sees is filtered
    once more, by `calm_s`. The integral carries the remainder its sum rounds away, so that single precision settles
    where double does.
    """

    def __init__(
        self, kp: float, ti_s: float, td_s: float = 0.0, weight: float = 1.0, low: float = 0.0, high: float = 1.0,
        tracks: bool = True, reach: float = 1e6, calm_s: float = 0.0,
    ) -> None:
        self.low, self.high, self.tracks, self.reach, self.calm_s = low, high, tracks, reach, calm_s
        self.integral = 0.0
        self.output = low
        self._remainder = 0.0
        self._raw = self._applied = low
        self._target = self._y = self._feed = 0.0
        self._filtered: float = None  # before the first sample
        self._calm = self._slope = 0.0
        self._take(kp, ti_s, td_s, weight)

    def _take(self, kp: float, ti_s: float, td_s: float, weight: float) -> None:
        self.kp, self.ti_s, self.td_s, self.weight = kp, ti_s, td_s, weight
        # Astrom & Hagglund: tracking time between td and ti; a PI is treated as if td were ti / 4
        self.tt_s = (ti_s * max(td_s, ti_s / 4.0)) ** 0.5
        range_k = self.high - self.low or 1.0  # rails that meet leave nothing to kick
        self.tf_s = max(FILTER_SHARE * td_s, kp * td_s * QUANTUM_C / (KICK * range_k))

    def set_gains(self, kp: float, ti_s: float, td_s: float, weight: float) -> None:
        """New gains without a bump: the integral changes only as far as the output needs to stay."""
        self._take(kp, ti_s, td_s, weight)
        self.preset(self.output)

    def preset(self, output: float) -> None:
        """Make the law give this output for what it last saw; the integral stays if the rails already make it so."""
        raw = self._law()
        if clamp(raw, self.low, self.high) != output:
            self._set_integral(self.integral + (output - raw))
        self.output = output
        self._raw = self._applied = output

    def reset(self, output: float = 0.0, target: float = 0.0) -> None:
        """Forget the past; at zero error and this target the law then gives this output, feed left out."""
        self._set_integral(output + self.kp * (1.0 - self.weight) * target)
        self._filtered, self._slope = None, 0.0
        self._raw = self._applied = self.output = clamp(output, self.low, self.high)

    def at_rest(self, target: float) -> float:
        """Output at zero error and this target, feed left out."""
        return self.integral - self.kp * (1.0 - self.weight) * target

    def applied(self, output: float) -> None:
        """Take what was really given of the last output."""
        if sane(output):
            self._applied = output

    def step(
        self, target: float, y: float, dt_s: float, feed: float = 0.0, may_rise: bool = True, may_fall: bool = True,
    ) -> float:
        """The limited output for one sample; `may_rise`/`may_fall` forbid the integral a direction.

        A target or measurement that is no number gives the low limit; a dt outside 0..MAX_DT_S gives the law without
        integrating. Neither touches the state.
        """
        if not (sane(target) and sane(y) and sane(feed)):
            return self.low
        self._target, self._y, self._feed = target, y, feed
        if sane(dt_s) and 0.0 < dt_s <= MAX_DT_S:
            self._differentiate(dt_s)
            self._integrate(target - y, dt_s, may_rise, may_fall)
        self._raw = self._law()
        self.output = self._applied = clamp(self._raw, self.low, self.high)
        return self.output

    def _law(self) -> float:
        proportional = self.kp * (self.weight * self._target - self._y)
        return self._feed + proportional + self.integral - self.kp * self.td_s * self._slope

    def _differentiate(self, dt_s: float) -> None:
        if self._filtered is None:
            self._filtered = self._calm = self._y
        self._calm += (self._y - self._calm) * dt_s / (self.calm_s + dt_s)
        self._slope = (self._calm - self._filtered) / (self.tf_s + dt_s)
        self._filtered += self._slope * dt_s

    def _integrate(self, error: float, dt_s: float, may_rise: bool, may_fall: bool) -> None:
        if not self.ti_s > 0.0:
            return
        move = self.kp * clamp(error, -self.reach, self.reach) * dt_s / self.ti_s
        rises, falls = move > 0.0, move < 0.0
        if (rises and (self._raw > self.high or not may_rise)) or (falls and (self._raw < self.low or not may_fall)):
            move = 0.0
        if self.tracks and not self.integral < self.low - DIG * (self.high - self.low):
            move += min(0.0, self._applied - self._raw) * dt_s / self.tt_s
        self._add(move)

    def _add(self, move: float) -> None:
        """Compensated sum (Kahan 1965): what the addition rounds away is added the next time."""
        move -= self._remainder
        total = self.integral + move
        self._remainder = (total - self.integral) - move
        self.integral = total

    def _set_integral(self, value: float) -> None:
        self.integral, self._remainder = value, 0.0
