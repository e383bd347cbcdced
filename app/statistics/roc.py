"""How well one measure tells rejected pieces from accepted ones: the ROC curve and its area."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from app.statistics.intervals import UNDEFINED, Estimate, normal_quantile

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class RocCurve:
    """Points of a ROC curve, all of shape (n,), from (0, 0) to (1, 1).

    At `threshold[i]` the pieces with a value at or above it are called bad: `detected[i]` of the bad ones and
    `false_alarm[i]` of the good ones. The first threshold is +inf.
    """

    threshold: Array
    detected: Array
    false_alarm: Array


def roc_curve(bad: Array, good: Array) -> RocCurve:
    """ROC curve of values (larger is worse) of the bad and of the good pieces; neither may be empty.

    Parameters
    ----------
    bad, good
        (n,) and (m,) values of the bad and of the good pieces; larger is worse.

    Returns
    -------
    RocCurve
        Thresholds (k,) from infinity down, with the shares detected and falsely alarmed at each.
    """
    threshold = np.unique(np.concatenate([bad, good]))[::-1]
    detected = 1 - np.searchsorted(np.sort(bad), threshold, side="left") / len(bad)
    false_alarm = 1 - np.searchsorted(np.sort(good), threshold, side="left") / len(good)
    return RocCurve(
        np.concatenate([[np.inf], threshold]),
        np.concatenate([[0.0], detected]),
        np.concatenate([[0.0], false_alarm]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Placements:
    """DeLong's structural components: for each bad piece the share of good ones below it, and the reverse.

    A tie counts one half. `of_bad` (bad pieces,), `of_good` (good pieces,).
    """

    of_bad: Array
    of_good: Array

    @property
    def area(self) -> float:
        """Area under the ROC curve."""
        return float(self.of_bad.mean())


def placements(bad: Array, good: Array) -> Placements:
    """Structural components by midranks.

    Source: DeLong, DeLong and Clarke-Pearson 1988, Biometrics 44:837; by ranks: Sun and Xu 2014, IEEE Signal Process.
    Lett. 21:1389.
    """
    m, n = len(bad), len(good)
    ranks = stats.rankdata(np.concatenate([bad, good]))
    of_bad = (ranks[:m] - stats.rankdata(bad)) / n
    of_good = 1 - (ranks[m:] - stats.rankdata(good)) / m
    return Placements(of_bad, of_good)


def roc_area(bad: Array, good: Array) -> Estimate:
    """Area under the ROC curve with DeLong's interval, kept in [0, 1]; undefined where a class is empty.

    With one piece in a class the area stands without an interval. Where the two classes don't overlap the standard
    error is 0: the interval then says nothing about further pieces.

    Parameters
    ----------
    bad, good
        (n,) and (m,) values of the bad and of the good pieces; larger is worse.

    Returns
    -------
    Estimate
        Area, between 0 and 1, with its 95 % interval and standard error.
    """
    if len(bad) == 0 or len(good) == 0:
        return UNDEFINED
    parts = placements(bad, good)
    if len(bad) < 2 or len(good) < 2:
        return Estimate(parts.area, None)
    se = float(np.sqrt(parts.of_bad.var(ddof=1) / len(bad) + parts.of_good.var(ddof=1) / len(good)))
    reach = normal_quantile() * se
    return Estimate(parts.area, (max(0.0, parts.area - reach), min(1.0, parts.area + reach)), se)
