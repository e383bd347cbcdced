"""What a value may be, as a distribution over each of many pieces: the chance that it keeps a bound.

`Normal` is a measured value with its standard uncertainty (JCGM 106:2012, 7). `Sums` is what marks add up to, each
there or not: for counts exactly the Poisson-binomial distribution (Hong 2013, Comput. Stat. Data Anal. 59:41), for
lengths and areas the same sum of yes-or-no draws, each mark's own size normal (where the least size that counts cuts
it, of the same mean and spread: tests/decide/test_spreads.py says how near that is). `Largest` is the largest mark
that counts. Marks that were not reported join all of them as Poisson numbers where a rate of marks stands in the
limits.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import poisson

from vision.decide.marks import Array, Unreported, WeighedMarks, sure

# A value that differs from its bound by rounding alone lies on it.
_SLACK = 1e-9
# A sum's distribution over more points than these is put on a grid of half as many, its mean and variances kept.
_MOST_POINTS = 512
_CELLS_AT_ONCE = 400_000
_POISSON_TAIL = 1e-9


class Spread(Protocol):
    """A distribution a piece; nan for a piece that lacks the value."""

    def __len__(self) -> int: ...

    def at_most(self, bound: Array) -> Array:
        """Chance (pieces,) that each value is at most its bound (pieces,)."""
        ...

    def below(self, bound: Array) -> Array:
        """Chance (pieces,) that each value is less than its bound (pieces,)."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Normal:
    """Values (pieces,) with their standard uncertainties; nan where missing."""

    value: Array
    u: Array

    def __len__(self) -> int:
        return len(self.value)

    def at_most(self, bound: Array) -> Array:
        """Chance that each value is at most its bound."""
        return _normal_chance(bound - self.value, self.u, self.value <= bound)

    def below(self, bound: Array) -> Array:
        """Chance that each value is less than its bound."""
        return _normal_chance(bound - self.value, self.u, self.value < bound)


