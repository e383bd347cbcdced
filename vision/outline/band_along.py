"""A piece's bright band by the points of its nominal outline: what it leaves in doubt of deviations, lengths, turns."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.outline.band import RimBand
from vision.outline.nominal import Nominal
from vision.outline.placement import Placement
from vision.records import Array, Pair


@dataclass(frozen=True, slots=True)
class BandAlongSettings:
    """How a band's blocks err together along the outline."""

    # Rims change slowly: so many blocks in a row err alike (about 24 mm of outline).
    alike: float = 4.0
    # A fit on fewer blocks than it has unknowns takes them all.
    least_blocks: int = 5


BAND_ALONG = BandAlongSettings()


@dataclass(frozen=True, slots=True, eq=False)
class PlaceUncertainty:
    """Standard uncertainty of the outline's place at one point, mm: `shared` (g,) by common parts, and its `own`."""

    shared: Array
    own: float

    @property
    def alone(self) -> float:
        """Of one deviation."""
        return float(np.hypot(np.linalg.norm(self.shared), self.own))

    def across(self, other: "PlaceUncertainty") -> float:
        """Of a length between two points: what they share moves both ends outward alike."""
        return float(np.sqrt(((self.shared + other.shared) ** 2).sum() + self.own**2 + other.own**2))


@dataclass(frozen=True, slots=True, eq=False)
class BandAlong:
    """A piece's band by the nominal's points: `step` (b,), ascending, where each block lies among `count` of them.

    A band that is off differently on either side of a zone turns the fit that rests on it: `pose_shared` (3, g) and
    `pose_own` (3, 3) are what x, y (mm) and turn (rad, about `pivot_mm`) of the datum's fit take from common parts and
    from the places' own; `turn_rad` of the bend zone's turn against the datum's.
    """

    band: RimBand
    step: Array
    order: NDArray[np.int64]
    nominal: Nominal
    pivot_mm: Pair
    pose_shared: Array
    pose_own: Array
    turn_rad: float

    @property
    def count(self) -> int:
        """How many points the nominal has."""
        return len(self.nominal.points)

    def uncertainty(self, index: int) -> PlaceUncertainty:
        """Between the blocks on either side of a nominal point."""
        after = int(np.searchsorted(self.step, index)) % len(self.step)
        gap = (self.step[after] - self.step[after - 1]) % self.count
        part = float(((index - self.step[after - 1]) % self.count) / gap) if gap else 0.0
        before, behind = self.order[after - 1], self.order[after]
        shared = (1 - part) * self.band.shared_mm[before] + part * self.band.shared_mm[behind]
        return PlaceUncertainty(shared, float((1 - part) * self.band.own_mm[before] + part * self.band.own_mm[behind]))

    def deviation(self, index: int) -> PlaceUncertainty:
        """Of one deviation, which follows the datum's fit."""
        place, (row,) = self.uncertainty(index), _levers(self.nominal, np.array([index]), self.pivot_mm)
        turned = float(row[:3] @ self.pose_own @ row[:3])
        return PlaceUncertainty(place.shared - row[:3] @ self.pose_shared, float(np.hypot(place.own, np.sqrt(turned))))

    def width_over(self, inside: NDArray[np.bool_]) -> tuple[float, float]:
        """Mean width of the band over nominal points `inside` (n,), and its standard uncertainty, mm."""
        use = self._blocks(inside)
        own = float(np.sqrt((self.band.width_own_mm[use] ** 2).sum()) / use.sum())
        shared = float(np.linalg.norm(self.band.width_shared_mm[use].mean(axis=0)))
        return float(self.band.width_mm[use].mean()), float(np.hypot(own, shared))

    def width_mm(self) -> Array:
        """Width of the bright band at each nominal point, (count,)."""
        width = self.band.width_mm[self.order]
        return np.asarray(np.interp(np.arange(self.count), self.step, width, period=self.count))

    def alone(self) -> Array:
        """Standard uncertainty of each deviation by the band, (count,)."""
        each = [self.deviation(round(step) % self.count).alone for step in self.step]
        return np.asarray(np.interp(np.arange(self.count), self.step, each, period=self.count))

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
    pivot = placement.datum.pivot_mm
    index = step.astype(np.int64)

    def follows(zone: NDArray[np.bool_]) -> tuple[Array, Array]:
        """How x, y and turn of a fit on a zone follow the blocks' errors: by common parts (3, g), and own (3, b)."""
        use = zone[index]
        if use.sum() < BAND_ALONG.least_blocks:
            use = np.ones(len(index), bool)
        response = np.linalg.pinv(_levers(nominal, index[use], pivot))[:3]
        return response @ band.shared_mm[use], response * band.own_mm[use]

    shared, own = follows(nominal.datum)
    turn = 0.0
    if placement.bend is not None:
        bent, bent_own = follows(nominal.bend)
        alone = BAND_ALONG.alike * float((own[2] ** 2).sum() + (bent_own[2] ** 2).sum())
        turn = float(np.sqrt(((shared[2] - bent[2]) ** 2).sum() + alone))
    return BandAlong(band, step[order], order, nominal, pivot, shared, BAND_ALONG.alike * own @ own.T, turn)


def _levers(nominal: Nominal, index: NDArray[np.int64], pivot_mm: Pair) -> Array:
    """How a deviation follows the pose, at nominal points: rows of x, y, turn about the pivot, even offset: (n, 4)."""
    lever, n = nominal.points[index] - pivot_mm, nominal.normals[index]
    return np.column_stack((n, lever[:, 0] * n[:, 1] - lever[:, 1] * n[:, 0], -np.ones(len(index))))
