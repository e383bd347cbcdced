"""Intervals for sums and differences of mean squares, which is what variance components are."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import inf, sqrt

from scipy import stats

from app.statistics.intervals import CONFIDENCE


@dataclass(frozen=True, slots=True)
class Term:
    """One mean square of a combination: its factor (negative where it is taken off), value and degrees of freedom."""

    factor: float
    ms: float
    df: int


@dataclass(frozen=True, slots=True)
class Component:
    """A variance as a combination of mean squares.

    `value` may be negative; `se` is the large-sample standard error; `ci` the modified large-sample interval, its ends
    not below 0.
    """

    value: float
    se: float
    ci: tuple[float, float]


def component(terms: Sequence[Term], confidence: float = CONFIDENCE) -> Component:
    """Estimate the sum of factor x mean square with its modified large-sample interval.

    Sources: Graybill and Wang 1980, J. Am. Stat. Assoc. 75:869 (sums); Ting, Burdick, Graybill, Jeyaratnam and Lu 1990,
    J. Stat. Comput. Simul. 35:135 (differences), both as collected by Burdick, Borror and Montgomery 2003, J. Qual.
    Technol. 35:342; formulas from memory, coverage checked by simulation. The terms for pairs of equal sign are left
    out. One term alone gives the exact chi-squared interval.

    Parameters
    ----------
    terms
        Mean squares with the factor of each and its degrees of freedom.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    Component
        Value, standard error and interval, in the unit of the mean squares.
    """
    tail = (1 - confidence) / 2
    value = sum(term.factor * term.ms for term in terms)
    se = sqrt(sum(2 * (term.factor * term.ms) ** 2 / term.df for term in terms))
    added = [term for term in terms if term.factor > 0]
    taken = [term for term in terms if term.factor < 0]
    below = above = 0.0
    for term in added:
        below += (_shrink(term.df, tail) * term.factor * term.ms) ** 2
        above += (_stretch(term.df, tail) * term.factor * term.ms) ** 2
    for term in taken:
        below += (_stretch(term.df, tail) * term.factor * term.ms) ** 2
        above += (_shrink(term.df, tail) * term.factor * term.ms) ** 2
    for plus in added:
        for minus in taken:
            both = plus.factor * plus.ms * -minus.factor * minus.ms
            below += _cross_below(plus.df, minus.df, tail) * both
            above += _cross_above(plus.df, minus.df, tail) * both
    low, high = value - sqrt(max(below, 0.0)), value + sqrt(max(above, 0.0))
    return Component(value, se, (max(low, 0.0), max(high, 0.0)))


@cache
def _shrink(df: int, tail: float) -> float:
    """How far, relative to itself, a mean square's lower bound lies below it: 1 - df / chi2 of the upper tail."""
    return 1 - df / float(stats.chi2.isf(tail, df))


@cache
def _stretch(df: int, tail: float) -> float:
    """How far its upper bound lies above it: df / chi2 of the lower tail - 1."""
    return df / float(stats.chi2.ppf(tail, df)) - 1


@cache
def _cross_below(plus_df: int, minus_df: int, tail: float) -> float:
    f = float(stats.f.isf(tail, plus_df, minus_df))
    shrink, stretch = _shrink(plus_df, tail), _stretch(minus_df, tail)
    return 0.0 if f == inf else ((f - 1) ** 2 - (shrink * f) ** 2 - stretch**2) / f


@cache
def _cross_above(plus_df: int, minus_df: int, tail: float) -> float:
    f = float(stats.f.ppf(tail, plus_df, minus_df))
    stretch, shrink = _stretch(plus_df, tail), _shrink(minus_df, tail)
    return ((1 - f) ** 2 - (stretch * f) ** 2 - shrink**2) / f