def _normal_chance(room: Array, u: Array, exact: NDArray[np.bool_]) -> Array:
    """Chance of a deviation of at most `room`; without an uncertainty as `exact` says."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        chance = ndtr(room / u)
    chance = np.where(u == 0.0, exact, chance)
    return np.where(np.isnan(room) | np.isnan(u), np.nan, chance)


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """What each mark adds to a sum where it counts: `mean`, `u` (marks,); `of_class` (classes,) those not reported."""

    mean: Array
    u: Array
    of_class: Array


@dataclass(frozen=True, slots=True, eq=False)
class Divisor:
    """What sums are divided by (pieces,): an area and its standard uncertainty `u`, or 1 and 0 for a plain sum."""

    value: Array
    u: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Branch:
    """One way that a draw may turn out: its chance, what it adds to the sum and that share's variance, (k,) each."""

    chance: Array
    share: Array
    variance: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Pieces (k,) whose sums are mixtures of normals: `weight`, `middle`, `variance` (k, points)."""

    pieces: NDArray[np.int64]
    weight: Array
    middle: Array
    variance: Array


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """Sums of shares over an area (pieces,); `area_u` its standard uncertainty, both 1 and 0 for a plain sum."""

    blocks: tuple[_Block, ...]
    area: Array
    area_u: Array

    def __len__(self) -> int:
        return len(self.area)

    def at_most(self, bound: Array) -> Array:
        """Chance that each sum over its area is at most its bound."""
        return self._chance(bound, 1.0)

    def below(self, bound: Array) -> Array:
        """Chance that each sum over its area is less than its bound."""
        return self._chance(bound, -1.0)

    def _chance(self, bound: Array, side: float) -> Array:
        chances = np.where(bound > 0.0, 1.0, 0.0)
        finite = np.where(np.isfinite(bound), bound, 0.0)
        for block in self.blocks:
            one = finite[block.pieces, None]
            area, area_u = self.area[block.pieces, None], self.area_u[block.pieces, None]
            room = one * area - block.middle
            u = np.sqrt(block.variance + (one * area_u) ** 2)
            on_it = room + side * _SLACK * np.maximum(np.abs(one * area), 1.0)
            chance = _normal_chance(room, u, on_it >= 0.0 if side > 0.0 else on_it > 0.0)
            summed = (block.weight * chance).sum(axis=1)
            chances[block.pieces] = np.where(np.isfinite(bound[block.pieces]), summed, chances[block.pieces])
        return np.where(np.isnan(self.area), np.nan, chances)


def sums_of(counted: WeighedMarks, shares: Shares, over: Divisor, counts_only: bool) -> Sums:
    """The distribution of a sum of shares of marks; `counts_only`: each mark adds one."""
    marks, weighed, more = counted.marks, counted.weighed, counted.more
    total = len(over.value)
    certain = weighed.chance == 1.0
    middle = np.bincount(marks.piece, certain * shares.mean, total).astype(np.float64)
    variance = np.bincount(marks.piece, certain * shares.u**2, total).astype(np.float64)
    unsure = np.flatnonzero((weighed.chance > 0.0) & ~certain)
    starts = np.searchsorted(marks.piece[unsure], np.arange(total + 1))
    number = np.diff(starts)
    blocks = []
    for pieces in _alike(number, more):
        begun = _Block(pieces, np.ones((len(pieces), 1)), middle[pieces, None], variance[pieces, None])
        for rank in range(number[pieces[0]]):
            these = unsure[starts[pieces] + rank]
            chance = weighed.chance[these]
            absent = _Branch(1.0 - chance, 0.0 * chance, 0.0 * chance)
            there = _Branch(chance, shares.mean[these], shares.u[these] ** 2)
            begun = _branched(begun, [absent, there], counts_only)
        for k, share in enumerate(shares.of_class.tolist()):
            expected = more.number[pieces, k]
            most = int(poisson.isf(_POISSON_TAIL, expected.max())) + 1
            ones = np.ones(len(pieces))
            numbers = [_Branch(poisson.pmf(n, expected), n * share * ones, 0.0 * ones) for n in range(most)]
            begun = _branched(begun, numbers, counts_only)
        blocks.append(begun)
    return Sums(tuple(blocks), over.value, over.u)


def _alike(number: NDArray[np.int64], more: Unreported) -> Iterator[NDArray[np.int64]]:
    """Indices of pieces with equally many unsure marks, few enough at once for the memory."""
    for many in np.unique(number):
        points = 1 if many == 0 and more.number.shape[1] == 0 else 2 * _MOST_POINTS
        same = np.flatnonzero(number == many)
        yield from np.array_split(same, max(1, len(same) * points // _CELLS_AT_ONCE))


def _branched(block: _Block, branches: list[_Branch], counts_only: bool) -> _Block:
    """A sum after one more draw that may turn out in any of these ways."""
    grown = _Block(
        block.pieces,
        np.concatenate([block.weight * one.chance[:, None] for one in branches], axis=1),
        np.concatenate([block.middle + one.share[:, None] for one in branches], axis=1),
        np.concatenate([block.variance + one.variance[:, None] for one in branches], axis=1),
    )
    if counts_only:
        return _on_grid(grown, int(np.ptp(grown.middle, axis=1).max()) + 1, np.ones((len(block.pieces), 1)))
    if grown.weight.shape[1] <= _MOST_POINTS:
        return grown
    points = _MOST_POINTS // 2
    return _on_grid(grown, points, np.ptp(grown.middle, axis=1, keepdims=True) / (points - 1))


def _on_grid(block: _Block, points: int, step: Array) -> _Block:
    """The same distribution on even steps (k, 1): each weight parted between its two neighbours, so that means stay."""
    rows = len(block.pieces)
    first = block.middle.min(axis=1, keepdims=True)
    place = (block.middle - first) / np.where(step > 0.0, step, 1.0)
    left = np.minimum(np.floor(place), points - 1).astype(np.int64)
    right = np.minimum(left + 1, points - 1)
    part = np.clip(place - left, 0.0, 1.0)
    row = np.arange(rows)[:, None] * points

    def gathered(weight: Array) -> Array:
        to_left = np.bincount((row + left).ravel(), (weight * (1.0 - part)).ravel(), rows * points)
        to_right = np.bincount((row + right).ravel(), (weight * part).ravel(), rows * points)
        return np.asarray(to_left + to_right, dtype=np.float64).reshape(rows, points)

    weight = gathered(block.weight)
    variance = gathered(block.weight * block.variance) / np.where(weight > 0.0, weight, 1.0)
    return _Block(block.pieces, weight, first + step * np.arange(points), variance)


@dataclass(frozen=True, slots=True, eq=False)
class Largest:
    """The largest mark that counts, 0 where none does; `area` (pieces,) is nan for pieces without a face."""

    counted: WeighedMarks
    area: Array

    def __len__(self) -> int:
        return len(self.area)

    def at_most(self, bound: Array) -> Array:
        """Chance that no mark that counts exceeds its piece's bound."""
        with np.errstate(divide="ignore"):
            none = np.exp(_added(self.counted.marks.piece, np.log1p(-self.exceeding(bound)), len(bound)))
        more = self.counted.more
        larger = more.size_mm > bound[:, None]
        none *= np.exp(-(more.number * larger).sum(axis=1))
        return np.where(np.isnan(self.area), np.nan, np.where(bound < 0.0, 0.0, none))

    def exceeding(self, bound: Array) -> Array:
        """Chance (marks,) that each mark counts and exceeds its piece's bound."""
        marks, weighed = self.counted.marks, self.counted.weighed
        over = np.maximum(bound[marks.piece], weighed.least_mm)
        return sure(weighed.snr_chance * ndtr((marks.size_mm - over) / marks.size_u_mm))

    def below(self, bound: Array) -> Array:
        """Chance that the largest is less than its piece's bound; sizes are continuous but for none at all."""
        return np.where(bound <= 0.0, 0.0 * self.area, self.at_most(bound))


def _added(piece: NDArray[np.int64], values: Array, total: int) -> Array:
    return np.bincount(piece, values, total).astype(np.float64)
