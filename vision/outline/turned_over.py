"""Whether a piece lies on its face: its outline is then the drawing's mirror image."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vision.outline.nominal import Nominal
from vision.outline.placement import Placement, find_placement, misfit, thin
from vision.records import Array


@dataclass(frozen=True, slots=True)
class TurnedOverSettings:
    """When a piece is told to lie on its face."""

    # An outline that differs from its own mirror image by less than this on average (mm) can't tell.
    tells_mm: float = 0.02
    # A piece that fits better than this share of that difference lies the right way up ...
    fits_share: float = 0.3
    # ... and the mirror image must fit better than the drawing by this factor.
    clearly: float = 0.5
    # That is asked of so many points of the outline, evenly.
    points: int = 600


TURNED_OVER = TurnedOverSettings()

_MIRROR = np.array([1.0, -1.0])


def is_turned_over(points_mm: Array, placement: Placement | None, nominal: Nominal) -> bool:
    """Whether edge points (n, 2), tray mm, fit the drawing's mirror image clearly better than the drawing.

    `placement`: how they fit the drawing; None where they don't.
    """
    differs = mirror_difference_mm(nominal)
    if differs < TURNED_OVER.tells_mm:
        return False
    straight = differs
    if placement is not None:
        straight = misfit(thin(points_mm, TURNED_OVER.points), placement.datum.motion, nominal)
        if straight < TURNED_OVER.fits_share * differs:
            return False
    turned = points_mm * _MIRROR
    mirrored = find_placement(turned[::-1], nominal)
    if mirrored is None:
        return False
    return misfit(thin(turned, TURNED_OVER.points), mirrored.datum.motion, nominal) < TURNED_OVER.clearly * straight


@lru_cache(maxsize=16)
def mirror_difference_mm(nominal: Nominal) -> float:
    """How far the drawing's outline lies from its own mirror image, fitted to it, on average."""
    turned = nominal.points * _MIRROR
    placement = find_placement(turned[::-1], nominal)
    if placement is None:
        return float("inf")
    return misfit(thin(turned, TURNED_OVER.points), placement.datum.motion, nominal)
