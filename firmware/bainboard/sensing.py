"""A probe as the control sees it: a calibrated temperature or a reason why there is none, never a plausible number."""

from bainboard.drivers import codes

# the layers above know the codes by this module
OK, NO_PRESENCE, ALL_ZERO, BAD_CRC, POWER_ON = (
    codes.OK, codes.NO_PRESENCE, codes.ALL_ZERO, codes.BAD_CRC, codes.POWER_ON)
OPEN, SHORT, JUMP, RANGE, STALE = codes.OPEN, codes.SHORT, codes.JUMP, codes.RANGE, codes.STALE

LOW_C, HIGH_C = -5.0, 110.0  # a bath is liquid water; chosen, with room for a probe's error
LEAST_JUMP_S = 1.0  # readings closer together are judged as if this far apart; chosen, the control tick

def text(code: int) -> str:
    """What a code means and what to look at, in words."""
    from bainboard import probe_words  # loaded for this, and dropped again: see heap_reserve

    return probe_words.TEXTS.get(code) or f"unknown code {code}"


class Probe:
    """A driver with its calibration, temp_c = gain * raw + offset_c, and the checks that need a history."""

    def __init__(self, driver, offset_c: float, gain: float, jump_c_per_s: float) -> None:
        self._driver = driver
        self._offset_c, self._gain, self._jump_c_per_s = offset_c, gain, jump_c_per_s
        self._last_c = None
        self._last_ms = 0

    @property
    def accuracy_unknown(self) -> bool:
        """The part answers correctly but is not what its type says: its calibration is not the maker's."""
        return self._driver.accuracy_unknown

    def start(self) -> None:
        """Begin a conversion."""
        self._driver.start()

    def read(self, now_ms: int) -> tuple:
        """(temp_c, OK) or (None, code)."""
        raw_c, code = self._driver.read()
        if code != codes.OK:
            return None, code
        temp_c = raw_c * self._gain + self._offset_c
        if not LOW_C < temp_c < HIGH_C:
            return None, codes.RANGE
        if self._last_c is not None and not abs(temp_c - self._last_c) <= self._allowed_c(now_ms):
            return None, codes.JUMP
        self._last_c, self._last_ms = temp_c, now_ms
        return temp_c, codes.OK

    def _allowed_c(self, now_ms: int) -> float:
        """Change allowed since the last good reading: grows with its age, so that a real change is believed in time."""
        return self._jump_c_per_s * max((now_ms - self._last_ms) / 1000.0, LEAST_JUMP_S)
