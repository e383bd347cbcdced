"""Control charts for measures and for counts: centre, limits and the points outside.

A point on a limit is not outside (NIST/SEMATECH e-Handbook, 6.3.3.1: the third wafer lies on it and is not flagged).
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]

SIGMAS = 3.0
"""Limits lie three standard deviations from the centre (Shewhart; ISO 7870-2)."""
ALARM = 0.0027
"""Chance of a point without a cause outside limits by probability: that of a normal value beyond three deviations."""


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A chart's points, centre and limits, all (n,), and which points lie outside."""

    points: Array
    center: Array
    lower: Array
    upper: Array

    @property
    def outside(self) -> NDArray[np.bool_]:
        """(n,): beyond a limit; the limits are widened by rounding error only."""
        slack = 1e-9 * np.maximum(np.abs(self.upper), np.abs(self.lower))
        found: NDArray[np.bool_] = (self.points > self.upper + slack) | (self.points < self.lower - slack)
        return found


RANGE_MEAN = sqrt(4.0 / pi)
"""d2 of two: mean range of two standard normal values (Tippett 1925, Biometrika 17:364)."""
RANGE_DEVIATION = sqrt(2.0 - 4.0 / pi)
"""d3 of two: its standard deviation."""


def _flat(points: Array, center: float, lower: float, upper: float) -> Chart:
    ones = np.ones(len(points))
    return Chart(points, center * ones, lower * ones, upper * ones)


def individuals(values: Array, width: float = SIGMAS) -> Chart:
    """Single values about their mean, spread from the mean moving range (ISO 7870-2; NIST e-Handbook 6.3.2.2).

    Parameters
    ----------
    values
        (n,) in order of time, at least two.
    width
        Of the limits, in standard deviations.

    Returns
    -------
    Chart
        Points (n,), centre and limits, in the values' unit.
    """
    spread = float(np.abs(np.diff(values)).mean()) / RANGE_MEAN
    center = float(values.mean())
    return _flat(values, center, center - width * spread, center + width * spread)


def moving_ranges(values: Array) -> Chart:
    """Moving ranges of two of single values; the lower limit is 0.

    Parameters
    ----------
    values
        (n,) in order of time, at least two.

    Returns
    -------
    Chart
        Ranges (n - 1,), their mean and limits, in the values' unit.
    """
    ranges = np.abs(np.diff(values))
    center = float(ranges.mean())
    upper = center * (1 + SIGMAS * RANGE_DEVIATION / RANGE_MEAN)
    return _flat(ranges, center, 0.0, upper)


@dataclass(frozen=True, slots=True)
class Process:
    """What a process should do: its target and its standard deviation for single values."""

    target: float
    deviation: float


def ewma(values: Array, process: Process, weight: float = 0.2, width: float = 2.962) -> Chart:
    """Exponentially weighted moving average with its limits at every point.

    `weight` of the newest value and `width` of the limits in standard deviations; the defaults give one false alarm in
    500 points (Lucas and Saccucci 1990, Technometrics 32:1). Source: NIST e-Handbook 6.3.2.4.

    Parameters
    ----------
    values
        (n,) in order of time.
    process
        Target and standard deviation, in the values' unit.
    weight
        Share of the newest value.
    width
        Of the limits, in standard deviations.

    Returns
    -------
    Chart
        Points (n,), centre and limits at each, in the values' unit.
    """
    points = np.empty(len(values))
    level = process.target
    for i, value in enumerate(values):
        level = weight * float(value) + (1 - weight) * level
        points[i] = level
    age = np.arange(1, len(values) + 1)
    reach = width * process.deviation * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * age)))
    return Chart(points, np.full(len(values), process.target), process.target - reach, process.target + reach)


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """Cumulative sums above and below the target, (n,), in the values' units; a signal where one exceeds `limit`."""

    high: Array
    low: Array
    limit: float

    @property
    def outside(self) -> NDArray[np.bool_]:
        """(n,): where a sum exceeds the limit."""
        found: NDArray[np.bool_] = (self.high > self.limit) | (self.low > self.limit)
        return found


def cusum(values: Array, target: float, slack: float, limit: float) -> Cusum:
    """Tabular cumulative sums.

    `slack` (k) and `limit` (h) in the values' units; half the shift worth finding and four or five standard deviations
    are customary (Montgomery, Introduction to Statistical Quality Control; NIST e-Handbook 6.3.2.3).

    Parameters
    ----------
    values
        (n,) in order of time.
    target
        What they should be, in the values' unit.
    slack
        k, in the values' unit.
    limit
        h, in the values' unit.

    Returns
    -------
    Cusum
        Both sums (n,) after each value.
    """
    high, low = np.zeros(len(values)), np.zeros(len(values))
    above = below = 0.0
    for i, value in enumerate(values):
        above = max(0.0, above + float(value) - target - slack)
        below = max(0.0, below + target - slack - float(value))
        high[i], low[i] = above, below
    return Cusum(high, low, limit)


def share_chart(bad: Array, sizes: Array, alarm: float = ALARM) -> Chart:
    """p chart with limits by probability: shares of bad pieces in samples of given sizes (ISO 7870-2).

    Given how many are bad in all, those of one sample are hypergeometric whatever the share (Fisher 1935, as in his
    exact test): limits need no estimate of it and hold with one or two events a point. A sample without a cause lies
    outside with a chance of `alarm` at most, half of it on each side.

    Parameters
    ----------
    bad
        (n,) bad pieces in each sample.
    sizes
        (n,) pieces in each sample.
    alarm
        Chance at most that a sample without a cause lies outside.

    Returns
    -------
    Chart
        Shares (n,), their mean and limits.
    """
    total, tail = float(bad.sum()), alarm / 2
    within = stats.hypergeom(int(sizes.sum()), int(total), sizes.astype(np.int64))
    return _by_probability(bad, sizes, within.ppf(tail), within.isf(tail))


def rate_chart(counts: Array, sizes: Array, alarm: float = ALARM) -> Chart:
    """u chart with limits by probability: findings a unit in samples of given sizes (ISO 7870-2).

    Given how many there are in all, those of one sample are binomial whatever the rate (Przyborowski and Wilenski 1940,
    Biometrika 31:313): exact with one or two events a point too. A sample without a cause lies outside with a chance of
    `alarm` at most, half of it on each side.

    Parameters
    ----------
    counts
        (n,) findings in each sample.
    sizes
        (n,) units in each sample.
    alarm
        Chance at most that a sample without a cause lies outside.

    Returns
    -------
    Chart
        Findings a unit (n,), their mean and limits.
    """
    within = stats.binom(int(counts.sum()), sizes / sizes.sum())
    return _by_probability(counts, sizes, within.ppf(alarm / 2), within.isf(alarm / 2))


def _by_probability(counts: Array, sizes: Array, least: Array, most: Array) -> Chart:
    center = np.full(len(counts), float(counts.sum() / sizes.sum()))
    return Chart(counts / sizes, center, np.maximum(least, 0.0) / sizes, np.maximum(most, 0.0) / sizes)
