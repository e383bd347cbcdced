"""Control charts against NIST's handbook, ISO 7870-2 and published constants and run lengths."""

import numpy as np
import pytest

from app.statistics.charts import (
    RANGE_DEVIATION,
    RANGE_MEAN,
    Chart,
    Process,
    cusum,
    ewma,
    individuals,
    moving_ranges,
    rate_chart,
    share_chart,
)
from app.statistics.run_length import cusum_run_length, ewma_run_length
from tests.statistics.published import numbers, printed

TEN = numbers("49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1")


def test_constants_of_ranges_of_two() -> None:
    # the usual table of constants (ISO 7870-2, ASTM manual), to its printed digits
    assert printed("1.1284") == RANGE_MEAN
    assert printed("0.8525") == RANGE_DEVIATION


def test_a_point_on_its_limit_is_not_outside() -> None:
    # e-Handbook 6.3.3.1, 25 wafers: mean 16, limits 4 and 28; the 24th lies outside, the 3rd on the limit
    counts = numbers("16 14 28 16 12 20 10 12 10 17 19 17 14 16 15 13 14 16 11 20 11 19 16 31 13")
    ones = np.ones(25)
    chart = Chart(counts, 16.0 * ones, (16.0 - 3.0 * np.sqrt(16.0)) * ones, (16.0 + 3.0 * np.sqrt(16.0)) * ones)
    assert (np.flatnonzero(chart.outside) + 1).tolist() == [24]


def test_rate_chart_of_iso_7870() -> None:
    units = rate_chart(numbers("4 5 3 6 2 1 5 6 2 4 7 5 2 3"), np.full(14, 15.0))
    assert units.center[0] == printed("0.26")
    # three deviations of the standard lie at .66, which 10 of 15 units exceed with 0.0014: by probability 11 are kept
    assert units.upper[0] == pytest.approx(11 / 15)
    assert units.lower[0] == 0.0


def test_individuals_of_the_nist_handbook() -> None:
    # e-Handbook 6.3.2.2: mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041, by d2 = 1.128
    chart = individuals(TEN)
    assert chart.center[0] == printed("50.81")
    assert (chart.lower[0], chart.upper[0]) == pytest.approx((45.8159, 55.8041), abs=2e-3)
    assert not chart.outside.any()
    ranges = moving_ranges(TEN)
    assert ranges.center[0] == printed("1.8778")
    # printed 6.135, by the factor cut to 3.267; unrounded it is 3.2665
    assert ranges.upper[0] == pytest.approx(6.135, abs=1.3e-3)


def test_individuals_of_iso_7870() -> None:
    # moisture of ten lots (ISO 8258:1991, now ISO 7870-2): mean 3.45, mean range .38, limits 4.46 and 2.44 from those
    chart = individuals(numbers("2.9 3.2 3.6 4.3 3.8 3.5 3.0 3.1 3.6 3.5"))
    assert chart.center[0] == printed("3.45")
    assert (chart.lower[0], chart.upper[0]) == pytest.approx((2.445, 4.455), abs=1e-3)


def test_ewma_of_the_nist_handbook() -> None:
    # e-Handbook 6.3.2.4: weight .3, target 50, s 2.0539, final limits 47.4115 and 52.5884 (cut, not rounded)
    values = numbers(
        "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
    )
    published = numbers(
        "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 "
        "51.94 51.99"
    )
    chart = ewma(values, Process(50.0, 2.0539), weight=0.3, width=3.0)
    assert chart.points == pytest.approx(published, abs=5.1e-3)
    far = ewma(np.full(200, 50.0), Process(50.0, 2.0539), weight=0.3, width=3.0)
    assert (far.lower[-1], far.upper[-1]) == pytest.approx((47.4115, 52.5884), abs=1.1e-4)
    assert chart.upper[0] < chart.upper[-1]


