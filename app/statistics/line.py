"""A straight line by least squares, each point with its own variance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class StraightLine:
    """y = intercept + slope x.

    `covariance` (2, 2) of both for the variances given; `squares` the weighted sum of squared residuals and `freedom`
    its degrees of freedom: with variances of 1 their quotient is the residual variance.
    """

    intercept: float
    slope: float
    covariance: Array
    squares: float
    freedom: int

    def value(self, x: Array) -> Array:
        """The line at x (n,)."""
        return np.asarray(self.intercept + self.slope * x)

    def variance(self, x: Array) -> Array:
        """Variance (n,) of the line at x (n,), for the variances given."""
        (of_intercept, both), (_, of_slope) = self.covariance
        return np.asarray(of_intercept + 2.0 * both * x + of_slope * x**2)


def straight_line(x: Array, y: Array, variance: Array) -> StraightLine:
    """Fit a line to points of which each y has a variance, about the weighted mean of x so that digits are kept.

    Source: least squares; certified by NIST's Statistical Reference Datasets, linear regression (tests).

    Parameters
    ----------
    x, y
        (n,) points, in any units.
    variance
        (n,) of each y, in its unit squared.

    Returns
    -------
    StraightLine
        Intercept at x = 0 and slope with their (2, 2) covariance; the weighted squares that are left, and their degrees
        of freedom.

    Raises
    ------
    ValueError
        All x are equal.
    """
    weight = 1.0 / variance
    total_weight = float(weight.sum())
    middle = float((weight * x).sum() / total_weight)
    off = x - middle
    spread = float((weight * off**2).sum())
    if spread == 0.0:
        raise ValueError("a line needs two places")
    level = float((weight * y).sum() / total_weight)
    slope = float((weight * off * (y - level)).sum() / spread)
    left = y - level - slope * off
    of_slope = 1.0 / spread
    of_level = 1.0 / total_weight + middle**2 * of_slope
    covariance = np.array([[of_level, -middle * of_slope], [-middle * of_slope, of_slope]], dtype=np.float64)
    return StraightLine(level - slope * middle, slope, covariance, float((weight * left**2).sum()), len(x) - 2)
