"""Known temperatures, and the offset and gain that follow from a probe's readings at them. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from bainwright.core.bounds import least, most
from bainwright.core.errors import UseError
from bainwright.physics.kitchen import boiling_at_c, pressure_pa

FEVER, ICE, BOIL = "fever", "ice", "boil"  # baths, in this order: the first alone is enough for chocolate
AT_C = 32.0  # where a temper is held: offset and uncertainty are given there

# A fever thermometer's limit of error, K, by the temperature it shows, °C (ASTM E1112, from memory).
FEVER_LIMITS = ((37.0, 39.0, 0.1), (35.8, 41.0, 0.2), (34.0, 42.0, 0.3))
BATH_K = 0.05  # between two places in a stirred bath; chosen
ICE_K = 0.1  # of crushed ice with too little water, or a salt; limit, chosen
STEAM_K = 0.1  # of bubbles overheated at a pot's floor; standard, chosen
WEATHER_HPA = 10.0  # spread of the air pressure about an altitude's own; from memory
BAROMETER_HPA = 1.0  # what a barometer shows, chosen
LOW_HPA, HIGH_HPA = 500.0, 1085.0  # at 5500 m, and the highest ever met at the sea; from memory
BESIDE_HPA = 60.0  # a barometer further from its altitude's own shows the pressure "at sea level"; chosen

# What a straight line leaves of a probe's errors, K per K away from AT_C: chosen, so that boiling water, 68 K further
# up, determines the gain and hardly the correction in the window.
BENT_K_PER_K = 0.003
# How far a part's gain may be off as made, before anything is measured: 0.5 K over 100 K for the digital probe
# (its data sheet, from memory), the tolerance of beta for a thermistor (chosen), class B for platinum (IEC 60751).
GAIN_UNCERTAINTY = {"onewire": 0.005, "ntc": 0.02, "platinum": 0.005}
LARGEST_OFFSET_K = most("probe.water.offset_c")
LEAST_GAIN, LARGEST_GAIN = least("probe.water.gain"), most("probe.water.gain")
COVER = 2.0  # an uncertainty is given as twice the standard one, about 95 %
MUCH_K = 1.0  # a correction worth a question: twice the digital probe's limit of error (its data sheet, from memory)
MISFIT = 3.0  # a point that is off the line by more standard uncertainties than this is wrong


@dataclass(frozen=True)
class Known:
    """A temperature that is known.

    Attributes
    ----------
    bath : str
        `FEVER`, `ICE` or `BOIL`.
    temp_c, u_k : float
        The temperature and its standard uncertainty.
    """

    bath: str
    temp_c: float
    u_k: float


@dataclass(frozen=True)
class Point:
    """A probe in a known bath: what it read, uncalibrated, with the standard uncertainty of that."""

    bath: str
    true_c: float
    true_u_k: float
    raw_c: float
    raw_u_k: float
    at: str  # when, ISO

    @property
    def u_k(self) -> float:
        """Of the difference, the bend of the probe's errors included."""
        return math.hypot(self.true_u_k, self.raw_u_k, BENT_K_PER_K * (self.true_c - AT_C) / math.sqrt(3.0))


@dataclass(frozen=True)
class Fit:
    """A probe's correction: calibrated = gain * raw + offset_c.

    Attributes
    ----------
    offset_c, gain : float
        For the settings of the same names.
    shift_k, slope : float
        Correction at `AT_C`, and how it grows from there.
    var_shift, var_slope, covar : float
        Their covariances.
    """

    offset_c: float
    gain: float
    shift_k: float
    slope: float
    var_shift: float
    var_slope: float
    covar: float

    def uncertainty_k(self, temp_c: float = AT_C) -> float:
        """The expanded uncertainty (k = 2) at a temperature."""
        away = temp_c - AT_C
        bent = BENT_K_PER_K * away / math.sqrt(3.0)
        variance = self.var_shift + 2.0 * away * self.covar + away * away * self.var_slope + bent * bent
        return COVER * math.sqrt(max(0.0, variance))


def fever_known(shown_c: float) -> Known:
    """A bath whose temperature a fever thermometer shows.

    Raises
    ------
    UseError
        Outside what such a thermometer shows.
    """
    for low_c, high_c, limit_k in FEVER_LIMITS:
        if low_c <= shown_c <= high_c:
            return Known(FEVER, shown_c, math.hypot(limit_k / math.sqrt(3.0), 0.1 / math.sqrt(12.0), BATH_K))
    raise UseError("--fever", got=f"{shown_c:g} °C", wanted=f"{FEVER_LIMITS[-1][0]:g} to {FEVER_LIMITS[-1][1]:g} °C",
                   hint="37 to 39 °C is where a fever thermometer is best: add warm or cold water")


