"""Dark regions of the backlit frame as rough closed contours: what lies on the tray, to about a pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.backlight import BLOCK_PX, Backlight, Field
from vision.geometry import signed_area
from vision.records import Array, Picture

# Contours are first looked for at half size: a quarter of the work, and the sub-pixel step looks 4 px to either side.
_COARSE = 2


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """A silhouette and the light seen through it.

    `outer` (n, 2): px, metal on the left when walked with y up (counter-clockwise as seen); `holes`: clockwise as seen.
    `at_border`: the frame's edge cuts it.
    """

    outer: Array
    holes: tuple[Array, ...]
    area_px: float
    at_border: bool


def find_regions(back: Picture, light: Backlight, min_area_px: float) -> tuple[Region, ...]:
    """Dark regions of at least `min_area_px` pixels (dust is smaller), at the half level from dark to bright."""
    rows, columns = (side // BLOCK_PX * BLOCK_PX for side in back.pixels.shape)
    size = (columns // _COARSE, rows // _COARSE)
    small = cv2.resize(back.pixels[:rows, :columns], size, interpolation=cv2.INTER_AREA)
    mask = _below_half(small, light.half_level(), size)
    return _trace(mask, _COARSE, min_area_px, (0.0, 0.0))


def split_finely(back: Picture, light: Backlight, region: Region, min_area_px: float) -> tuple[Region, ...]:
    """The same region at full size: a sliver of light under 2 px wide still keeps two pieces apart."""
    margin = 2 * BLOCK_PX
    rows, columns = (side // BLOCK_PX for side in back.pixels.shape)
    low = np.maximum((region.outer.min(axis=0) - margin) // BLOCK_PX, 0).astype(int)
    high = np.minimum((region.outer.max(axis=0) + margin) // BLOCK_PX + 1, (columns, rows)).astype(int)
    box = np.s_[low[1] : high[1], low[0] : high[0]]
    first, end = low * BLOCK_PX, high * BLOCK_PX
    pixels = back.pixels[first[1] : end[1], first[0] : end[0]]
    mask = _below_half(pixels, light.half_level()[box], (pixels.shape[1], pixels.shape[0]))
    inside = np.zeros_like(mask)
    cv2.fillPoly(inside, [np.round(region.outer - first).astype(np.int32)], 255)
    near = cv2.dilate(inside, np.ones((7, 7), np.uint8)) > 0
    return _trace(mask & near, 1, min_area_px, (float(first[0]), float(first[1])))


def _below_half(pixels: NDArray[np.generic], half_level: Field, size: tuple[int, int]) -> NDArray[np.uint8]:
    """255 where `pixels` (of `size`, columns x rows) are darker than half way."""
    level = cv2.resize(half_level, size, interpolation=cv2.INTER_LINEAR).astype(pixels.dtype)
    return np.asarray(cv2.compare(np.ascontiguousarray(pixels), level, cv2.CMP_LT), dtype=np.uint8)


def _trace(mask: NDArray[np.uint8], scale: int, min_area_px: float, origin: tuple[float, float]) -> tuple[Region, ...]:
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if tree is None:
        return ()
    tree = tree.reshape(-1, 4)
    rows, columns = mask.shape
    found = []
    for index, contour in enumerate(contours):
        if tree[index, 3] >= 0 or len(contour) < 8:
            continue
        chain = contour.reshape(-1, 2)
        if cv2.contourArea(chain) * scale**2 < min_area_px:
            continue
        low, high = chain.min(axis=0), chain.max(axis=0)
        at_border = bool((low <= 0).any() or high[0] >= columns - 1 or high[1] >= rows - 1)
        holes = []
        child = tree[index, 2]
        while child >= 0:
            if cv2.contourArea(contours[child]) * scale**2 >= min_area_px / 4:
                holes.append(_as_points(contours[child], scale, origin))
            child = tree[child, 0]
        outer = _as_points(contour, scale, origin)
        found.append(Region(outer, tuple(holes), abs(signed_area(outer)), at_border))
    return tuple(found)


def _as_points(contour: NDArray[np.generic], scale: int, origin: tuple[float, float]) -> Array:
    """Centres of border pixels in full-size px; outer contours run counter-clockwise as seen, holes clockwise."""
    return contour.reshape(-1, 2).astype(np.float64) * scale + (scale - 1) / 2 + origin
