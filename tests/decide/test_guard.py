"""Guard bands against published examples.

JCGM 106:2012, "The role of measurement uncertainty in conformity assessment"; its section numbers and the first three
examples' inputs are from memory. ISO 14253-1:2017, whose default probability of conformance is 95 %.
"""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings, strategies as st
from scipy.stats import norm

from vision.decide.guard import (
    REJECT,
    acceptance_zone,
    bounds_of,
    conformance,
    outcomes_of,
    proves_conformance,
    quantile,
)
from vision.decide.spreads import Normal

values = st.floats(-5.0, 5.0)
spreads = st.floats(1e-4, 2.0)
coverages = st.floats(0.5, 0.9999)


def proves_nonconformance(value: float, u: float, low: float | None, high: float | None, coverage: float) -> bool:
    """Whether a value lies beyond a limit by more than the guard band."""
    spread = Normal(np.array([value]), np.array([u]))
    return bool(outcomes_of(spread, *bounds_of(low, high, 1), coverage)[0] == REJECT)


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "expected"),
    [
        pytest.param(-5.47, 0.05, None, -5.40, 0.919243, id="JCGM 106, 7.3: Zener diode"),
        pytest.param(13.6, 1.8, 12.5, 16.3, 0.662630, id="JCGM 106, 7.4: oil viscosity"),
        pytest.param(1500.0, 0.12, 1499.8, 1500.2, 0.904419, id="JCGM 106, 9.5: resistors, uninspected"),
    ],
)
def test_probability_of_conformance(
    value: float, u: float, low: float | None, high: float | None, expected: float
) -> None:
    assert conformance(value, u, low, high) == pytest.approx(expected, abs=1e-6)


def test_guarded_rejection_of_a_speed() -> None:
    """JCGM 106, 8.3.3: limit 100 km/h, relative uncertainty 2 %, 99.9 %: rejected from 107 km/h (106.59) on."""
    assert quantile(0.999) == pytest.approx(3.09, abs=0.001)
    assert not proves_nonconformance(106.58, 0.02 * 106.58, None, 100.0, 0.999)
    assert proves_nonconformance(106.60, 0.02 * 106.60, None, 100.0, 0.999)


def test_guard_band_of_an_expanded_uncertainty() -> None:
    """ISO 14253-1:1998 and 2013: a band of U = 2 u leaves a probability of nonconformance of 2.275 % at its edge."""
    assert 1.0 - conformance(1.0 - 2 * 0.1, 0.1, None, 1.0) == pytest.approx(0.02275, abs=1e-5)


def test_default_guard_band_of_one_limit() -> None:
    """ISO 14253-1:2017 at 95 %, one limit: 1.645 u, which the standard rounds to 1.65 u."""
    _, high = acceptance_zone(None, 1.0, 0.1, 0.95) or (0.0, 0.0)
    assert (1.0 - high) / 0.1 == pytest.approx(1.6449, abs=1e-4)


@pytest.mark.parametrize(("tolerance", "band"), [(10.0, 1.6449), (6.0, 1.6449), (4.0, 1.7962)])
def test_guard_bands_of_two_limits(tolerance: float, band: float) -> None:
    """Both limits near: the bands at which the probability between them is 95 % (computed with scipy beside it)."""
    low, high = acceptance_zone(0.0, tolerance, 1.0, 0.95) or (0.0, 0.0)
    assert (low, high) == pytest.approx((band, tolerance - band), abs=1e-4)
    assert norm.cdf(tolerance - low) - norm.cdf(-low) == pytest.approx(0.95, abs=1e-9)


@pytest.mark.parametrize(("tolerance", "centre"), [(3.5, 0.9199), (3.0, 0.8664), (2.0, 0.6827)])
def test_no_acceptance_zone_between_limits_too_close(tolerance: float, centre: float) -> None:
    assert conformance(0.5 * tolerance, 1.0, 0.0, tolerance) == pytest.approx(centre, abs=1e-4)
    assert acceptance_zone(0.0, tolerance, 1.0, 0.95) is None


@settings(deadline=None)
@given(values, spreads, coverages, values, st.floats(0.0, 4.0))
@example(-2.5e-102, 0.5, 0.5, 0.0, 4.0)
def test_never_proved_both_ways(value: float, u: float, coverage: float, low: float, tolerance: float) -> None:
    high = low + tolerance
    both = proves_conformance(value, u, low, high, coverage) and proves_nonconformance(value, u, low, high, coverage)
    assert not both


@settings(deadline=None)
@given(values, spreads, coverages, values, st.floats(0.01, 4.0))
def test_acceptance_zone_is_where_conformance_is_proved(
    value: float, u: float, coverage: float, low: float, tolerance: float
) -> None:
    zone = acceptance_zone(low, low + tolerance, u, coverage)
    proved = proves_conformance(value, u, low, low + tolerance, coverage)
    if zone is None:
        assert not proved
    elif min(abs(value - zone[0]), abs(value - zone[1])) > 1e-6:
        assert proved == (zone[0] < value < zone[1])


@settings(deadline=None)
@given(values, coverages)
def test_without_uncertainty_a_limit_is_a_limit(value: float, coverage: float) -> None:
    assert proves_conformance(value, 0.0, None, 1.0, coverage) == (value <= 1.0)
    assert proves_nonconformance(value, 0.0, None, 1.0, coverage) == (value > 1.0)
    assert acceptance_zone(None, 1.0, 0.0, coverage) == (-math.inf, 1.0)
