"""A sample lot with people's verdicts, swept over one setting: what is missed at each, and what can be promised."""

from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from app.statistics import HIT, Cells, misses_allowed, share_bound
from app.studies.columns import Array, Mask
from app.studies.sweeps import Sweep

CURVE_POINTS = 100
"""Settings at which the curves are drawn; about one in 7 px of a chart."""


@dataclass(frozen=True, slots=True)
class Promise:
    """What is asked of a limit: at most `max_missed` of the bad pieces pass, with `confidence`.

    `looks`: of how many settings that were tried on the same pieces this one may be chosen; each then has a share of
    the risk (Bonferroni), so that the best of them keeps the promise too.
    """

    max_missed: float = 0.05
    confidence: float = 0.95
    looks: int = 1

    @property
    def confidence_of_one(self) -> float:
        """Confidence of each look."""
        return 1 - (1 - self.confidence) / self.looks

    @property
    def words(self) -> str:
        """The promise in words."""
        many = f", whichever of {self.looks} settings tried on these pieces is chosen" if self.looks > 1 else ""
        return f"at most {self.max_missed:.1%} of bad pieces missed, with {self.confidence:.0%} confidence{many}"


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """How a sample was drawn from the lot.

    Attributes
    ----------
    stratum, sizes
        (pieces,) index of each piece's stratum, and (strata,) pieces of the lot in each.
    first_passes
        (strata,) looseness from which on the first piece of the lot in the stratum passes, drawn or not.
    """

    stratum: NDArray[np.int64]
    sizes: Array
    first_passes: Array


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """The sample's sweep: `bad` (pieces,) that most people reject, `tied` as many as accept; None: no ties.

    `drawn`: how the pieces were drawn; None where they are taken for a random sample. Of a tie nobody knows whether it
    is bad: what is promised holds whichever way every tie would be settled.
    """

    sweep: Sweep
    bad: Mask
    drawn: Drawn | None = None
    tied: Mask | None = None

    @property
    def ties(self) -> Mask:
        """(pieces,) the tied ones."""
        return np.zeros(len(self.bad), dtype=np.bool_) if self.tied is None else self.tied

    @property
    def good(self) -> Mask:
        """(pieces,) that most people accept."""
        return ~self.bad & ~self.ties

    def part(self, chosen: NDArray[np.bool_]) -> "Sample":
        """Some of the pieces."""
        drawn = None if self.drawn is None else replace(self.drawn, stratum=self.drawn.stratum[chosen])
        return Sample(self.sweep.rows(np.flatnonzero(chosen)), self.bad[chosen], drawn, self.ties[chosen])

    @property
    def weights(self) -> Array:
        """(pieces,) how many pieces of the lot each stands for, on the scale of the sample."""
        if self.drawn is None:
            return np.ones(len(self.bad))
        counts = np.bincount(self.drawn.stratum, minlength=len(self.drawn.sizes))
        weight: Array = (self.drawn.sizes / np.maximum(counts, 1))[self.drawn.stratum]
        return weight * len(weight) / max(float(weight.sum()), 1e-300)

    def rate(self, of: Mask, hits: Mask, can_hit: Mask | None = None) -> Cells:
        """Pieces that are hits, among `of` without, and the others, by stratum; `can_hit` (strata,) where known."""
        cell = np.where(of, np.where(hits, 0, 1), 2)
        stratum = np.zeros(len(cell), dtype=np.int64) if self.drawn is None else self.drawn.stratum
        counts = np.zeros((1 if self.drawn is None else len(self.drawn.sizes), 3))
        np.add.at(counts, (stratum, cell), 1.0)
        can_be = np.ones(counts.shape, dtype=np.bool_)
        if can_hit is not None:
            can_be[:, 0] = can_hit
        return Cells(counts, counts.sum(axis=1) if self.drawn is None else self.drawn.sizes, can_be)

    def missed_at_most(self, looseness: float, confidence: float) -> float:
        """One-sided upper bound of the missed share at one setting: exact, by strata where the pieces were drawn so."""
        can_hit = None if self.drawn is None else self.drawn.first_passes <= looseness
        passed = self.sweep.passes_from <= looseness
        return share_bound(self.rate(self.bad | (self.ties & passed), passed, can_hit), HIT, confidence)

    def least_shown_missed(self, confidence: float) -> float:
        """The same for a setting that no drawn bad piece passes, though others may: none is shown to miss less."""
        return share_bound(self.rate(self.bad, np.zeros(len(self.bad), dtype=np.bool_)), HIT, confidence)


def promised(sample: Sample, promise: Promise) -> tuple[float, int | None]:
    """The looseness below which a setting keeps the promise, and how many bad pieces pass there; None: no setting does.

    The bound of the missed share grows with the looseness, so that the settings that keep the promise are those below
    one of them, and it holds for whichever is chosen. A tie that passes counts as a bad piece, one that does not as a
    good one: no other way to settle them misses more.
    """
    of_bad = np.sort(sample.sweep.passes_from[sample.bad | sample.ties])
    if sample.drawn is None:
        allowed = misses_allowed(int(sample.bad.sum()), promise.max_missed, promise.confidence_of_one)
        return (-inf, None) if allowed is None else (float(of_bad[allowed]) if allowed < len(of_bad) else inf, allowed)
    # Where the bound may change: a drawn bad piece passes, or the first piece of another stratum does.
    steps = np.unique(np.concatenate([of_bad, sample.drawn.first_passes]))
    steps = steps[np.isfinite(steps)]

    def kept(looseness: float) -> bool:
        return sample.missed_at_most(looseness, promise.confidence_of_one) <= promise.max_missed

    if sample.least_shown_missed(promise.confidence_of_one) > promise.max_missed:
        return -inf, None
    low, high = 0, len(steps)
    while low < high:
        middle = (low + high) // 2
        low, high = (middle + 1, high) if kept(float(steps[middle])) else (low, middle)
    ceiling = float(steps[low]) if low < len(steps) else inf
    return ceiling, int(np.searchsorted(of_bad, ceiling))


def ceiling_of(sample: Sample, promise: Promise) -> float:
    """As `promised`; where no setting keeps the promise, where the first bad piece passes."""
    ceiling, allowed = promised(sample, promise)
    return float(sample.sweep.passes_from[sample.bad | sample.ties].min()) if allowed is None else ceiling


def curve_settings(sample: Sample) -> list[float]:
    """Settings at which a curve is worth drawing, from tight to loose: where pieces begin to pass, thinned."""
    s = sample.sweep
    edges: Array = s.steps if s.steps is not None else np.unique(s.passes_from[np.isfinite(s.passes_from)])
    if len(edges) > CURVE_POINTS:
        edges = edges[np.unique(np.linspace(0, len(edges) - 1, CURVE_POINTS).round().astype(np.int64))]
    return [float(s.target.sign * edge) for edge in edges]
