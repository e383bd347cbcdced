"""Figures of a population from a stratified sample: Horvitz-Thompson estimates, and intervals that hold at the ends.

A stratum of N pieces of which n were judged counts each of them N / n times (Horvitz and Thompson 1952, J. Am. Stat.
Assoc. 47:663). For the intervals each stratum has an exact confidence distribution, and these are combined by drawing
from them (melding: Fay, Proschan and Brittain 2015, Biometrics 71:146, which gives Clopper and Pearson's interval for
one stratum). Of several strata only the one whose pieces weigh most gets the added piece that makes a bound exact, as
in the gamma interval of standardised rates (Fay and Feuer 1997, Stat. Med. 16:791), which was conservative in their
simulations and is in ours (docs/benchmarks/sampling.md). Sampling without replacement makes them more so.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from app.statistics.intervals import CONFIDENCE, UNDEFINED, Estimate

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

DRAWS = 10_000
"""Drawn from each confidence distribution, from a fixed start: the 2.5 % point of the draws is then off by less than
0.5 % of the draws (three standard errors), and the same input gives the same figures."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """A sample's pieces by stratum and by what was found.

    Attributes
    ----------
    counts
        (strata, cells) pieces of the sample.
    sizes
        (strata,) pieces of the population.
    can_be
        (strata, cells) whether a piece of the stratum can come to lie in the cell.
    """

    counts: Array
    sizes: Array
    can_be: Mask

    @property
    def determined(self) -> bool:
        """Whether every stratum that has pieces has one in the sample: otherwise nothing can be said of all."""
        return bool(self.sizes.sum() > 0 and (self.counts.sum(axis=1)[self.sizes > 0] > 0).all())

    @property
    def shares(self) -> Array:
        """(cells,) estimated shares of the population."""
        sampled = np.maximum(self.counts.sum(axis=1), 1.0)
        found: Array = (self.sizes / sampled) @ self.counts / self.sizes.sum()
        return found

    def put_together(self, cells: NDArray[np.int64], count: int) -> "Cells":
        """The same pieces by `count` cells; `cells` (cells,): which new one each becomes."""
        counts = np.zeros((len(self.counts), count))
        can_be = np.zeros(counts.shape, dtype=np.bool_)
        for old, new in enumerate(cells.tolist()):
            counts[:, new] += self.counts[:, old]
            can_be[:, new] |= self.can_be[:, old]
        return Cells(counts, self.sizes, can_be)

    def heaviest(self, cell: int) -> int:
        """The stratum whose sampled pieces weigh most, of those that can have pieces in the cell."""
        weight = np.where(
            self.can_be[:, cell] & (self.sizes > 0), self.sizes / np.maximum(self.counts.sum(axis=1), 1), 0
        )
        return int(np.argmax(weight))

    def added(self, pieces: Array) -> Array:
        """(strata, cells): `pieces` (cells,) put into each cell's heaviest stratum."""
        extra = np.zeros(self.counts.shape)
        for cell, count in enumerate(pieces.tolist()):
            extra[self.heaviest(cell), cell] += count
        return extra

    def drawn(self, extra: Array, draws: int = DRAWS) -> Array:
        """(draws, cells) shares of the population, from each stratum's distribution (Dirichlet) with pieces added."""
        rng = np.random.default_rng(0)
        found = np.zeros((draws, self.counts.shape[1]))
        for size, shape in zip(self.sizes.tolist(), (self.counts + extra), strict=True):
            if size > 0:
                gammas = rng.standard_gamma(shape, size=(draws, len(shape)))
                found += size * gammas / gammas.sum(axis=1, keepdims=True)
        found /= self.sizes.sum()
        return found


HIT, MISS, REST = 0, 1, 2


