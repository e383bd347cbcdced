"""Chance-corrected agreement: Cohen's kappa of two, Fleiss' kappa and Gwet's AC1 of many, and what explains them."""

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from app.statistics.intervals import CONFIDENCE, UNDEFINED, Estimate, normal_quantile

Counts = NDArray[np.int64]


def cohen_kappa(table: Counts) -> Estimate:
    """Kappa of two raters from their (k, k) table, rows the first rater.

    The standard error is the large-sample one of Fleiss, Cohen and Everitt 1969, Psychol. Bull. 72:323 (for intervals;
    not the smaller one that holds under no agreement). The interval is kappa +- 1.96 standard errors, kept in [-1, 1].
    Undefined where both raters used one and the same category throughout.
    Kappa: Cohen 1960, Educ. Psychol. Meas. 20:37.

    Parameters
    ----------
    table
        (k, k) counts, rows the first rater's categories, columns the second's.

    Returns
    -------
    Estimate
        Kappa with its 95 % interval and standard error.
    """
    n = int(table.sum())
    if n == 0:
        return UNDEFINED
    p = table / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, expected = float(np.trace(p)), float(rows @ columns)
    if expected >= 1.0:
        return UNDEFINED
    kappa = (observed - expected) / (1 - expected)
    # In a table of perfect agreement the spread is 0 up to rounding.
    se = _kappa_spread(p, kappa, expected) / sqrt(n) if np.trace(table) < n else 0.0
    return _around(kappa, se, normal_quantile())


def _kappa_spread(p: NDArray[np.float64], kappa: float, expected: float) -> float:
    """Standard error of kappa times the root of the number of pieces, from the table's shares."""
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    weights = np.eye(len(p)) - (columns[:, None] + rows[None, :]) * (1 - kappa)
    square = float((p * weights**2).sum()) - (kappa - expected * (1 - kappa)) ** 2
    return sqrt(max(square, 0.0)) / (1 - expected)


def pieces_for_kappa(kappa: float, rejected_share: float, half_width: float) -> int:
    """Fewest pieces for which kappa's 95 % interval is at most +-`half_width`, from what is expected.

    Two raters who both reject `rejected_share` (between 0 and 1, neither) of the pieces; standard error of Fleiss,
    Cohen and Everitt 1969.

    Parameters
    ----------
    kappa
        Kappa that is expected, a share of 1.
    rejected_share
        Share that both raters reject, between 0 and 1, neither included.
    half_width
        Of the interval, in units of kappa.

    Returns
    -------
    int
        Number of pieces, at least 2.
    """
    accepted_share = 1 - rejected_share
    expected = rejected_share**2 + accepted_share**2
    apart = (1 - expected) * (1 - kappa) / 2
    p = np.array([[accepted_share - apart, apart], [apart, rejected_share - apart]])
    return max(2, ceil((normal_quantile() * _kappa_spread(p, kappa, expected) / half_width) ** 2))


def _around(value: float, se: float, quantile: float) -> Estimate:
    return Estimate(value, (max(-1.0, value - quantile * se), min(1.0, value + quantile * se)), se)


@dataclass(frozen=True, slots=True)
class PrevalenceBias:
    """What pulls kappa down or up on a two by two table: uneven classes and raters who differ in how often they reject.

    `pabak` = 2 po - 1; `prevalence_index` = (a - d) / n; `bias_index` = (b - c) / n.
    """

    pabak: float
    prevalence_index: float
    bias_index: float


def prevalence_bias(table: Counts) -> PrevalenceBias | None:
    """Indices of a (2, 2) table [[a, b], [c, d]]; None where it is empty.

    Source: Byrt, Bishop and Carlin 1993, J. Clin. Epidemiol. 46:423.

    Parameters
    ----------
    table
        (2, 2) counts, rows the first rater.

    Returns
    -------
    PrevalenceBias | None
        The indices, between -1 and 1; none where the table is empty.
    """
    (a, b), (c, d) = table.tolist()
    n = a + b + c + d
    if n == 0:
        return None
    return PrevalenceBias(pabak=2 * (a + d) / n - 1, prevalence_index=(a - d) / n, bias_index=(b - c) / n)


