"""Guard bands: when a value with an uncertainty proves that a piece conforms, or that it does not.

A value is a best estimate of a quantity that is spread about it (`vision.decide.spreads`): a measured value as a normal
distribution with the value's standard uncertainty (JCGM 106:2012, 7), a count by the chances of its marks. Acceptance
asks for a probability of conformance of at least `coverage`, which for one limit of a measured value far from the other
is the guard band `normal quantile x u` of ISO 14253-1:2017; where both limits are near, both tails count. Rejection
asks for a probability of more than `coverage` that the quantity lies beyond one limit.
"""

from functools import lru_cache
from math import inf
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from vision.decide.marks import Array
from vision.decide.measures import MEASURES
from vision.decide.spreads import Normal, Spread
from vision.records import Limit

_NORMAL = NormalDist()
# Above this ratio of tolerance to uncertainty the far tail is below 1e-16 of the whole.
_FAR = 20.0
# Slack for rounding, so that a value on the edge of the acceptance zone lies in it.
_ROUNDING = 1e-12

PASS, REVIEW, REJECT = 0, 1, 2
"""What a limit says of a piece, as codes: a greater code is worse."""


@lru_cache(maxsize=64)
def quantile(coverage: float) -> float:
    """The standard normal's quantile: the guard band of one limit in standard uncertainties.

    Parameters
    ----------
    coverage
        One-sided probability behind the guard bands, 0.5 to 1.

    Returns
    -------
    float
        Quantile, in standard uncertainties.

    Examples
    --------
    >>> round(quantile(0.95), 3)
    1.645
    """
    return _NORMAL.inv_cdf(coverage)


def conformances(spread: Spread, low: Array, high: Array) -> Array:
    """Probability (pieces,) that each quantity lies between its limits (pieces,); -inf and inf are none.

    Parameters
    ----------
    spread
        What each value may be.
    low
        Least values allowed, (pieces,).
    high
        Largest values allowed, (pieces,).

    Returns
    -------
    Array
        Probabilities, (pieces,).

    Examples
    --------
    >>> from vision.decide import Normal
    >>> values = Normal(np.array([0.10, 0.15]), np.array([0.01, 0.01]))
    >>> conformances(values, np.full(2, -np.inf), np.full(2, 0.15)).round(3).tolist()
    [1.0, 0.5]
    """
    return np.clip(spread.at_most(high) - spread.below(low), 0.0, 1.0)


def outcomes_of(spread: Spread, low: Array, high: Array, coverage: float) -> NDArray[np.int8]:
    """`PASS`, `REVIEW` or `REJECT` (pieces,) between limits (pieces,); a missing value is reviewed.

    At a coverage of one half a value on its limit could prove both; it passes then.

    Parameters
    ----------
    spread
        What each value may be.
    low
        Least values allowed, (pieces,).
    high
        Largest values allowed, (pieces,).
    coverage
        One-sided probability behind the guard bands, 0.5 to 1.

    Returns
    -------
    NDArray[np.int8]
        `PASS`, `REVIEW` or `REJECT`, (pieces,).

    Examples
    --------
    >>> from vision.decide import PASS, REJECT, REVIEW, Normal
    >>> values = Normal(np.array([0.10, 0.15, 0.20]), np.array([0.01, 0.01, 0.01]))
    >>> found = outcomes_of(values, np.full(3, -np.inf), np.full(3, 0.15), 0.95)
    >>> found.tolist() == [PASS, REVIEW, REJECT]
    True
    """
    at_most, below = spread.at_most(high), spread.below(low)
    conforms = at_most - below >= coverage - _ROUNDING
    beyond = (1.0 - at_most > coverage) | (below > coverage)
    return np.select([conforms, beyond], [PASS, REJECT], REVIEW).astype(np.int8)


def bounds_of(low: float | None, high: float | None, pieces: int) -> tuple[Array, Array]:
    """A limit's bounds (pieces,), infinite where there are none.

    Parameters
    ----------
    low
        Least value allowed; None: no such bound.
    high
        Largest value allowed; None: no such bound.
    pieces
        How many pieces.

    Returns
    -------
    tuple[Array, Array]
        Lower and upper bounds, (pieces,) each.
    """
    return np.full(pieces, -inf if low is None else low), np.full(pieces, inf if high is None else high)


def limit_outcomes(spread: Spread, limit: Limit, coverage: float) -> NDArray[np.int8]:
    """Outcomes of one limit on every piece; a limit on what was seen never rejects.

    Parameters
    ----------
    spread
        What each value may be.
    limit
        The limit.
    coverage
        One-sided probability behind the guard bands, 0.5 to 1.

    Returns
    -------
    NDArray[np.int8]
        `PASS`, `REVIEW` or `REJECT`, (pieces,).
    """
    said = outcomes_of(spread, *bounds_of(limit.min, limit.max, len(spread)), coverage)
    return np.minimum(said, REVIEW) if MEASURES[limit.measure].says_seen else said


def _alone(value: float, uncertainty: float) -> Normal:
    return Normal(np.array([value], dtype=np.float64), np.array([uncertainty], dtype=np.float64))


def conformance(value: float, uncertainty: float, low: float | None, high: float | None) -> float:
    """Probability that a measured quantity lies between its limits (JCGM 106:2012, 7.2 to 7.4); None is no limit."""
    return float(conformances(_alone(value, uncertainty), *bounds_of(low, high, 1))[0])


def proves_conformance(
    value: float, uncertainty: float, low: float | None, high: float | None, coverage: float
) -> bool:
    """Whether a measured value lies in the acceptance zone."""
    return bool(outcomes_of(_alone(value, uncertainty), *bounds_of(low, high, 1), coverage)[0] == PASS)


def acceptance_zone(
    low: float | None, high: float | None, uncertainty: float, coverage: float
) -> tuple[float, float] | None:
    """Lowest and highest value that prove conformance; infinite where there is no limit.

    Returns
    -------
    None when even the middle between the two limits proves nothing: the limits are too close for this uncertainty.
    """
    if low is None or high is None or uncertainty == 0.0:
        guard = quantile(coverage) * uncertainty
        return (-inf if low is None else low + guard, inf if high is None else high - guard)
    if not proves_conformance(0.5 * (low + high), uncertainty, low, high, coverage):
        return None
    guard = _guard_between((high - low) / uncertainty, coverage) * uncertainty
    return low + guard, high - guard


def _guard_between(tolerance: float, coverage: float) -> float:
    """Guard band r between two limits t apart, in standard uncertainties: cdf(r) + cdf(t - r) - 1 = coverage.

    Newton's method from the one-sided band: the left side rises and is concave up to the middle, so the steps come
    from below and never leave it.
    """
    band = quantile(coverage)
    if tolerance > _FAR:
        return band
    for _ in range(60):
        missing = coverage - (_NORMAL.cdf(band) + _NORMAL.cdf(tolerance - band) - 1.0)
        slope = _NORMAL.pdf(band) - _NORMAL.pdf(tolerance - band)
        if missing <= _ROUNDING or slope <= 0.0:
            break
        band = min(band + missing / slope, 0.5 * tolerance)
    return band
