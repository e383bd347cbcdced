"""What a prediction leaves of one place in the backlit frame: light in the metal, and things at the rim."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import label

from vision.outline.glance import GLANCE
from vision.outline.prediction import Image, Mask, Shape
from vision.outline.scene import BacklitScene
from vision.records import Array, Opening, Stray


@dataclass(frozen=True, slots=True)
class LeftoverSettings:
    """What of an unexplained place is told, and as what."""

    # Light in all of an opening (px2): less is one noisy pixel.
    least_light_px2: float = 0.6
    # An opening must lie so far inside the outline, a stray so far outside (px): nearer is the edge itself.
    within_px: float = 1.5
    # A thing joins the metal when between both it is at least this share as dark as at its darkest.
    joins: float = 0.6
    # Longer than this (mm) ...
    lint_long_mm: float = 2.0
    # ... and thinner than this for all its length (mm), it may as well be lint.
    lint_wide_mm: float = 0.1
    # Wider than so many blurs to either side, its own skirts included, a thing shows its true darkness ...
    wide_sds: float = 3.5
    # ... and is no metal where that is below this share of the light.
    metal_dark: float = 0.85
    # Light is looked for inside the outline and darkness outside it, to this far beyond it (px): an edge is known to
    # less.
    beyond_px: float = 0.5
    # A thing hides the outline where it comes so near (px): the blur of both then runs together.
    hides_px: float = 3.0
    # A stray reaches to where it is at least this share as dark as at its darkest: half, as edges are told.
    reach_dark: float = 0.5


LEFTOVERS = LeftoverSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Leftovers:
    """One box explained; all arrays are its rows and columns.

    `px`, `mm`: place in the frame and in the drawing; `distance`: outside the outline, px; `left`: what the prediction
    leaves of `share`, the share of the light; `allowed`: how much of that says nothing; `bright_rim`: where the metal's
    own rim may show light; `nearest`: nominal point.
    """

    scene: BacklitScene
    px: Array
    mm: Array
    distance: Array
    left: Array
    allowed: Array
    bright_rim: Mask
    share: Image
    nearest: NDArray[np.int64]

    def openings(self) -> list[Opening]:
        """All light inside the outline that nothing explains."""
        bright = (self.left > self.allowed) & ~self.bright_rim & (self.distance < LEFTOVERS.beyond_px)
        return [opening for part in _parts(bright) if (opening := self.opening(part)) is not None]

    def strays(self, shape: Shape, seen: Mask) -> list[Stray]:
        """All that takes light at the rim; `seen` (n,): where the outline shows."""
        dark = (self.left < -self.allowed) & (self.distance > -LEFTOVERS.beyond_px)
        return [stray for part in _parts(dark) if (stray := self.stray(part, shape, seen)) is not None]

    def opening(self, part: Mask) -> Opening | None:
        """Light inside the outline, from the parts of it that depart."""
        if self.distance[part].min() > -LEFTOVERS.within_px:
            return None
        # The blur's skirts belong to it too; inside the metal there is nothing else.
        whole = cv2.dilate(part.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
        whole &= self.distance < 0.0
        light = float(self.left[whole].clip(0.0).sum())
        if light < LEFTOVERS.least_light_px2:
            return None
        scale = self.scene.mm_per_px
        mm = self.mm[part]
        middle = mm.mean(axis=0)
        spread = np.linalg.eigh(np.cov((mm - middle).T))[1][:, -1] if len(mm) > 2 else np.array([1.0, 0.0])
        along = (mm - middle) @ spread
        area = light * scale**2
        length = max(float(np.ptp(along)), float(np.sqrt(area)), scale)
        px = self.px[part].mean(axis=0)
        return Opening((float(px[0]), float(px[1])), (float(middle[0]), float(middle[1])), area, area / length, length)

    def stray(self, part: Mask, shape: Shape, seen: Mask) -> Stray | None:
        """Something that takes light at the rim; None where it lies free of it, or only follows the edge."""
        scale, nominal = self.scene.mm_per_px, self.scene.nominal
        nearest_px, farthest_px = float(self.distance[part].min()), float(self.distance[part].max())
        if nearest_px > GLANCE.at_rim_mm / scale or farthest_px < LEFTOVERS.within_px:
            return None
        hidden = np.unique(self.nearest[part & (self.distance < LEFTOVERS.hides_px)])
        extent = float((~seen[hidden]).sum() * nominal.step_mm)
        dark = np.where(part, -self.left, 0.0)
        area = float(dark.sum()) * scale**2
        long = float(np.hypot(*np.ptp(self.px[part], axis=0))) * scale
        lint = long > LEFTOVERS.lint_long_mm and area < LEFTOVERS.lint_wide_mm * long
        joins = not lint and self._joins(part, shape)
        if not joins and extent == 0.0:
            return None
        reach = float(self.distance[part & (dark > LEFTOVERS.reach_dark * dark.max())].max()) * scale
        at = np.unravel_index(int(np.where(part, self.distance, np.inf).argmin()), part.shape)
        px, mm = self.px[at], self.mm[at]
        return Stray(
            zone=nominal.part.zones[nominal.zone[self.nearest[at]]].name,
            center_px=(float(px[0]), float(px[1])),
            center_mm=(float(mm[0]), float(mm[1])),
            reach_mm=reach,
            extent_mm=extent,
            area_mm2=area,
            joins=joins,
        )

    def _joins(self, part: Mask, shape: Shape) -> bool:
        """Whether no light comes between a thing and the metal, and it is as dark as metal where that can be told."""
        around = cv2.dilate(part.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        step = np.floor(self.distance[around]).astype(np.int64)
        dark = 1.0 - self.share[around]
        outside = step >= 0
        if not outside.any():
            return False
        by_step = np.full(int(step.max()) + 1, -np.inf)
        np.maximum.at(by_step, step[outside], dark[outside])
        # The first pixel is dark by the metal's own blur.
        darkest = int(by_step[1:].argmax()) + 1 if len(by_step) > 1 else 0
        # Two pixels together: of a thin thing that lies aslant one alone may hold its skirts only.
        nearer = np.maximum(by_step[:-1], by_step[1:])[:darkest] if darkest else by_step
        if nearer[np.isfinite(nearer)].min() < LEFTOVERS.joins * by_step[darkest]:
            return False
        half_width = float(cv2.distanceTransform(part.astype(np.uint8), cv2.DIST_L2, 3).max())
        return half_width <= LEFTOVERS.wide_sds * shape.blur_px or bool(by_step[darkest] > LEFTOVERS.metal_dark)


def _parts(mask: Mask) -> list[Mask]:
    labels, count = label(mask, connectivity=2, return_num=True)
    return [labels == one for one in range(1, count + 1)]
