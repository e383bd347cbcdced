"""Guard bands: when a value with an uncertainty proves that a piece conforms, or that it does not.

The value is taken as the best estimate of a quantity spread about it as a normal distribution with the value's standard
uncertainty (JCGM 106:2012, 7). Acceptance asks for a probability of conformance of at least `coverage`, which for one
limit far from the other is the guard band `normal quantile x u` of ISO 14253-1:2017; where both limits are near,
both tails count. Rejection asks for the value to lie beyond a limit by that guard band.
"""

from functools import lru_cache
from math import erfc, inf, sqrt
from statistics import NormalDist

_NORMAL = NormalDist()
# Above this ratio of tolerance to uncertainty the far tail is below 1e-16 of the whole.
_FAR = 20.0
# Slack for rounding, so that a value on the edge of the acceptance zone lies in it.
_ROUNDING = 1e-12


@lru_cache(maxsize=64)
def quantile(coverage: float) -> float:
    """The standard normal's quantile: the guard band of one limit in standard uncertainties."""
    return _NORMAL.inv_cdf(coverage)


def conformance(value: float, uncertainty: float, low: float | None, high: float | None) -> float:
    """Probability that the quantity lies between its limits (JCGM 106:2012, 7.2 to 7.4); None is no limit."""
    if uncertainty == 0.0:
        return float((low is None or value >= low) and (high is None or value <= high))
    below = 0.0 if low is None else 0.5 * erfc((value - low) / (uncertainty * sqrt(2.0)))
    above = 0.0 if high is None else 0.5 * erfc((high - value) / (uncertainty * sqrt(2.0)))
    return 1.0 - below - above


def proves_conformance(
    value: float, uncertainty: float, low: float | None, high: float | None, coverage: float
) -> bool:
    """Whether the value lies in the acceptance zone."""
    return conformance(value, uncertainty, low, high) >= coverage - _ROUNDING


def proves_nonconformance(
    value: float, uncertainty: float, low: float | None, high: float | None, coverage: float
) -> bool:
    """Whether the value lies beyond a limit by more than the guard band (ISO 14253-1:2017).

    At a coverage of one half the guard band is nought and rounding could let a value on its limit prove both.
    """
    guard = quantile(coverage) * uncertainty
    beyond = (high is not None and value > high + guard) or (low is not None and value < low - guard)
    return beyond and not proves_conformance(value, uncertainty, low, high, coverage)


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
