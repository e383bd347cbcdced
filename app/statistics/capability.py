"""Capability and performance of a process against its limits, with intervals.

Cp, Cpk from the spread within subgroups, Pp, Ppk from the overall one (ISO 22514-2's notions). Cp's and Pp's intervals
are exact for normal values (chi-squared); Cpk's and Ppk's are Bissell's 1990, J. R. Stat. Soc. C 39:331.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from app.statistics.intervals import CONFIDENCE, UNDEFINED, Estimate

Array = NDArray[np.float64]

ALIKE = 0.05
"""Chance of subgroup means that vary as much, below which they are said to be no chance."""


@dataclass(frozen=True, slots=True)
class Capability:
    """Indices of one measure; Cp and Pp are undefined with one limit.

    `likeness`: autocorrelation of the subgroups' means in order, None for fewer than eight; `steady`: whether subgroups
    differ no more than their pieces let expect (one-way analysis of variance): else Cp, Cpk speak of a subgroup alone.
    """

    cp: Estimate
    cpk: Estimate
    pp: Estimate
    ppk: Estimate
    likeness: float | None
    steady: bool


def capability(values: Array, group: NDArray[np.int64], low: float | None, high: float | None) -> Capability | None:
    """Indices of values (n,) in subgroups `group` (n,), in order; None where nothing varies or no subgroup has two."""
    _, group = np.unique(group, return_inverse=True)
    count = np.bincount(group)
    means = np.bincount(group, values) / count
    within_freedom, n = len(values) - len(count), len(values)
    if within_freedom < 1:
        return None
    within = sqrt(float(((values - means[group]) ** 2).sum()) / within_freedom)
    overall = float(values.std(ddof=1))
    if within == 0.0 or overall == 0.0:
        return None
    mean = float(values.mean())
    steady = True
    if len(count) > 1:
        between = float((count * (means - mean) ** 2).sum()) / (len(count) - 1)
        steady = float(stats.f.sf(between / within**2, len(count) - 1, within_freedom)) >= ALIKE
    off = means - means.mean()
    varied = float((off**2).sum())
    likeness = float((off[1:] * off[:-1]).sum()) / varied if len(means) >= 8 and varied > 0.0 else None
    room = (low, high, mean)
    return Capability(
        _spread(room, within, within_freedom),
        _nearest(room, within, within_freedom, n),
        _spread(room, overall, n - 1),
        _nearest(room, overall, n - 1, n),
        likeness,
        steady,
    )


def _spread(room: tuple[float | None, float | None, float], deviation: float, freedom: int) -> Estimate:
    """Tolerance over six deviations, with its exact interval."""
    low, high, _ = room
    if low is None or high is None:
        return UNDEFINED
    value, tail = (high - low) / (6.0 * deviation), (1.0 - CONFIDENCE) / 2
    ends = [value * sqrt(float(stats.chi2.ppf(p, freedom)) / freedom) for p in (tail, 1.0 - tail)]
    return Estimate(value, (ends[0], ends[1]))


def _nearest(room: tuple[float | None, float | None, float], deviation: float, freedom: int, n: int) -> Estimate:
    """Distance to the nearest limit over three deviations, with Bissell's interval."""
    low, high, mean = room
    distances = [] if low is None else [mean - low]
    distances += [] if high is None else [high - mean]
    value = min(distances) / (3.0 * deviation)
    half = float(stats.norm.ppf(0.5 + CONFIDENCE / 2)) * sqrt(1.0 / (9.0 * n) + value**2 / (2.0 * freedom))
    return Estimate(value, (value - half, value + half))
