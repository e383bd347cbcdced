"""Intervals for proportions and their differences, and how many pieces an interval needs."""

from bisect import bisect_left
from dataclasses import dataclass
from math import sqrt
from typing import Literal

from scipy import stats

CONFIDENCE = 0.95
"""Confidence of every two-sided interval of a study, after `agreement.json`."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its interval; `value` None where it is not defined (nothing was counted), `ci` then None too.

    `se` is the standard error where the interval was made from one.
    """

    value: float | None
    ci: tuple[float, float] | None
    se: float | None = None


UNDEFINED = Estimate(None, None)


def normal_quantile(confidence: float = CONFIDENCE) -> float:
    """Two-sided standard normal quantile: 1.95996 for 95 %."""
    return float(stats.norm.ppf(0.5 + confidence / 2))


def wilson(count: int, total: int, confidence: float = CONFIDENCE) -> Estimate:
    """A proportion with Wilson's score interval.

    Source: Wilson 1927, J. Am. Stat. Assoc. 22:209; Newcombe 1998, Stat. Med. 17:857, method 3.

    Parameters
    ----------
    count, total
        How many of how many.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    Estimate
        Share with its interval; undefined for none of none.
    """
    if total == 0:
        return UNDEFINED
    return _interval(count, total, confidence, "wilson")


def clopper_pearson(count: int, total: int, confidence: float = CONFIDENCE) -> Estimate:
    """A proportion with the exact interval, whose confidence is never below the one stated.

    Source: Clopper and Pearson 1934, Biometrika 26:404.

    Parameters
    ----------
    count, total
        How many of how many.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    Estimate
        Share with its interval; undefined for none of none.
    """
    if total == 0:
        return UNDEFINED
    return _interval(count, total, confidence, "exact")


def _interval(count: int, total: int, confidence: float, method: Literal["wilson", "exact"]) -> Estimate:
    low, high = stats.binomtest(int(count), int(total)).proportion_ci(confidence, method)
    # At the ends the formulas give 0 and 1 up to rounding; they are exact there.
    return Estimate(count / total, (0.0 if count == 0 else float(low), 1.0 if count == total else float(high)))


def predicted_count(count: int, total: int, more: int, confidence: float = CONFIDENCE) -> tuple[int, int]:
    """Limits of how many of `more` further pieces are bad, after `count` of `total` were.

    Exact: given how many are bad in both together, those in the first part are hypergeometric. They hold for the other
    pieces of a lot of which the first were drawn at random, and for pieces to come of the same process.
    Source: Thatcher 1964, J. R. Stat. Soc. B 26:176 (from memory).

    Parameters
    ----------
    count, total
        How many of how many were bad.
    more
        How many pieces come.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    tuple[int, int]
        Least and most bad ones among those to come.
    """
    tail = (1 - confidence) / 2
    both = total + more
    # P(count or fewer of the bad ones lie in the first part) falls with the further ones, count or more rises.
    least = bisect_left(range(more), True, key=lambda k: stats.hypergeom.sf(count - 1, both, count + k, total) > tail)
    most = bisect_left(
        range(1, more + 1), True, key=lambda k: stats.hypergeom.cdf(count, both, count + k, total) <= tail
    )
    return least, most


@dataclass(frozen=True, slots=True)
class PairedCounts:
    """Two yes-or-no answers on the same pieces: how often both said yes, only one, neither."""

    both: int
    first_only: int
    second_only: int
    neither: int

    @property
    def total(self) -> int:
        """How many pieces."""
        return self.both + self.first_only + self.second_only + self.neither


def difference_paired(pairs: PairedCounts, confidence: float = CONFIDENCE) -> Estimate:
    """Difference of two proportions of the same pieces, first minus second.

    Source: Newcombe 1998, Stat. Med. 17:2635, method 10 (square-and-add with a correlation whose numerator is
    continuity-corrected where positive).

    Parameters
    ----------
    pairs
        Pieces by what both say of them.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    Estimate
        Difference of shares, between -1 and 1, with its interval; undefined without pieces.
    """
    e, f, g, h, n = pairs.both, pairs.first_only, pairs.second_only, pairs.neither, pairs.total
    one, two = wilson(e + f, n, confidence), wilson(e + g, n, confidence)
    if one.value is None or two.value is None or one.ci is None or two.ci is None:
        return UNDEFINED
    margins = (e + f) * (g + h) * (e + g) * (f + h)
    cross = e * h - f * g
    correlation = 0.0
    if margins > 0:
        correlation = (max(cross - n / 2, 0.0) if cross > 0 else cross) / sqrt(margins)
    below_one, above_one = one.value - one.ci[0], one.ci[1] - one.value
    below_two, above_two = two.value - two.ci[0], two.ci[1] - two.value
    low_square = below_one**2 - 2 * correlation * below_one * above_two + above_two**2
    high_square = above_one**2 - 2 * correlation * above_one * below_two + below_two**2
    difference = (f - g) / n
    return Estimate(difference, (difference - sqrt(max(low_square, 0.0)), difference + sqrt(max(high_square, 0.0))))