def test_cusum_of_the_nist_handbook() -> None:
    # e-Handbook 6.3.2.3: target 325, k .3175, h 4.1959; signal at the fourteenth
    values = numbers(
        "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 324.625 325.150 328.325 "
        "327.250 327.825 328.500 326.675 327.775 326.875 328.350"
    )
    sums = cusum(values, 325.0, 0.3175, 4.1959)
    high = numbers("0 0 0 0 .03 0 0 0 0 0 0 0 3.01 4.94 7.45 10.63 11.99 14.44 16.00 19.04")
    low = numbers("0 .01 0 .33 0 0 .56 .72 .17 .25 .31 0")
    assert sums.high == pytest.approx(high, abs=5.1e-3)
    assert sums.low[:12] == pytest.approx(low, abs=5.1e-3)
    assert int(np.flatnonzero(sums.outside)[0]) + 1 == 14


def test_share_chart_of_the_nist_handbook() -> None:
    # e-Handbook 6.3.3.2: 30 wafers of 50 chips, mean .2313, limits .0524 and .4102; 15 and 23 outside
    bad = numbers("12 15 8 10 4 7 16 9 14 10 5 6 17 12 22 8 10 5 13 11 20 18 24 15 9 12 7 13 9 6")
    chart = share_chart(bad, np.full(30, 50.0))
    assert chart.center[0] == printed("0.2313")
    # three deviations of the handbook lie at .0524 and .4102; limits by probability within a chip of it
    assert chart.lower[0] == pytest.approx(0.0524, abs=0.03)
    assert chart.upper[0] == pytest.approx(0.4102, abs=0.02)
    assert (np.flatnonzero(chart.outside) + 1).tolist() == [15, 23]


@pytest.mark.parametrize("mean", [0.3, 2.0])
def test_charts_of_rare_counts_alarm_no_more_than_they_say(mean: float) -> None:
    """100 clean charts of 20 points, one or two events each: exact limits give 0.0027 a point at most.

    Of 2,000 points more than 13 come by a chance of 0.1 %. Three standard deviations gave up to 0.078 a point.
    """
    rng = np.random.default_rng(71)
    sizes = np.tile([2.0, 3.0, 4.0, 6.0], 5)
    rates = shares = 0
    for _ in range(100):
        rates += int(rate_chart(rng.poisson(mean * sizes / 3.75).astype(float), sizes).outside.sum())
        bad = rng.binomial(sizes.astype(int), min(mean / 3.75, 1.0))
        shares += int(share_chart(bad.astype(float), sizes).outside.sum())
    assert rates <= 13
    assert shares <= 13


def test_limits_by_probability_leave_out_what_is_rarer() -> None:
    """Fifteen events in twenty samples of one unit: one with 7 is outside, as P(7 or more of 15 at 1/20) = 3e-6."""
    counts = np.array([7.0, *[1.0] * 8, *[0.0] * 11])
    assert np.flatnonzero(rate_chart(counts, np.ones(20)).outside).tolist() == [0]


def test_samples_of_several_sizes_have_limits_of_their_own() -> None:
    chart = share_chart(np.array([1.0, 9.0, 20.0]), np.array([10.0, 100.0, 200.0]))
    assert chart.upper[0] > chart.upper[1] > chart.upper[2]
    assert (chart.upper <= 1.0).all()


@pytest.mark.parametrize(("limit", "shift", "published"), [(4.0, 0.0, 167.7), (5.0, 1.0, 10.38)])
def test_run_lengths_of_sums(limit: float, shift: float, published: float) -> None:
    # Montgomery, table of two-sided sums with k = 1/2 (168, 8.38; 465, 10.4), more digits by other chains
    assert cusum_run_length(shift, 0.5, limit) == pytest.approx(published, rel=6e-4)


@pytest.mark.parametrize(
    ("weight", "width", "published"),
    [(0.10, 2.814, "10.33"), (0.40, 3.054, "14.26")],
)
def test_run_lengths_of_moving_averages(weight: float, width: float, published: str) -> None:
    # Lucas and Saccucci 1990, Technometrics 32:1: about 500 without a shift, these with one of 1
    assert ewma_run_length(0.0, weight, width) == pytest.approx(500.0, rel=0.01)
    assert ewma_run_length(1.0, weight, width) == pytest.approx(float(published), rel=3e-3)
