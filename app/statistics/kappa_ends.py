"""Intervals of kappa and AC1 that cover near their ends, for random and for stratified samples.

Each end is a quantile of the coefficient over tables drawn from the table's own distribution with pieces added
(Dirichlet: the Bayesian bootstrap, Rubin 1981, Ann. Stat. 9:130): for the lower end one more on which they differ, for
the upper end one more of each class on which they agree, as Clopper and Pearson's bounds of a share have it. Which
pieces to add was chosen, from a dozen ways, by simulated coverage (docs/benchmarks/sampling.md).
"""

import numpy as np
from numpy.typing import NDArray

from app.statistics.intervals import CONFIDENCE
from app.statistics.weighted import Array, Cells

Interval = tuple[float, float]

LOW = np.array([0.0, 0.5, 0.5, 0.0])
HIGH = np.array([1.0, 0.0, 0.0, 1.0])
"""Pieces added to the cells of a two by two table, row by row, for the lower and for the upper end."""


def kappa_of(shares: Array) -> Array:
    """Cohen's kappa of tables given as shares (..., 4), row by row; nan where only one class occurs.

    Parameters
    ----------
    shares
        (..., 4) shares of the cells of a (2, 2) table, row by row.

    Returns
    -------
    Array
        (...,) kappa of each table; nan where only one class occurs.
    """
    a, b, c, d = np.moveaxis(shares, -1, 0)
    chance = (a + b) * (a + c) + (c + d) * (b + d)
    with np.errstate(invalid="ignore", divide="ignore"):
        found: Array = (a + d - chance) / (1 - chance)
    return found


def kappa_se(cells: Cells) -> float:
    """Large-sample standard error of kappa from a stratified sample, for intervals.

    Fleiss, Cohen and Everitt's (1969, Psychol. Bull. 72:323) linear form of kappa, its variance taken within strata
    (Cochran 1977, Sampling Techniques, chapter 5, from memory).

    Parameters
    ----------
    cells
        Counts of a sample by stratum; see `Cells`.

    Returns
    -------
    float
        Standard error, in units of kappa.
    """
    p = cells.shares.reshape(2, 2)
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    kappa = float(kappa_of(cells.shares))
    linear = (np.eye(2) - (columns[:, None] + rows[None, :]) * (1 - kappa)) / (1 - float(rows @ columns))
    return _linear_se(cells, linear.ravel())


def ac1_se(cells: Cells) -> float:
    """Large-sample standard error of Gwet's AC1 of two from a stratified sample (linear form: Gwet 2008, Br. J. Math.
    Stat. Psychol. 61:29).

    Parameters
    ----------
    cells
        Counts of a sample by stratum; see `Cells`.

    Returns
    -------
    float
        Standard error, in units of AC1.
    """
    rejected = float(cells.shares @ [0.0, 0.5, 0.5, 1.0])
    chance = 2 * rejected * (1 - rejected)
    # What one piece of each cell adds to the chance agreement: the share of the other class, over its two verdicts.
    adds = np.array([rejected, 0.5, 0.5, 1 - rejected])
    linear = (np.array([1.0, 0.0, 0.0, 1.0]) - 2 * (1 - ac1_value(cells)) * adds) / (1 - chance)
    return _linear_se(cells, linear, 1)


def _linear_se(cells: Cells, linear: Array, taken: int = 0) -> float:
    """Standard error of the mean of one number a cell, by strata; their variances divide by n - `taken`."""
    total = np.maximum(cells.counts.sum(axis=1), 1.0)
    within = cells.counts / total[:, None]
    spread = within @ linear**2 - (within @ linear) ** 2
    share = cells.sizes / cells.sizes.sum()
    return float(np.sqrt(np.maximum(share**2 * spread / np.maximum(total - taken, 1.0), 0.0).sum()))


def kappa_ends(low: Cells, high: Cells, confidence: float = CONFIDENCE) -> Interval:
    """Ends of kappa's interval from a stratified sample.

    Parameters
    ----------
    low, high
        The same table; or its least and its most favourable reading, where some pieces are unknown.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    Interval
        Lower and upper end.
    """
    return _ends(kappa_of(low.drawn(low.added(LOW))), kappa_of(high.drawn(high.added(HIGH))), confidence)


def ac1_ends(low: Cells, high: Cells, confidence: float = CONFIDENCE) -> Interval:
    """Ends of the interval of Gwet's AC1 of two from a stratified sample; see `kappa_ends`.

    Parameters
    ----------
    low, high
        The same table; or its least and its most favourable reading, where some pieces are unknown.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    Interval
        Lower and upper end.
    """
    return _ends(ac1_of(low.drawn(low.added(LOW))), ac1_of(high.drawn(high.added(HIGH))), confidence)


