"""A piece's bright band by the points of its nominal outline: how wide it is, and what it leaves in doubt."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.outline.band import RimBand
from vision.outline.nominal import Nominal
from vision.outline.place_errors import PlaceErrors, errors_along, everywhere
from vision.outline.placement import Placement
from vision.records import Array


@dataclass(frozen=True, slots=True, eq=False)
class BandAlong:
    """A piece's band by the nominal's points: what it leaves in doubt, `errors`, at its b blocks in order along.

    `order` (b,) leads from there to the band's own.
    """

    band: RimBand
    order: NDArray[np.int64]
    errors: PlaceErrors

    def width_over(self, inside: NDArray[np.bool_]) -> tuple[float, float]:
        """Mean width of the band over nominal points `inside` (n,), and its standard uncertainty, mm."""
        use = self._blocks(inside)
        uncertainty = np.linalg.norm(self.band.width_parts_mm[use].mean(axis=0))
        return float(self.band.width_mm[use].mean()), float(uncertainty)

    def reach_mm(self, blurs: float) -> Array:
        """How far inside the outline the bright band shows light, so many blurs beyond its own width: (count,).

        A band that the profiles did not tell is lost in the edge's own blur.
        """
        width = everywhere(self.band.width_mm[self.order], self.errors.step, self.errors.count)
        return width + blurs * self.band.blur_mm if self.band.fitted else width

    def _blocks(self, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Which blocks (b,) lie there; the nearest one where none does."""
        step, count = self.errors.step, self.errors.count
        there = inside[step.astype(np.int64) % count]
        if not there.any():
            gap = np.abs((step - np.flatnonzero(inside).mean() + count / 2) % count - count / 2)
            there = gap == gap.min()
        use = np.zeros(len(step), bool)
        use[self.order] = there
        return use


def along_nominal(band: RimBand, placement: Placement, nominal: Nominal) -> BandAlong:
    """Where a placed piece's blocks lie along the nominal, and what their errors do to its fits."""
    step = nominal.project(placement.datum.motion.apply(band.at_mm)).along % len(nominal.points)
    order = np.argsort(step)
    errors = errors_along(step[order], band.shared_mm[order], band.own_mm[order], placement, nominal)
    return BandAlong(band, order, errors)
