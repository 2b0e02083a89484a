"""A probe in a known bath, as `bain calibrate` stores it."""

from bainwright.calibration.fit import Known, Point

NOW = "2026-03-01T18:00:00+00:00"


def point(known: Known, raw_c: float, at: str = NOW) -> Point:
    """A probe that read so in a known bath."""
    return Point(known.bath, known.temp_c, known.u_k, raw_c, 0.02, at)