def mcnemar_p(first_only: int, second_only: int) -> float:
    """Exact two-sided p of McNemar's test from the two discordant counts; 1 where there is none.

    Source: McNemar 1947, Psychometrika 12:153; exact form: sign test on the discordant pairs.

    Parameters
    ----------
    first_only, second_only
        Pieces that only the first rater rejects, and only the second.

    Returns
    -------
    float
        A probability.
    """
    discordant = first_only + second_only
    if discordant == 0:
        return 1.0
    return float(stats.binomtest(min(first_only, second_only), discordant, 0.5).pvalue)


def fleiss_kappa(counts: Counts) -> Estimate:
    """Fleiss' kappa of many raters; `counts` (subjects, categories): how many raters chose which.

    Subjects may have different numbers of ratings; one with a single rating tells of the categories' shares only.
    Kappa: Fleiss 1971, Psychol. Bull. 76:378. Standard error: Gwet's linearised one that holds for any agreement, not
    Fleiss' for no agreement (Gwet 2008, Br. J. Math. Stat. Psychol. 61:29). Interval with Student's t of n - 1.

    Parameters
    ----------
    counts
        (subjects, categories) how many raters chose which.

    Returns
    -------
    Estimate
        Kappa with its 95 % interval and standard error; undefined where it can't be formed.
    """
    shares = _category_shares(counts)
    return _many_raters(counts, float(shares @ shares), shares)


def gwet_ac1(counts: Counts) -> Estimate:
    """Gwet's AC1 of two or many raters; `counts` (subjects, categories): how many raters chose which.

    Steadier than kappa where nearly all pieces are of one class. Source: Gwet 2008, Br. J. Math. Stat. Psychol. 61:29,
    with the linearised standard error there; interval with Student's t of n - 1.

    Parameters
    ----------
    counts
        (subjects, categories) how many raters chose which.

    Returns
    -------
    Estimate
        AC1 with its 95 % interval and standard error; undefined where it can't be formed.
    """
    shares = _category_shares(counts)
    others = counts.shape[1] - 1
    return _many_raters(counts, float((shares * (1 - shares)).sum()) / others, (1 - shares) / others)


def _category_shares(counts: Counts) -> NDArray[np.float64]:
    rated = counts[counts.sum(axis=1) > 0]
    if len(rated) == 0:
        return np.zeros(counts.shape[1])
    shares: NDArray[np.float64] = (rated / rated.sum(axis=1, keepdims=True)).mean(axis=0)
    return shares


def _many_raters(counts: Counts, chance: float, chance_of_category: NDArray[np.float64]) -> Estimate:
    """Coefficient (pa - chance) / (1 - chance) with its linearised variance.

    `chance_of_category` (categories,): what one rating of that category adds to the chance agreement.
    """
    rated = counts[counts.sum(axis=1) > 0]
    n, raters = len(rated), rated.sum(axis=1)
    several = raters >= 2
    if not several.any() or chance >= 1.0:
        return UNDEFINED
    pairs = np.where(several, raters * (raters - 1), 1)
    agreeing = (rated * (rated - 1)).sum(axis=1) / pairs
    observed = float(agreeing[several].mean())
    value = (observed - chance) / (1 - chance)
    if n < 2:
        return Estimate(value, None)
    by_subject = np.where(several, n / several.sum() * (agreeing - chance) / (1 - chance), 0.0)
    chance_by_subject = rated @ chance_of_category / raters
    linear = by_subject - 2 * (1 - value) * (chance_by_subject - chance) / (1 - chance)
    se = sqrt(float(((linear - value) ** 2).sum()) / (n * (n - 1)))
    return _around(value, se if observed < 1.0 else 0.0, float(stats.t.ppf(0.5 + CONFIDENCE / 2, n - 1)))


def counts_of_table(table: Counts) -> Counts:
    """Counts (subjects, 2) of a (2, 2) table of two raters, for `gwet_ac1`.

    Parameters
    ----------
    table
        (2, 2) counts of two raters, rows the first.

    Returns
    -------
    Counts
        (subjects, 2) how many raters chose which, a row for each piece.
    """
    (a, b), (c, d) = table.tolist()
    return np.repeat(np.array([[2, 0], [1, 1], [0, 2]]), [a, b + c, d], axis=0)
