"""Pits and specks: spots found at several scales, their diameter fitted with the blur taken off.

Spots are maxima of the difference of Gaussians over scale (Lindeberg 1998, 10.1023/A:1008045108935).
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.measure.face_region import Image, Mask

# Scales of the blob filter, px of the fine raster.
_SCALES_PX = (1.0, 1.5, 2.2, 3.3, 4.8)
_RATIO = 1.6
_PEAK_PX = 7
_EVEN_PX = 61
_CAP = 3.0
_MEAN_ABS = 0.7979
_MOST = 300
# Diameters tried, px of the fine raster, and half the side of the patch that they are tried on.
_DIAMETERS_PX = np.geomspace(0.8, 22.0, 24)
_PATCH_PX = 16


@dataclass(frozen=True, slots=True)
class Spot:
    """A spot: `column`, `row` and `diameter_px` on the fine raster; `snr` of its scale's response."""

    column: float
    row: float
    snr: float
    scale: int


def spots(picture: Image, scored: Mask, least_snr: float) -> list[Spot]:
    """Bright spots of a picture of even noise, strongest first."""
    best = np.full(picture.shape, -np.inf, np.float32)
    which = np.zeros(picture.shape, np.uint8)
    for index, sigma in enumerate(_SCALES_PX):
        response = cv2.GaussianBlur(picture, (0, 0), sigma) - cv2.GaussianBlur(picture, (0, 0), sigma * _RATIO)
        response = _even(response, scored)
        better = response > best
        np.copyto(best, response, where=better)
        which[better] = index
    peak = cv2.dilate(best, np.ones((_PEAK_PX, _PEAK_PX), np.uint8))
    places = np.argwhere((best >= peak) & (best >= least_snr) & scored)
    values = best[places[:, 0], places[:, 1]]
    order = np.argsort(-values, kind="stable")[:_MOST]
    return [Spot(float(c), float(r), float(best[r, c]), int(which[r, c])) for r, c in places[order]]


def _even(response: Image, scored: Mask) -> Image:
    inside = response[::3, ::3][scored[::3, ::3]]
    if len(inside) < 100:
        return np.zeros_like(response)
    spread = 1.4826 * float(np.median(np.abs(inside)))
    response = response / np.float32(max(spread, 1e-6))
    okay = scored.astype(np.float32)
    size = (_EVEN_PX, _EVEN_PX)
    level = cv2.blur(np.minimum(np.abs(response), _CAP) * okay, size) / np.maximum(cv2.blur(okay, size), 1e-3)
    return np.asarray(response / np.maximum(level / np.float32(_MEAN_ABS), np.float32(1.0)))


@lru_cache(maxsize=8)
def disc_templates(blur_px: float) -> NDArray[np.float64]:
    """Blurred discs of `_DIAMETERS_PX`, centred: (diameters, side, side)."""
    over = 8
    side = 2 * _PATCH_PX + 1
    axis = (np.arange(side * over) + 0.5) / over - 0.5 - _PATCH_PX
    radius = np.hypot(axis[:, None], axis[None])
    out = []
    for diameter in _DIAMETERS_PX:
        # a soft edge of one sub-pixel keeps the area of small discs right
        disc = np.clip((diameter / 2 - radius) * over + 0.5, 0, 1)
        disc = disc.reshape(side, over, side, over).mean(axis=(1, 3))
        out.append(cv2.GaussianBlur(disc, (0, 0), blur_px))
    return np.array(out)


def fit_diameter(patch: Image, blur_px: float) -> tuple[float, float]:
    """Diameter (px) of the blurred disc that explains most of a centred patch, and its height."""
    templates = disc_templates(blur_px)
    side = 2 * _PATCH_PX + 1
    axis = np.arange(side) - _PATCH_PX
    radius = np.hypot(axis[:, None], axis[None])
    best, gain, heights = 0, -np.inf, np.zeros(len(templates))
    gains = np.zeros(len(templates))
    for index, template in enumerate(templates):
        reach = max(4.0, 0.8 * _DIAMETERS_PX[-1])
        use = radius <= reach
        t = template[use] - template[use].mean()
        v = patch[use] - patch[use].mean()
        product = float(t @ v)
        gains[index] = np.sign(product) * product**2 / float(t @ t)
        heights[index] = product / float(t @ t)
        if gains[index] > gain:
            best, gain = index, gains[index]
    place = float(best)
    if 0 < best < len(templates) - 1:
        a, b, c = gains[best - 1 : best + 2]
        curve = a - 2 * b + c
        if curve < 0:
            place += 0.5 * (a - c) / curve
    diameter = float(np.exp(np.interp(place, np.arange(len(templates)), np.log(_DIAMETERS_PX))))
    return diameter, float(heights[best])