def ac1_value(cells: Cells) -> float:
    """Gwet's AC1 of two from a stratified sample.

    Parameters
    ----------
    cells
        Counts of a sample by stratum; see `Cells`.

    Returns
    -------
    float
        AC1, between -1 and 1.
    """
    return float(ac1_of(cells.shares))


def ac1_of(shares: Array) -> Array:
    """Gwet's AC1 of tables given as shares (..., 4), row by row."""
    a, b, c, d = np.moveaxis(shares, -1, 0)
    rejected = d + (b + c) / 2
    chance = 2 * rejected * (1 - rejected)
    found: Array = (a + d - chance) / (1 - chance)
    return found


def _ends(low: Array, high: Array, confidence: float) -> Interval:
    # A drawn table of one class tells nothing of kappa: for the lower end it counts as -1, for the upper as 1.
    tail = (1 - confidence) / 2
    lowest = float(np.quantile(np.nan_to_num(low, nan=-1.0), tail))
    highest = float(np.quantile(np.nan_to_num(high, nan=1.0), 1 - tail))
    return max(-1.0, lowest), min(1.0, highest)


def many_ends(counts: NDArray[np.int64], stratum: NDArray[np.int64], sizes: Array) -> tuple[Interval, Interval]:
    """Intervals of Fleiss' kappa and of AC1 of many raters, two categories.

    Parameters
    ----------
    counts
        (pieces, 2) how many accept and how many reject; pieces that nobody rated left out.
    stratum
        (pieces,) the stratum of each.
    sizes
        (strata,) the pieces that each stratum speaks for.

    Returns
    -------
    tuple[Interval, Interval]
        The interval of Fleiss' kappa, and that of AC1, at 95 %.
    """
    most = int(counts.sum(axis=1).max())
    added = [[most, 0], [most - 1, 1], [1, most - 1], [0, most]]
    patterns, at = np.unique(np.concatenate([counts, added]), axis=0, return_inverse=True)
    table = np.zeros((len(sizes), len(patterns)))
    np.add.at(table, (stratum, at.ravel()[: len(counts)]), 1.0)
    cells = Cells(table, sizes, np.ones(table.shape, dtype=np.bool_))
    ends = []
    for pieces in (LOW, HIGH):
        extra = np.zeros(len(patterns))
        np.add.at(extra, at.ravel()[len(counts) :], pieces)
        ends.append(_many_of(cells.drawn(cells.added(extra)), patterns))
    (fleiss_low, ac1_low), (fleiss_high, ac1_high) = ends
    return _ends(fleiss_low, fleiss_high, CONFIDENCE), _ends(ac1_low, ac1_high, CONFIDENCE)


def many_values(counts: NDArray[np.int64], stratum: NDArray[np.int64], sizes: Array) -> tuple[float, float]:
    """Fleiss' kappa and AC1 of many raters from a stratified sample; see `many_ends`.

    Parameters
    ----------
    counts
        (pieces, 2) how many accept and how many reject; pieces that nobody rated left out.
    stratum
        (pieces,) the stratum of each.
    sizes
        (strata,) the pieces that each stratum speaks for.

    Returns
    -------
    tuple[float, float]
        Fleiss' kappa, and AC1.
    """
    patterns, at = np.unique(counts, axis=0, return_inverse=True)
    table = np.zeros((len(sizes), len(patterns)))
    np.add.at(table, (stratum, at.ravel()), 1.0)
    fleiss, ac1 = _many_of(Cells(table, sizes, np.ones(table.shape, dtype=np.bool_)).shares, patterns)
    return float(fleiss), float(ac1)


def _many_of(shares: Array, patterns: NDArray[np.int64]) -> tuple[Array, Array]:
    """Fleiss' kappa and AC1 (...,) of shares (..., patterns)."""
    raters = patterns.sum(axis=1)
    several = raters >= 2
    pairs = np.where(several, raters * (raters - 1), 1)
    agreeing = np.where(several, (patterns * (patterns - 1)).sum(axis=1) / pairs, 0.0)
    rejected = shares @ (patterns[:, 1] / raters)
    alike = rejected**2 + (1 - rejected) ** 2
    with np.errstate(invalid="ignore", divide="ignore"):
        observed = shares @ agreeing / (shares @ several.astype(np.float64))
        fleiss = (observed - alike) / (1 - alike)
        ac1 = (observed - (1 - alike)) / alike
    return fleiss, ac1
