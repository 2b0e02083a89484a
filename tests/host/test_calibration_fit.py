"""Known temperatures, and the fit of a probe's errors to them."""

from __future__ import annotations

import math

import iapws
import numpy as np
import pytest
from known_points import point

from bainwright.calibration.fit import (
    AT_C,
    boil_known,
    fever_known,
    fit,
    ice_known,
)
from bainwright.core.errors import UseError

# -- the baths ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("hpa", [540.0, 700.0, 850.0, 955.0, 1013.25, 1060.0])
def test_the_boiling_point_is_that_of_iapws(hpa):
    """Against the library `iapws`, IF97 region 4."""
    known = boil_known(None, hpa)
    assert known.temp_c == pytest.approx(iapws.iapws97._TSat_P(hpa / 1e4) - 273.15, abs=1e-6)
    assert known.u_k < 0.12


def test_an_altitude_alone_leaves_the_weather_uncertain():
    """0.028 K/hPa at sea level from the table of `iapws`; 10 hPa of weather."""
    slope = (iapws.iapws97._TSat_P(0.101425) - iapws.iapws97._TSat_P(0.101225)) / 2.0
    assert boil_known(0.0, None).u_k == pytest.approx(math.hypot(10.0 * slope, 0.1), rel=0.01)
    assert boil_known(0.0, None).temp_c == pytest.approx(99.97, abs=0.01)


@pytest.mark.parametrize(
    ("altitude_m", "hpa", "word"),
    [
        (None, None, "where does it boil"),
        (9000.0, None, "-430 to 5500 m"),
        (math.nan, None, "-430 to 5500 m"),
        (None, 29.9, "1 inHg is 33.86 hPa"),
        (None, math.nan, "500 to 1085"),
        (1600.0, 1013.0, "reduced to sea level"),
    ],
)
def test_a_boiling_point_that_cannot_be_is_refused_in_words(altitude_m, hpa, word):
    with pytest.raises(UseError, match=word):
        boil_known(altitude_m, hpa)


def test_a_fever_thermometer_is_best_from_37_to_39():
    """Its limits of error are ASTM E1112's, from memory."""
    assert fever_known(38.0).u_k < fever_known(36.5).u_k < fever_known(34.5).u_k
    with pytest.raises(UseError, match="add warm or cold water"):
        fever_known(43.0)


# -- the fit -----------------------------------------------------------------------------------------------------------


def test_a_probe_with_offset_and_gain_is_seen_through():
    """A made-up probe that reads (true - 0.4) / 1.004: three exact points give both back."""
    points = [point(known, (known.temp_c - 0.4) / 1.004) for known in (fever_known(38.0), ice_known(),
                                                                     boil_known(0.0, 1013.25))]
    found = fit(points, "onewire")
    assert found.gain == pytest.approx(1.004, abs=0.0005)  # the gain's tolerance pulls a little
    assert 32.0 * found.gain + found.offset_c == pytest.approx(32.0 * 1.004 + 0.4, abs=0.02)


def test_one_point_gives_the_offset_and_its_uncertainty_grows_away_from_it():
    found = fit([point(fever_known(38.0), 38.3)], "onewire")
    assert (found.gain, found.offset_c) == (pytest.approx(1.0, abs=1e-9), pytest.approx(-0.3, abs=1e-6))
    assert found.uncertainty_k(38.3) < found.uncertainty_k(32.0) < found.uncertainty_k(20.0) < found.uncertainty_k(0.0)
    assert fit([point(fever_known(38.0), 38.3)], "ntc").uncertainty_k() > found.uncertainty_k()


def test_a_limit_counts_as_an_even_spread_and_a_bath_is_uneven():
    """GUM 4.3.7: half a width over the root of three. Ice 0.1 K and a bath of 0.05 K, by hand: 0.0764 K."""
    assert ice_known().u_k == pytest.approx(0.0764, abs=1e-4)


def test_the_stated_uncertainty_holds_in_nineteen_of_twenty():
    """Two thousand made-up probes, errors drawn as the model says: 95 % within twice the standard uncertainty."""
    rng = np.random.default_rng(20260301)
    knowns = [fever_known(38.0), ice_known(), boil_known(0.0, None)]
    within = 0
    for _ in range(2000):
        shift, slope = rng.normal(0.0, 0.3), rng.normal(0.0, 0.004)
        points = []
        for known in knowns:
            each = point(known, 0.0)
            noise = rng.normal(0.0, each.u_k)
            raw_c = (known.temp_c + noise - shift + slope * AT_C) / (1.0 + slope)
            points.append(point(known, raw_c))
        try:
            found = fit(points, "onewire")
        except UseError:
            continue  # reported as contradicting
        within += abs(found.shift_k - shift) <= found.uncertainty_k()
    assert 0.92 <= within / 2000 <= 0.99


def test_points_that_contradict_each_other_are_refused():
    with pytest.raises(UseError, match=r"contradict each other: got fever .* ice .*measure the ice point again"):
        fit([point(fever_known(38.0), 38.0), point(ice_known(), 2.5)], "onewire")


def test_more_than_a_calibration_may_do_is_refused():
    with pytest.raises(UseError, match="no calibration mends that"):
        fit([point(fever_known(38.0), 44.0)], "onewire")
