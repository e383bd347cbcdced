"""Where the backlit frame departs from the prediction at a glance, by masks of half the frame's size."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.outline.prediction import Box, Image, Mask, Pixels, Shape, Window, band_px, tolerance
from vision.outline.scene import BacklitScene
from vision.records import Array


@dataclass(frozen=True, slots=True)
class GlanceSettings:
    """Where the backlit frame is looked at again."""

    # How near a thing must come to be at the rim (mm).
    at_rim_mm: float = 0.3
    # What is larger than this (mm2) is no burr and no lint, but another piece.
    most_mm2: float = 6.0
    # At most so many places of a piece are looked at, the largest: a frame full of dust must end.
    most: int = 40


GLANCE = GlanceSettings()


def places(scene: BacklitScene, shape: Shape, outline_px: Array, seen: Mask, window: Window) -> list[Box]:
    """Boxes in the window that hold what is not explained at a glance, apart from each other.

    The glance is at half size: a quarter of the work, and what is thinner than a pixel still shows.
    """
    height, width = window.pixels.shape
    small = np.asarray(cv2.resize(window.pixels, (width // 2, height // 2), interpolation=cv2.INTER_AREA))
    chain = np.rint((outline_px - window.low - 0.5) / 2).astype(np.int32)
    metal = np.zeros(small.shape, np.uint8)
    cv2.fillPoly(metal, [chain], 255)
    band = int(np.ceil(band_px(shape) / 2))
    within = cv2.erode(metal, _square(band))
    for rim in shape.rims_px:
        hole = np.rint((rim - window.low - 0.5) / 2).astype(np.int32)
        cv2.fillPoly(within, [hole], 0)
        cv2.polylines(within, [hole], True, 0, 2 * band + 1)
    least = tolerance(window)
    step = window.bright - window.dark
    light = cv2.bitwise_and(_compared(small, window.dark + least * step, cv2.CMP_GT), within)
    found = [box for box, _ in _boxes(light)] if cv2.countNonZero(light) else []
    if shape.alone:
        beside = cv2.bitwise_not(cv2.dilate(metal, _square(band)))
        shade = cv2.bitwise_and(_compared(small, window.bright - least * step, cv2.CMP_LT), beside)
        near = cv2.dilate(metal, _square(band + round(GLANCE.at_rim_mm / scene.mm_per_px / 2)))
        found += _at_rim(shade, cv2.bitwise_and(shade, near), GLANCE.most_mm2 / (2 * scene.mm_per_px) ** 2)
        found += [Box(x, y, x + 1, y + 1) for x, y in chain[~seen].tolist()]
    boxes = _apart([box.with_room(band + 2) for box in found], (small.shape[1], small.shape[0]))
    return [box.times(2) for box in boxes[: GLANCE.most]]


def _at_rim(shade: Pixels, touched: Pixels, most_px: float) -> list[Box]:
    """Boxes of what takes light and comes near; of what is larger than that, another piece, only what is near."""
    if not cv2.countNonZero(touched):
        return []
    found = [box for box, area in _boxes(shade, touched) if area <= most_px]
    return [*found, *(box for box, _ in _boxes(cv2.bitwise_and(touched, _large(shade, most_px))))]


def _square(reach: int) -> NDArray[np.uint8]:
    return np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)


def _compared(pixels: Pixels, level: Image, how: int) -> NDArray[np.uint8]:
    """255 where pixels compare so with a level given by blocks."""
    height, width = pixels.shape
    wide = cv2.resize(level.astype(pixels.dtype), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.compare(pixels, wide, how), np.uint8)


def _boxes(mask: Pixels, touched: Pixels | None = None) -> list[tuple[Box, int]]:
    """Boxes and areas of a mask's connected parts; where told what is touched, only of those that it is in."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    kept = np.arange(1, count) if touched is None else np.unique(labels[touched > 0])
    boxes = []
    for left, top, wide, high, area in stats[kept].tolist():
        boxes.append((Box(left, top, left + wide, top + high), area))
    return boxes


def _large(mask: Pixels, most: float) -> NDArray[np.uint8]:
    """The parts of a mask that are larger than so many pixels."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    large = stats[:, cv2.CC_STAT_AREA] > most
    large[0] = False
    return np.asarray(large[labels] * 255, np.uint8)


def _apart(boxes: list[Box], size: tuple[int, int]) -> list[Box]:
    """Boxes that overlap made one, cut to the window, largest first."""
    canvas = np.zeros((size[1], size[0]), np.uint8)
    for box in boxes:
        canvas[max(box.top, 0) : box.bottom, max(box.left, 0) : box.right] = 255
    while True:
        found = [box for box, _ in _boxes(canvas)] if boxes else []
        if sum(box.area_px for box in found) == cv2.countNonZero(canvas):
            return sorted(found, key=lambda box: -box.area_px)
        for box in found:
            canvas[box.top : box.bottom, box.left : box.right] = 255
