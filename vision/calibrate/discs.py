"""Centres of discs to hundredths of a pixel: centroids of darkness, and where perspective puts the true centre.

A disc seen at a slant is an ellipse whose centroid is not the image of the disc's centre; the difference is a few
hundredths of a pixel at the slants used in calibration, all of one sign in a view, so that it would pass for a tilt.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import label

from vision.calibrate.corners import Pixels
from vision.records import Array

# Around the half level, px: the blurred rim counts as part of the disc.
_RIM_PX = 4
# The circle is carried through the camera as a polygon of this many corners; its centroid is then exact to 1e-4 px.
_CIRCLE = np.column_stack([f(np.linspace(0, 2 * np.pi, 72, endpoint=False)) for f in (np.cos, np.sin)])


@dataclass(frozen=True, slots=True, eq=False)
class Discs:
    """Discs of one picture, centroids (n, 2) px, areas px², standard uncertainty of a coordinate, px."""

    points_px: Array
    area_px: Array
    sd_px: Array
    settled: NDArray[np.bool_]


def measure_discs(pixels: Pixels, start_px: Array, reach_px: int) -> Discs:
    """Centroids of darkness (or brightness) above the ground around each disc.

    `start_px` (n, 2) is good to a few px; `reach_px` is the half side of the box looked at, holding no other disc.
    """
    height, width = pixels.shape
    found = []
    for u, v in start_px:
        left, top = max(0, round(u) - reach_px), max(0, round(v) - reach_px)
        box = pixels[top : min(height, round(v) + reach_px + 1), left : min(width, round(u) + reach_px + 1)].astype(
            np.float32
        )
        disc = _measure(box, u - left, v - top)
        found.append(replace(disc, u=disc.u + left, v=disc.v + top))
    return Discs(
        np.array([[one.u, one.v] for one in found], dtype=float).reshape(-1, 2),
        np.array([one.area_px2 for one in found]),
        np.array([one.sd_px for one in found]),
        np.array([one.settled for one in found], dtype=np.bool_),
    )


@dataclass(frozen=True, slots=True)
class _Disc:
    """One disc: where its centroid lies, px, its area, the standard deviation of the centroid, whether it was found."""

    u: float
    v: float
    area_px2: float
    sd_px: float
    settled: bool


def _measure(box: NDArray[np.float32], u: float, v: float) -> _Disc:
    """The disc about a place of its box."""
    centre_level = float(np.median(box[max(0, round(v) - 1) : round(v) + 2, max(0, round(u) - 1) : round(u) + 2]))
    rim = np.concatenate([box[0], box[-1], box[:, 0], box[:, -1]])
    half = (float(np.median(rim)) + centre_level) / 2
    inside = (box < half) if centre_level < half else (box > half)
    labels = label(inside, connectivity=2)
    own = labels[min(round(v), box.shape[0] - 1), min(round(u), box.shape[1] - 1)]
    if own == 0:
        return _Disc(u, v, 0.0, 1.0, settled=False)
    disc = (labels == own).astype(np.uint8)
    near = cv2.dilate(disc, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * _RIM_PX + 1, 2 * _RIM_PX + 1))) > 0
    y, x = np.mgrid[: box.shape[0], : box.shape[1]]
    ground = ~near
    if ground.sum() < 12 or _touches_border(disc):
        return _Disc(u, v, 0.0, 1.0, settled=False)
    # The ground's slope must go: over a whole disc even one count would pull the centroid.
    slope = np.column_stack((np.ones(int(ground.sum())), x[ground], y[ground]))
    factors, *_ = np.linalg.lstsq(slope, box[ground], rcond=None)
    noise = float(np.std(box[ground] - slope @ factors))
    level = factors[0] + factors[1] * x + factors[2] * y
    weight = np.where(near, level - box, 0.0)
    mass = float(weight.sum())
    cu, cv = float((weight * x).sum() / mass), float((weight * y).sum() / mass)
    depth = abs(float(np.median((level - box)[disc > 0])))
    spread = float(np.sqrt((((x - cu) ** 2 + (y - cv) ** 2) * near).sum() / 2))
    return _Disc(cu, cv, abs(mass) / depth, max(noise * spread / abs(mass), 1e-4), settled=True)


def _touches_border(disc: NDArray[np.uint8]) -> bool:
    """Whether a disc, with its blurred rim, reaches out of its box."""
    mask = cv2.dilate(disc, np.ones((3, 3), np.uint8))
    return bool(mask[0].any() or mask[-1].any() or mask[:, 0].any() or mask[:, -1].any())


def centroid_shift(project: Callable[[Array], Array], centres_mm: Array, radius_mm: float) -> Array:
    """How far the centroid of each disc's picture lies from the picture of its centre, px (n, 2).

    `project` carries points (m, 2) of the target's plane to px (m, 2). The centroid is a polygon's, by Green's theorem.
    """
    rim = project((centres_mm[:, None, :] + radius_mm * _CIRCLE).reshape(-1, 2)).reshape(
        len(centres_mm), len(_CIRCLE), 2
    )
    centre = project(centres_mm)
    around = rim - centre[:, None, :]
    following = np.roll(around, -1, axis=1)
    cross = around[..., 0] * following[..., 1] - around[..., 1] * following[..., 0]
    return np.asarray(((around + following) * cross[..., None]).sum(axis=1) / (3.0 * cross.sum(axis=1))[:, None])
