"""The charts of a hold on its page: what is drawn of readings that are missing, far away, or very many."""

import itertools
import re

from page_tools import Outline, scene_at

from bainwright.live.now import now_of
from bainwright.page import site
from bainwright.page.chart import BOTTOM, HEIGHT, MOST_POINTS, TOP, chart, thinned


def test_a_chart_breaks_its_line_where_a_reading_is_missing():
    """And has no line for a probe that is not there."""
    samples = [(0.0, 33.0, 31.5), (60.0, 33.0, None), (120.0, None, 31.5), (180.0, 33.0, 31.4)]
    drawn = chart(samples, (31.0, 32.0, 34.5), bath="water", label="x")
    chocolate = re.search(r'class="chocolate" d="([^"]*)"', drawn)[1]
    assert (chocolate.count("M"), chocolate.count("L")) == (2, 1)
    Outline(drawn)


def test_all_that_was_measured_is_drawn_however_cold_it_begins():
    """A melt from a cold bowl: each reading is inside the frame, and the axis has names enough and not too many."""
    cold = [(60.0 * at, 20.0 + at / 4, 18.0 + at / 8) for at in range(30)]
    for samples in (cold, [(0.0, 120.0, -40.0), (3600.0, -40.0, 120.0)]):
        drawn = chart(samples, (45.0, 48.0, 55.0), bath="water", label="x")
        top, height = TOP, HEIGHT - TOP - BOTTOM
        for name in ("water", "chocolate"):
            line = re.search(rf'class="{name}" d="([^"]*)"', drawn)[1]
            assert all(top - 0.1 <= float(y) <= top + height + 0.1 for y in re.findall(r"[ML][\d.]+ (-?[\d.]+)", line))
        named = [int(each) for each in re.findall(r'text-anchor="end">(-?\d+)<', drawn)]
        assert 3 <= len(named) <= 10
        assert len({later - earlier for earlier, later in itertools.pairwise(named)}) == 1


def test_the_curves_of_a_hold_that_was_taken_over_are_not_called_whole():
    """Another program watched it before: an hour of it is not known here."""
    scene = scene_at()
    assert "The whole hold" in site.charts(now_of(scene))
    scene.evening, scene.curve = scene.evening[60:], type(scene.curve)(list(scene.curve)[60:])
    drawn = site.charts(now_of(scene))
    assert "From 1:00:00 on; what was before, this PC does not know" in drawn
    assert "The whole hold" not in drawn
    assert "So far" not in drawn


def test_the_names_of_lines_far_apart_stay_inside():
    drawn = chart([(0.0, 120.0, -40.0), (3600.0, -40.0, 120.0)], (31.0, 32.0, 34.5), bath="water", label="x")
    names = [float(each) for each in re.findall(r'<text class="name[^>]*y="([^"]*)"', drawn)]
    assert len(names) == 3
    assert all(0 < each < 260 for each in names)


def test_a_night_is_thinned_and_its_last_sample_stays():
    """Forty-eight hours at a minute."""
    samples = [(60.0 * at, 33.0, 31.5) for at in range(2880)]
    few = thinned(samples)
    assert len(few) <= MOST_POINTS
    assert few[-1] == samples[-1]