def weighted_share(cells: Cells, confidence: float = CONFIDENCE) -> Estimate:
    """The share of hits among hits and misses in the population.

    Parameters
    ----------
    cells
        Hits, misses and pieces that are neither.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    Estimate
        Share with its interval; undefined where a stratum was not sampled, or no sampled piece is a hit or a miss.
    """
    hits, misses, _ = cells.shares.tolist()
    if not cells.determined or hits + misses == 0:
        return UNDEFINED
    ends = tuple(share_bound(cells, hit, (1 + confidence) / 2) for hit in (MISS, HIT))
    return Estimate(hits / (hits + misses), (1 - ends[0], ends[1]))


def share_bound(cells: Cells, of: int, confidence: float) -> float:
    """One-sided upper bound of the share of hits (`of` HIT) or misses (MISS) among both; 1 where nothing is known.

    Parameters
    ----------
    cells
        Counts of a sample by stratum; see `Cells`.
    of
        Which: `HIT` or `MISS`.
    confidence
        Coverage of the bound, one-sided, between 0 and 1.

    Returns
    -------
    float
        Share, between 0 and 1.
    """
    if not cells.determined:
        return 1.0
    if not cells.can_be[:, of].any():
        return 0.0
    other = 1 - of
    if len(cells.sizes) == 1:
        hits, misses = float(cells.counts[0, of]), float(cells.counts[0, other])
        return 1.0 if misses <= 0 else float(stats.beta.ppf(confidence, hits + 1, misses))
    return float(np.quantile(_drawn_share(cells, of), confidence))


def _drawn_share(cells: Cells, of: int) -> Array:
    """(draws,) shares of hits (or misses) among both, from the distribution of upper bounds."""
    extra = np.zeros(cells.counts.shape)
    extra[cells.heaviest(of), of] = 1.0
    extra[~cells.can_be[:, of], REST] = 1.0
    drawn = cells.drawn(extra)
    both = drawn[:, HIT] + drawn[:, MISS]
    found: Array = np.divide(drawn[:, of], both, out=np.ones(len(both)), where=both > 0)
    return found


def differ_p(cells: Cells) -> float:
    """Two-sided p of there being as many hits as misses in the population; 1 where neither was found.

    For one stratum it is the exact sign test, McNemar's of discordant pairs; of several its tails are those of the
    distributions of upper bounds, as an exact interval and its test belong together.

    Parameters
    ----------
    cells
        Counts of a sample by stratum; see `Cells`.

    Returns
    -------
    float
        A probability.
    """
    if not cells.determined or cells.counts[:, :2].sum() == 0:
        return 1.0
    if len(cells.sizes) == 1:
        hits, misses = cells.counts[0, :2].round().astype(np.int64).tolist()
        return float(stats.binomtest(min(hits, misses), hits + misses, 0.5).pvalue)
    tails = [float((_drawn_share(cells, of) >= 0.5).mean()) for of in (HIT, MISS)]
    return min(1.0, 2 * min(tails))


def weighted_difference(cells: Cells, confidence: float = CONFIDENCE) -> Estimate:
    """Difference of two rates over the same pieces of the population, first minus second.

    Parameters
    ----------
    cells
        Pieces with the first only, with the second only, with both or neither, and pieces that don't count.
    confidence
        Coverage of the interval, between 0 and 1.

    Returns
    -------
    Estimate
        Difference of shares, between -1 and 1, with its interval; undefined where a stratum was not sampled or no piece
        counts.
    """
    if not cells.determined or cells.shares[:3].sum() == 0:
        return UNDEFINED
    ends = []
    for added, level in (([0.0, 1.0, 0.0, 0.0], (1 - confidence) / 2), ([1.0, 0.0, 0.0, 0.0], (1 + confidence) / 2)):
        ends.append(float(np.quantile(_difference(cells.drawn(cells.added(np.array(added)))), level)))
    return Estimate(float(_difference(cells.shares)), (ends[0], ends[1]))


def _difference(shares: Array) -> Array:
    first, second, alike, _ = np.moveaxis(shares, -1, 0)
    found: Array = (first - second) / (first + second + alike)
    return found
