"""Capability and performance of a process against its limits, with intervals.

Cp, Cpk from the spread within subgroups, Pp, Ppk from the overall one (ISO 22514-2's notions). Cp's and Pp's intervals
are chi-squared's, exact for independent normal values; Cpk's and Ppk's are Bissell's 1990, J. R. Stat. Soc. C 39:331.
Subgroups that differ, or are alike their predecessors, hold fewer values than they have pieces: the overall variance
then has the degrees of freedom of its two mean squares together (Satterthwaite 1946, Biometrics Bull. 2:110), the one
between subgroups those of as many independent ones as its autocorrelation leaves. Values with long tails have fewer
still, by their kurtosis (Box 1953, Biometrika 40:318), estimated about a trimmed mean (Bonett 2006, Comput. Stat. Data
Anal. 50:775; both from memory).
An index has an interval only where values look normal, and are as many as it takes to see that they are not: of fewer a
skewed process passes for a normal one, and its interval does not hold (docs/benchmarks/statistics.md).
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from app.statistics.intervals import CONFIDENCE, UNDEFINED, Estimate, normal_quantile
from app.statistics.likeness import likeness, worth

Array = NDArray[np.float64]

ALIKE = 0.05
"""Chance of subgroup means that vary as much, below which they are said to be no chance; of values as little normal."""
ROUNDING = 1e-9
"""Spread, as a share of the values, below which nothing but rounding varies."""
LEAST_TESTED = 20
"""Values below which their distribution is not tested: hardly anything would be found."""
MOST_EXACT = 5000
"""Values up to which Shapiro and Wilk's test is known; of more D'Agostino and Pearson's stands in for it."""
LEAST_TRAYS = 12
"""Subgroups below which Pp and Ppk are not told: of eight, each like the next by 0.6, intervals hold in 90 % alone."""
LEAST_TOLD = 100
"""Values below which no index has an interval (as many are common practice, no source): of so many one that does not
hold is told of some 5 % of processes, whatever their shape (capability_simulation); of 40 it was up to 11 %."""


@dataclass(frozen=True, slots=True)
class Capability:
    """Indices of one measure; Cp and Pp are undefined with one limit.

    `steady`: whether subgroups differ no more than their pieces let expect (one-way analysis of variance): else Cp, Cpk
    speak of a subgroup alone. `likeness`: autocorrelation of the subgroups' means in order, None for fewer than
    eight; Pp and Ppk are undefined below `LEAST_TRAYS`. `effective`: independent values under the overall spread.
    `normal_p`: chance of values as little normal (Shapiro and Wilk 1965, Biometrika 52:591; of more than 5000
    D'Agostino and Pearson 1973, Biometrika 60:613), None for fewer than `LEAST_TESTED`. `why`: why no index has an
    interval, empty where they have; none then tells a share beyond a limit either.
    """

    cp: Estimate
    cpk: Estimate
    pp: Estimate
    ppk: Estimate
    likeness: float | None
    steady: bool
    effective: float
    normal_p: float | None
    why: str


@dataclass(frozen=True, slots=True)
class _Room:
    """Limits, either of which may be absent, and the mean between them."""

    low: float | None
    high: float | None
    mean: float


