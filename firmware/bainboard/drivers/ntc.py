"""An NTC thermistor to ground under a resistor to the supply the converter measures against, so the supply cancels."""

from math import log

from bainboard.drivers import codes

FULL_SCALE = 65535.0
OPEN_SHARE, SHORT_SHARE = 0.99, 0.01  # of full scale; chosen: a 10 k NTC at 25 °C is over it below -55 °C
SAMPLES = 8  # averaged against the converter's noise; chosen
ZERO_K = 273.15
T25_K = 298.15


def ntc_c(resistance_ohm: float, r25_ohm: float, beta_k: float) -> float:
    """Temperature from R = R25 exp(B (1/T - 1/298.15 K)), °C."""
    return 1.0 / (1.0 / T25_K + log(resistance_ohm / r25_ohm) / beta_k) - ZERO_K


class NtcProbe:
    """The thermistor on this converter input."""

    accuracy_unknown = False

    def __init__(self, adc, r25_ohm: float, beta_k: float, series_ohm: float) -> None:
        self._adc = adc
        self._r25_ohm, self._beta_k, self._series_ohm = r25_ohm, beta_k, series_ohm

    def start(self) -> None:
        """Nothing to begin: the converter is read at once."""

    def read(self) -> tuple:
        """(temp_c or None, code)."""
        total = 0
        for _ in range(SAMPLES):
            total += self._adc.read_u16()
        share = total / (SAMPLES * FULL_SCALE)
        if not share < OPEN_SHARE:
            return None, codes.OPEN
        if not share > SHORT_SHARE:
            return None, codes.SHORT
        return ntc_c(self._series_ohm * share / (1.0 - share), self._r25_ohm, self._beta_k), codes.OK