def ice_known() -> Known:
    """Crushed ice in a little water, stirred: 0 °C, the ice point."""
    return Known(ICE, 0.0, math.hypot(ICE_K / math.sqrt(3.0), BATH_K))


def boil_known(altitude_m: float | None, pressure_hpa: float | None) -> Known:
    """Water at a rolling boil, by the altitude or, better, a barometer in the kitchen.

    Raises
    ------
    UseError
        When neither is given, one is impossible, or they contradict each other.
    """
    if altitude_m is None and pressure_hpa is None:
        raise UseError("where does it boil?", wanted="--altitude METRES, or --pressure HPA from a barometer there",
                       hint="300 m make one degree")
    expected_pa = pressure_pa(altitude_m) if altitude_m is not None else None
    if pressure_hpa is None:
        assert expected_pa is not None
        return Known(BOIL, boiling_at_c(expected_pa), _boil_u_k(expected_pa, WEATHER_HPA))
    if not LOW_HPA <= pressure_hpa <= HIGH_HPA:  # NaN fails too
        raise UseError("--pressure", got=f"{pressure_hpa:g} hPa", wanted=f"{LOW_HPA:g} to {HIGH_HPA:g} hPa",
                       hint="1 inHg is 33.86 hPa, 1 mmHg 1.333 hPa")
    if expected_pa is not None and abs(pressure_hpa - expected_pa / 100.0) > BESIDE_HPA:
        raise UseError("--pressure and --altitude contradict each other", got=f"{pressure_hpa:g} hPa",
                       wanted=f"about {expected_pa / 100.0:.0f} hPa at {altitude_m:g} m",
                       hint="a weather report's pressure is reduced to sea level: leave it out")
    return Known(BOIL, boiling_at_c(100.0 * pressure_hpa), _boil_u_k(100.0 * pressure_hpa, BAROMETER_HPA))


def _boil_u_k(air_pa: float, spread_hpa: float) -> float:
    k_per_hpa = boiling_at_c(air_pa + 50.0) - boiling_at_c(air_pa - 50.0)  # over 100 Pa
    return math.hypot(k_per_hpa * spread_hpa, STEAM_K)


def fit(points: Sequence[Point], kind: str) -> Fit:
    """Offset and gain from the points, by least squares weighted with their uncertainties.

    One point gives the offset. The tolerance of the part's gain takes the place of what is not measured, so the
    uncertainty grows with the distance from the points.

    Parameters
    ----------
    points : sequence of Point
        One for each bath.
    kind : str
        Of the probe: ``onewire``, ``ntc`` or ``platinum``.

    Raises
    ------
    UseError
        When the points contradict each other, or ask for more than a calibration may do.
    """
    weights = [(p.u_k**-2, p.raw_c - AT_C, p.true_c - p.raw_c) for p in points]
    prior = GAIN_UNCERTAINTY[kind] ** -2
    s0, s1 = sum(w for w, _, _ in weights), sum(w * x for w, x, _ in weights)
    s2 = sum(w * x * x for w, x, _ in weights) + prior
    t0, t1 = sum(w * y for w, _, y in weights), sum(w * x * y for w, x, y in weights)
    det = s0 * s2 - s1 * s1
    shift, slope = (s2 * t0 - s1 * t1) / det, (s0 * t1 - s1 * t0) / det
    found = Fit(shift - slope * AT_C, 1.0 + slope, shift, slope, s2 / det, s0 / det, -s1 / det)
    _agree(points, found)
    if abs(found.offset_c) > LARGEST_OFFSET_K or not LEAST_GAIN <= found.gain <= LARGEST_GAIN:
        raise UseError(f"the probe would need an offset of {found.offset_c:+.2f} °C and a gain of {found.gain:.4f}",
                       wanted=f"at most {LARGEST_OFFSET_K:g} °C and {LEAST_GAIN:g} to {LARGEST_GAIN:g}",
                       hint="no calibration mends that: check its kind in the rig, or replace it")
    return found


def _agree(points: Sequence[Point], found: Fit) -> None:
    for point in points:
        left_k = point.true_c - point.raw_c - found.shift_k - found.slope * (point.raw_c - AT_C)
        if abs(left_k) > MISFIT * point.u_k:
            found_k = ", ".join(f"{p.bath} {p.true_c - p.raw_c:+.2f} °C" for p in points)
            raise UseError("the points contradict each other", got=found_k,
                           wanted="corrections on one line, within each point's uncertainty",
                           hint=f"measure the {points[-1].bath} point again; --forget drops them all")
