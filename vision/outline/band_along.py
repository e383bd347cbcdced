"""A piece's bright band by the points of its nominal outline: what it leaves in doubt of deviations, lengths, turns."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vision.outline.band import RimBand
from vision.outline.nominal import Nominal
from vision.outline.placement import Placement
from vision.records import Array, Pair


@dataclass(frozen=True, slots=True)
class BandAlongSettings:
    """How a band's blocks err together along the outline."""

    # Rims change slowly: so far along the outline two places err alike (the integral of their correlation, mm).
    alike_mm: float = 24.0
    # A fit on fewer blocks than it has unknowns takes them all.
    least_blocks: int = 5
    # Errors drawn to see what they do to a largest deviation ...
    draws: int = 64
    # ... from this start, so that a tray is measured alike twice.
    first_draw: int = 2121


BAND_ALONG = BandAlongSettings()


@dataclass(frozen=True, slots=True, eq=False)
class BandAlong:
    """A piece's band by the nominal's points: `step` (b,), ascending, where each block lies among `count` of them.

    Errors that the band leaves are sums of m independent parts of standard size, so that their covariances are known:
    `place_mm` (b, m) of where the outline lies; `deviation_mm` (b, m) of deviations, which follow the datum's fit, that
    a band which is off differently on either side shifts and turns; `turn_rad` of the bend zone's turn against the
    datum's. All in the order of `step`; `order` (b,) leads to the band's own.
    """

    band: RimBand
    step: Array
    order: NDArray[np.int64]
    nominal: Nominal
    place_mm: Array
    deviation_mm: Array
    turn_rad: float

    @property
    def count(self) -> int:
        """How many points the nominal has."""
        return len(self.nominal.points)

    def of_deviation(self, index: int) -> float:
        """Standard uncertainty of the deviation at a nominal point, mm."""
        return float(np.linalg.norm(self._between(self.deviation_mm, index)))

    def of_extent(self, one: int, other: int) -> float:
        """Of the size between two nominal points: what moves both ends outward counts twice, mm."""
        return float(np.linalg.norm(self._between(self.place_mm, one) + self._between(self.place_mm, other)))

    def of_largest(self, value: Array, at: NDArray[np.int64]) -> float:
        """Of the largest of the values (k,) at nominal points `at` (k,), mm: root mean square change under its errors.

        A maximum seeks out errors that differ along the outline: it grows on average, and one place's own uncertainty
        says less than that.
        """
        near = self._nearest(at)
        tops = np.full(len(self.step), -np.inf)
        np.maximum.at(tops, near, value)
        use = np.isfinite(tops)
        errors = self.deviation_mm[use] @ _draws(self.deviation_mm.shape[1])
        change = (tops[use][:, None] + errors).max(axis=0) - tops[use].max()
        return float(np.sqrt(np.mean(change**2)))

    def of_rms(self, value: Array, at: NDArray[np.int64]) -> float:
        """Of the root mean square of values (k,) at nominal points `at` (k,), mm."""
        share = np.bincount(self._nearest(at), weights=value, minlength=len(self.step)) / len(at)
        size = float(np.sqrt(np.mean(self.alone()[at] ** 2)))
        rms = max(float(np.sqrt(np.mean(value**2))), 1e-9)
        # To first order an error counts as it lies along the values; where it is as large as these, all of it does.
        return float(np.hypot(np.linalg.norm(share @ self.deviation_mm) / rms, size * min(1.0, size / (2 * rms))))

    def width_over(self, inside: NDArray[np.bool_]) -> tuple[float, float]:
        """Mean width of the band over nominal points `inside` (n,), and its standard uncertainty, mm."""
        use = self._blocks(inside)
        own = float(np.sqrt((self.band.width_own_mm[use] ** 2).sum()) / use.sum())
        shared = float(np.linalg.norm(self.band.width_shared_mm[use].mean(axis=0)))
        return float(self.band.width_mm[use].mean()), float(np.hypot(own, shared))

    def width_mm(self) -> Array:
        """Width of the bright band at each nominal point, (count,)."""
        return self._everywhere(self.band.width_mm[self.order])

    def alone(self) -> Array:
        """Standard uncertainty of each deviation by the band, (count,)."""
        return self._everywhere(np.linalg.norm(self.deviation_mm, axis=1))

    def _everywhere(self, by_block: Array) -> Array:
        return np.asarray(np.interp(np.arange(self.count), self.step, by_block, period=self.count))

    def _between(self, rows: Array, index: int) -> Array:
        after = int(np.searchsorted(self.step, index)) % len(self.step)
        gap = (self.step[after] - self.step[after - 1]) % self.count
        part = float(((index - self.step[after - 1]) % self.count) / gap) if gap else 0.0
        return np.asarray((1 - part) * rows[after - 1] + part * rows[after])

    def _nearest(self, at: NDArray[np.int64]) -> NDArray[np.int64]:
        """The block nearest to each nominal point."""
        after = np.searchsorted(self.step, at) % len(self.step)
        ahead = (self.step[after] - at) % self.count
        behind = (at - self.step[after - 1]) % self.count
        return np.asarray(np.where(ahead < behind, after, (after - 1) % len(self.step)))

    def _blocks(self, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Which blocks (b,) lie there; the nearest one where none does."""
        there = inside[self.step.astype(np.int64) % self.count]
        if not there.any():
            gap = np.abs((self.step - np.flatnonzero(inside).mean() + self.count / 2) % self.count - self.count / 2)
            there = gap == gap.min()
        use = np.zeros(len(self.step), bool)
        use[self.order] = there
        return use


def along_nominal(band: RimBand, placement: Placement, nominal: Nominal) -> BandAlong:
    """Where a placed piece's blocks lie along the nominal, and what their errors do to its fits."""
    step = nominal.project(placement.datum.motion.apply(band.at_mm))[0] % len(nominal.points)
    order = np.argsort(step)
    step = step[order]
    index = step.astype(np.int64)
    own = band.own_mm[order, None] * _alike(step * nominal.step_mm, len(nominal.points) * nominal.step_mm)
    place = np.concatenate((band.shared_mm[order], own), axis=1)
    levers = _levers(nominal, index, placement.datum.pivot_mm)

    def follows(zone: NDArray[np.bool_]) -> Array:
        """How x, y and turn of a fit on a zone follow the errors' parts: (3, m)."""
        use = zone[index]
        if use.sum() < BAND_ALONG.least_blocks:
            use = np.ones(len(index), bool)
        return np.asarray(np.linalg.pinv(levers[use])[:3] @ place[use])

    pose = follows(nominal.datum)
    turn = 0.0 if placement.bend is None else float(np.linalg.norm(pose[2] - follows(nominal.bend)[2]))
    return BandAlong(band, step, order, nominal, place, place - levers[:, :3] @ pose, turn)


def _alike(at_mm: Array, around_mm: float) -> Array:
    """Parts (b, b) of errors of size one at places (b,) along a closed outline, alike over `alike_mm`."""
    gap = np.abs(at_mm[:, None] - at_mm)
    gap = np.minimum(gap, around_mm - gap)
    # A Gaussian of half the variance, smoothed with itself, is the correlation.
    parts = np.exp(-(gap**2) * 2 * np.pi / BAND_ALONG.alike_mm**2)
    return np.asarray(parts / np.linalg.norm(parts, axis=1)[:, None])


@lru_cache(maxsize=64)
def _draws(parts: int) -> Array:
    half = np.random.default_rng(BAND_ALONG.first_draw).normal(size=(parts, BAND_ALONG.draws // 2))
    half /= np.sqrt(np.mean(half**2, axis=1))[:, None]
    return np.concatenate((half, -half), axis=1)


def _levers(nominal: Nominal, index: NDArray[np.int64], pivot_mm: Pair) -> Array:
    """How a deviation follows the pose, at nominal points: rows of x, y, turn about the pivot, even offset: (n, 4)."""
    lever, n = nominal.points[index] - pivot_mm, nominal.normals[index]
    return np.column_stack((n, lever[:, 0] * n[:, 1] - lever[:, 1] * n[:, 0], -np.ones(len(index))))
