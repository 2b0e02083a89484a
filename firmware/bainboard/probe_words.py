"""What the codes of a probe mean and what to look at, in words. Loaded for a refusal, and dropped again."""

from bainboard.drivers import codes

TEXTS = {
    codes.OK: "good",
    codes.NO_PRESENCE: "no answer from the probe: look at its plug and cable",
    codes.ALL_ZERO: "the probe's data line is shorted to ground",
    codes.BAD_CRC: "the probe's answer came garbled: look at its cable and the pull-up resistor",
    codes.POWER_ON: "the probe lost its supply and has not measured since",
    codes.OPEN: "the probe is open: a broken wire or no plug",
    codes.SHORT: "the probe is shorted",
    codes.JUMP: "the reading jumped faster than anything can warm or cool",
    codes.RANGE: "the reading is no temperature of a bath",
    codes.STALE: "the probe gave no new reading",
}
