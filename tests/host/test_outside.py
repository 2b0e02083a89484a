"""When the chocolate was outside its window, against stretches made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from bainwright.display.picture import MOST_BINS, thinned
from bainwright.happenings.outside import Course, Stretch
from bainwright.happenings.outside import course as course_by_rows
from bainwright.record.gaps import longest_steps_s


def readings(*parts: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """A row a second: so many seconds at a temperature, one part after the other."""
    bowl_c = np.concatenate([np.full(int(seconds), temp_c) for seconds, temp_c in parts])
    return np.arange(1.0, len(bowl_c) + 1), bowl_c


def course(t_s: np.ndarray, bowl_c: np.ndarray, low_c: float, high_c: float) -> Course | None:
    """Of rows a second apart."""
    return course_by_rows(t_s, bowl_c, low_c, high_c, longest_steps_s(np.full(len(t_s), "hold"), 1.0))


def test_rows_of_a_board_alone_after_a_trip_are_no_islands() -> None:
    """The board writes a row each 10 s, and after a trip each 100 s (FLASH.md): all that it read counts."""
    t_s = np.concatenate([np.arange(10.0, 610.0, 10.0), np.arange(700.0, 1300.0, 100.0)])
    bowl_c = np.where(t_s > 600, 33.0, 31.5)
    states = np.where(t_s > 600, "trip", "hold")
    found = course_by_rows(t_s, bowl_c, 31, 32, longest_steps_s(states, 10.0))
    assert found == Course(10.0, 1200.0, [Stretch(700.0, 1200.0, 33.0, True)])


def test_each_time_outside_has_its_begin_its_end_and_its_worst_reading() -> None:
    """Warm-up until 300 s, then down from 901 to 1080 s, and up from 1381 s for the last five minutes."""
    found = course(*readings((300, 30.0), (600, 31.5), (100, 29.5), (80, 30.2), (300, 31.6), (300, 32.4)), 31, 32)
    assert found == Course(301.0, 1680.0, [Stretch(901.0, 1081.0, 29.5, False), Stretch(1381.0, 1680.0, 32.4, True)])


def test_a_minute_s_noise_at_the_edge_is_not_named_and_does_not_cut_a_stretch_in_two() -> None:
    found = course(*readings((300, 31.5), (30, 30.9), (300, 31.5), (200, 30.5), (20, 31.0), (200, 30.0)), 31, 32)
    assert found is not None
    assert found.outside == [Stretch(631.0, 1050.0, 30.0, False)]


def test_what_is_not_recorded_is_not_said_to_be_outside() -> None:
    t_s, bowl_c = readings((300, 31.5), (120, 30.5), (120, 30.4), (300, 31.5))
    later = t_s > 420
    found = course(t_s + np.where(later, 3600.0, 0.0), bowl_c, 31, 32)
    assert found is not None
    assert found.outside == [Stretch(301.0, 420.0, 30.5, False), Stretch(4021.0, 4141.0, 30.4, False)]


def test_never_in_the_window_has_no_course() -> None:
    assert course(*readings((300, 20.0)), 31, 32) is None


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_thinned_curve_keeps_every_peak_and_each_missing_row(seed: int) -> None:
    """The extremes of any stretch longer than two pieces are those of all its rows."""
    rng = np.random.default_rng(seed)
    values = 40.0 + rng.standard_normal(28_800).cumsum() / 50
    values[rng.integers(0, len(values), 5)] += 8.0  # a single second
    values[9_000:9_050] = np.nan
    rows = thinned(values)
    assert len(rows) < 5 * MOST_BINS
    assert np.isnan(values[rows]).sum() == 50
    piece = -(-len(values) // MOST_BINS)
    for begin in range(0, len(values) - 3 * piece, 3 * piece):
        inner = values[begin + piece : begin + 2 * piece]
        drawn = values[rows[(rows >= begin) & (rows < begin + 3 * piece)]]
        assert np.isnan(inner).all() or np.nanmax(inner) <= np.nanmax(drawn)
        assert np.isnan(inner).all() or np.nanmin(inner) >= np.nanmin(drawn)