def capability(values: Array, group: NDArray[np.int64], low: float | None, high: float | None) -> Capability | None:
    """Indices of values (n,) in subgroups `group` (n,), in order; None where nothing varies or no subgroup has two.

    Parameters
    ----------
    values
        (n,) values of a measure, in any one unit.
    group
        (n,) the subgroup (tray) of each.
    low, high
        Limits in the values' unit; none where that side is open.

    Returns
    -------
    Capability | None
        The indices with their intervals, and whether they hold; none where they can't be formed.
    """
    _, group = np.unique(group, return_inverse=True)
    count = np.bincount(group)
    means = np.bincount(group, values) / count
    within_freedom, n = len(values) - len(count), len(values)
    if within_freedom < 1:
        return None
    within_squares = float(((values - means[group]) ** 2).sum())
    within, overall = sqrt(within_squares / within_freedom), float(values.std(ddof=1))
    if min(within, overall) <= ROUNDING * float(np.abs(values).max()):
        return None
    room = _Room(low, high, float(values.mean()))
    between_squares = float((count * (means - room.mean) ** 2).sum())
    between, chance = between_squares / max(len(count) - 1, 1), 1.0
    if len(count) > 1:
        chance = float(stats.f.sf(between / within**2, len(count) - 1, within_freedom))
    alike_by = likeness(means)
    # Of means that differ no more than by chance the likeness is chance too. Intervals take means for as alike as they
    # may be by one standard error (Bartlett 1946, J. R. Stat. Soc. Suppl. 8:27, from memory).
    seen, may_be = (_alike(alike_by, len(count), errors) * (1.0 - chance) for errors in (0.0, 1.0))
    trays = worth(len(count), may_be)
    freedom = (between_squares + within_squares) ** 2
    freedom /= between_squares**2 / trays.of_variance + within_squares**2 / within_freedom
    of_mean = max(between, within**2) / n * trays.wider
    # About their own mean values that are alike vary less than the process does.
    overall = sqrt(overall**2 + between / n * (worth(len(count), seen).wider - 1.0))
    t = float(stats.t.ppf(0.5 + CONFIDENCE / 2, trays.of_mean))
    normal_p = _normal_p(values)
    why = _why_none(normal_p, n)
    tails = 2.0 / max(_kurtosis(values) - 1.0, 2.0)
    of_within, of_all = tails * within_freedom, tails * freedom
    enough_trays = len(means) >= LEAST_TRAYS
    return Capability(
        cp=_held(_spread(room, within, of_within), why),
        cpk=_held(_nearest(room, within, of_within, t * sqrt(of_mean) / within), why),
        pp=_held(_spread(room, overall, of_all), why) if enough_trays else UNDEFINED,
        ppk=_held(_nearest(room, overall, of_all, t * sqrt(of_mean) / overall), why) if enough_trays else UNDEFINED,
        likeness=alike_by,
        steady=chance >= ALIKE,
        effective=freedom + 1.0,
        normal_p=normal_p,
        why=why,
    )


def _alike(seen: float | None, count: int, errors: float) -> float:
    """So many standard errors above the likeness that `count` means show; 0 where it is not told."""
    return 0.0 if seen is None else min(max(seen + errors / sqrt(count), 0.0), 1.0 - 4.0 / count)


def _normal_p(values: Array) -> float | None:
    if len(values) < LEAST_TESTED:
        return None
    test = stats.shapiro if len(values) <= MOST_EXACT else stats.normaltest
    return float(test(values).pvalue)


def _kurtosis(values: Array) -> float:
    n = len(values)
    cut = 1.0 / (2.0 * sqrt(max(n - 4, 1)))
    about = float(stats.trim_mean(values, min(cut, 0.49)))
    return n * float(((values - about) ** 4).sum()) / float(((values - values.mean()) ** 2).sum()) ** 2


def _why_none(normal_p: float | None, count: int) -> str:
    """Why no index has an interval; empty where they have."""
    if normal_p is not None and normal_p < ALIKE:
        return "values not normal"
    if count < LEAST_TOLD:
        return f"too few to see whether they are normal: {count} of {LEAST_TOLD}"
    return ""


def _held(found: Estimate, why: str) -> Estimate:
    """An index without its interval where there is a reason: it would not hold."""
    return Estimate(found.value, None) if why else found


def _spread(room: _Room, deviation: float, freedom: float) -> Estimate:
    """Tolerance over six deviations, with its interval by chi-squared."""
    if room.low is None or room.high is None:
        return UNDEFINED
    value, tail = (room.high - room.low) / (6.0 * deviation), (1.0 - CONFIDENCE) / 2
    ends = [value * sqrt(float(stats.chi2.ppf(p, freedom)) / freedom) for p in (tail, 1.0 - tail)]
    return Estimate(value, (ends[0], ends[1]))


def _nearest(room: _Room, deviation: float, freedom: float, of_mean: float) -> Estimate:
    """Distance to the nearest limit over three deviations, with Bissell's interval.

    `of_mean`: half-width of the mean's interval in deviations; Bissell's 1.96 / sqrt(n) for many independent values.
    """
    distances = [] if room.low is None else [room.mean - room.low]
    distances += [] if room.high is None else [room.high - room.mean]
    value = min(distances) / (3.0 * deviation)
    half = sqrt(of_mean**2 / 9.0 + normal_quantile() ** 2 * value**2 / (2.0 * freedom))
    return Estimate(value, (value - half, value + half))