def pieces_for_half_width(share: float, half_width: float, confidence: float = CONFIDENCE) -> int:
    """Fewest pieces for which Wilson's interval about an expected `share` is at most +-`half_width`.

    Closed form: half the length of Wilson's interval squared is (z^2/n)(p q + z^2/4n) / (1 + z^2/n)^2, which is a
    quadratic in n.

    Parameters
    ----------
    share
        Expected share, between 0 and 1.
    half_width
        Of the interval, as a share.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    int
        Number of pieces.
    """
    z2 = normal_quantile(confidence) ** 2
    spread, width2 = share * (1 - share), half_width * half_width
    # width2 n^2 + (2 width2 z2 - z2 spread) n + (width2 z2^2 - z2^2 / 4) >= 0
    half = (2 * width2 * z2 - z2 * spread) / 2
    root = (-half + sqrt(max(half * half - width2 * (width2 - 0.25) * z2 * z2, 0.0))) / width2
    return max(1, _ceil(root))


def _ceil(value: float) -> int:
    """Next whole number, forgiving rounding error of 1e-9."""
    whole = round(value)
    return whole if abs(value - whole) < 1e-9 * max(1.0, abs(value)) else int(value) + (value > int(value))


def pieces_for_promise(bound: float, confidence: float = CONFIDENCE, misses: int = 0) -> int:
    """Fewest bad pieces that show, with `misses` of them missed, that at most the share `bound` is missed.

    Source: exact binomial, as in zero-failure demonstrations (29 of 29 for 0.10 at 95 %; MIL-HDBK-1823A's background).

    Parameters
    ----------
    bound
        Share of bad pieces that may be missed.
    confidence
        Coverage of what is shown, one-sided, between 0 and 1.
    misses
        How many of them are missed.

    Returns
    -------
    int
        Number of bad pieces.
    """
    low, high = misses + 1, misses + 2
    while stats.binom.cdf(misses, high, bound) > 1 - confidence:
        high *= 2
    while low < high:
        middle = (low + high) // 2
        if stats.binom.cdf(misses, middle, bound) <= 1 - confidence:
            high = middle
        else:
            low = middle + 1
    return low


def pieces_for_wilson(bound: float, confidence: float = CONFIDENCE) -> int:
    """Fewest pieces without a miss whose two-sided Wilson interval ends at `bound` or below: 189 for 0.02 at 95 %.

    Its upper end is then z^2 / (n + z^2).

    Parameters
    ----------
    bound
        Share of bad pieces that may be missed.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    int
        Number of bad pieces.
    """
    z2 = normal_quantile(confidence) ** 2
    return _ceil(z2 * (1 - bound) / bound)


def misses_allowed(bad_pieces: int, bound: float, confidence: float = CONFIDENCE) -> int | None:
    """Most misses among `bad_pieces` that still show that at most `bound` is missed; None where even 0 shows nothing.

    This is the rank of the distribution-free tolerance limit (Wilks 1941, Ann. Math. Stat. 12:91): the rank depends on
    the number of pieces alone, so a limit put just below that order statistic keeps the promise although it was chosen
    on the same pieces.

    Parameters
    ----------
    bad_pieces
        How many bad pieces there are.
    bound
        Share of bad pieces that may be missed.
    confidence
        Coverage of what is shown, one-sided, between 0 and 1.

    Returns
    -------
    int | None
        Number of misses; none where even 0 shows nothing.
    """
    allowed = int(stats.binom.ppf(1 - confidence, bad_pieces, bound)) + 1
    while allowed >= 0 and stats.binom.cdf(allowed, bad_pieces, bound) > 1 - confidence:
        allowed -= 1
    return None if allowed < 0 else allowed
