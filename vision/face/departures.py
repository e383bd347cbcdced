"""What departs from the smooth course of a face over more than a pit's width: marks and stains.

A polished face shows lights whose images have soft edges: the lobe of the finish blurs them over a millimetre and
more. A gouge, a burn, a dent, a film has a border as sharp as the optics draw it. So every region that is darker or
brighter than its surroundings, at several sizes, is cut out by grey-scale closing and opening (Serra 1982, from
memory), and its border tells whether a lamp or the metal made it. Besides, where a frame's own noise is missing no
sensor has looked: such an area is a mark too; and where the dome is darker or brighter than it and its opening
for the camera account for (`vision.face.opening`), however soft the border.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import label, regionprops

from vision.face.contrast import FrameContrast
from vision.face.opening import left_over
from vision.face.raster import FaceInputs, Image, Mask, Region, reduce
from vision.records import Mark, Stain

# Sizes of what is cut out, mm: each finds what is narrower and wider than the one before.
_SIZES_MM = {"dome": (2.6, 6.5, 13.0), "low": (6.5, 13.0)}
# Least depth of a departure (natural logarithm of level), least area (mm2) and least sharpness of its border: the rise
# over 0.4 mm over the depth. Rendered faces: at most 0.31 in the dome, 0.42 under low lights but for spots of the
# finish below 4 mm2; painted regions 0.55 to 0.85.
_DEPTH, _AREA_MM2, _SHARP = {"dome": 0.10, "low": 0.55}, {"dome": 1.0, "low": 5.0}, {"dome": 0.42, "low": 0.5}
# A hard shadow under a low light has such a border on its lit side alone, and fades into the dark on the other: two
# fifths of a departure's border may be less sharp than half of that, no more. (Shadow: 0.09 and less; painted: 0.3 on.)
_SHADOW_SHARE, _SHADOW_SHARP = 0.4, 0.25
# In the dome alone a fainter one is a stain: it dims the metal and no more.
_STAIN_DEPTH = 0.22
# The dome's opening for the camera shows as a soft dark image, which bumps of the finish break into patches with sharp
# borders; no low light shows them. A region of the dome is taken for such a patch where it is no deeper than this, what
# its image leaves over there is no more than this share of its depth, and low lights, so many at least that are so
# bright there (of 255), show less than this share of its depth on the same side. (Rendered patches: 0.35 deep, 0.28 of
# it left over, 0.14 shown at most; what dims the dome alone by half in that image is 0.67 deep and more.)
_PATCH_DEPTH, _LEFT_SHARE, _LEAST_LOWS, _LIT, _SHOWN_SHARE = 0.5, 0.4, 2, 10.0, 0.4
# Of a bright one smaller than this (mm2), of which no more than this share is left over, low lights need not be asked:
# a dark image follows no bright patch but by what low lights say, and bumps shine.
_SMALL_MM2, _NEARLY_NONE = 8.0, 0.2
# Darker by this (natural logarithm) than the dome and its opening account for over so much (mm2) is a mark, however
# soft its border. 59 rendered faces: at most 0.3, and that along the dome's edge; what dims the dome by half: 0.69.
# Brighter by this as well: such faces 0.15 at most, a low lamp that burns with three tenths of the dome's light 0.4.
_TOO_DARK, _TOO_BRIGHT, _UNEXPLAINED_MM2 = 0.33, 0.25, 2.0
# Surroundings of a region: from so far to so far off its border, px of the broad raster.
_BESIDE_PX = (2, 6)
# Added to a level (of 255) before the logarithm: the steps of the darkest levels are no departure.
_PEDESTAL = 4.0
# Noise is missing where it is below this share of what the frame has elsewhere at that level, over windows of so much
# (mm), where at least so many counts of it are expected and the level is below so much of 255.
_NO_NOISE, _NOISE_WINDOW_MM, _LEAST_NOISE, _BRIGHTEST = 0.4, 0.6, 0.5, 247.0
_OUTSIDE = 50.0
Flags = NDArray[np.uint8]
# Points of a region's outline are thinned to within so much (mm).
_THINNED_MM = 0.1


def departures(inputs: FaceInputs, region: Region, frames: Sequence[FrameContrast]) -> tuple[Mark | Stain, ...]:
    """Regions of the scored area that no lamp accounts for, largest first."""
    shape = region.broad.shape
    scored = reduce(region.scored.astype(np.float32), shape) > 0.99
    marks, stains = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    pitch = region.pitch_mm(region.broad)
    lows = [frame for frame in frames if frame.picture.light == "low"]
    for frame in frames:
        left = left_over(frame, lows, scored, pitch) if frame.picture.light == "dome" else None
        for found in _sharp_regions(frame, scored, pitch):
            if left is not None and _of_the_opening(found, left, lows, scored, pitch):
                continue
            faint = left is not None and 0.0 < found.depth < _STAIN_DEPTH
            patch = (stains if faint else marks)[found.box]
            np.maximum(patch, found.where, out=patch)
        if left is not None:
            np.maximum(marks, _without_noise(region, frame) * scored, out=marks)
            np.maximum(marks, _unexplained(left, pitch), out=marks)
    stains[marks > 0] = 0
    outlined = [*_outlined(inputs, region, marks, Mark), *_outlined(inputs, region, stains, Stain)]
    return tuple(sorted(outlined, key=lambda one: -one.area_mm2))


@dataclass(frozen=True, slots=True, eq=False)
class _Sharp:
    """A region with a sharp border: its depth (below 0: brighter than around it), its pixels (0 or 1) and their box."""

    depth: float
    where: Flags
    box: tuple[slice, slice]


def _of_the_opening(found: _Sharp, left: Image, lows: Sequence[FrameContrast], scored: Mask, pitch_mm: float) -> bool:
    """Whether a region lies in the dark image of the dome's opening, and no low light shows anything there."""
    if abs(found.depth) > _PATCH_DEPTH:
        return False
    whole = np.zeros(scored.shape, np.uint8)
    whole[found.box] = found.where
    near, far = (cv2.dilate(whole, np.ones((3, 3), np.uint8), iterations=reach) > 0 for reach in _BESIDE_PX)
    inside, beside = cv2.erode(whole, np.ones((3, 3), np.uint8)) > 0, far & ~near & scored
    if not inside.any() or not beside.any():
        return False
    left_share = abs(float(left[whole > 0].mean()) / found.depth)
    if left_share > _LEFT_SHARE:
        return False
    if found.depth < 0.0 and left_share < _NEARLY_NONE and float(whole.sum()) * pitch_mm**2 < _SMALL_MM2:
        return True
    levels = [(float(np.median(one.brightness[inside])), float(np.median(one.brightness[beside]))) for one in lows]
    fall = [np.log((around + _PEDESTAL) / (there + _PEDESTAL)) for there, around in levels if around >= _LIT]
    if len(fall) < _LEAST_LOWS:
        return False
    return bool(np.median(fall) * np.sign(found.depth) < _SHOWN_SHARE * abs(found.depth))


def _unexplained(left: Image, pitch_mm: float) -> Flags:
    """Where the dome is darker or brighter than it and its opening account for (0 or 1)."""
    off = ((left < -_TOO_DARK) | (left > _TOO_BRIGHT)).astype(np.uint8)
    off = np.asarray(cv2.morphologyEx(off, cv2.MORPH_OPEN, _DISC), np.uint8)
    _, labels, boxes, _ = cv2.connectedComponentsWithStats(off, connectivity=4)
    large = boxes[:, cv2.CC_STAT_AREA] * pitch_mm**2 >= _UNEXPLAINED_MM2
    large[0] = False
    return np.asarray(large[labels], np.uint8)


def _sharp_regions(frame: FrameContrast, scored: Mask, pitch_mm: float) -> Iterator[_Sharp]:
    light = frame.picture.light
    level = np.asarray(cv2.log(frame.brightness + np.float32(_PEDESTAL)), np.float32)
    slope = np.hypot(cv2.Sobel(level, -1, 1, 0, scale=0.25), cv2.Sobel(level, -1, 0, 1, scale=0.25))
    for sign in (1.0, -1.0):
        course = level * np.float32(sign)
        for size in _SIZES_MM[light]:
            depth = _cut_out(course, scored, round(size / pitch_mm) | 1)
            wide = cv2.morphologyEx((depth > _DEPTH[light]).astype(np.uint8), cv2.MORPH_OPEN, _DISC)
            _, labels, boxes, _ = cv2.connectedComponentsWithStats(wide, connectivity=4)
            for number, (left, top, across, down, area) in enumerate(boxes[1:].tolist(), start=1):
                if area * pitch_mm**2 < _AREA_MM2[light]:
                    continue
                at = (slice(max(top - 1, 0), top + down + 1), slice(max(left - 1, 0), left + across + 1))
                inside = labels[at] == number
                deep = _lowest_of(depth[at][inside], 0.2)
                half = (inside & (depth[at] > deep / 2)).astype(np.uint8)
                border = cv2.morphologyEx(half, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
                rise = slope[at][border & scored[at]]
                if not rise.size or _lowest_of(rise, 0.5) < _SHARP[light] * deep:
                    continue
                if light == "low" and _lowest_of(rise, 1.0 - _SHADOW_SHARE) < _SHADOW_SHARP * deep:
                    continue
                yield _Sharp(sign * deep, half, at)


def _lowest_of(values: Image, share: float) -> float:
    """The lowest of the greatest share of some values: `numpy.quantile` takes ten times as long on so few."""
    place = int((1.0 - share) * (len(values) - 1))
    return float(np.partition(values, place)[place])


_DISC = np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5)), np.uint8)


def _cut_out(course: Image, scored: Mask, size: int) -> Image:
    """By how much a closing with a square raises each pixel; what lies outside has no say."""
    square = np.ones((size, size), np.uint8)
    raised = cv2.dilate(np.where(scored, course, np.float32(-_OUTSIDE)), square)
    closed = cv2.erode(np.where(scored, raised, np.float32(_OUTSIDE)), square)
    return np.asarray(np.where(scored, closed - course, 0.0), np.float32)


def _without_noise(region: Region, frame: FrameContrast) -> Flags:
    """Where a frame's own noise is missing (0 or 1, broad): painted, smoothed or filled in."""
    picture = frame.picture
    raw = region.fine.cut(picture.pixels).astype(np.float32)
    rough = np.abs(raw - cv2.blur(raw, (3, 3)))
    shape = region.broad.shape
    window = (max(1, round(_NOISE_WINDOW_MM / region.pitch_mm(region.broad))),) * 2
    noise = cv2.blur(reduce(rough, shape), window)
    level = np.maximum(frame.brightness, np.float32(1.0))
    scored = reduce(region.scored.astype(np.float32), shape) > 0.5
    usual = float(np.median((noise / np.sqrt(level))[scored])) if scored.any() else 0.0
    expected = usual * np.sqrt(level)
    missing = (noise < _NO_NOISE * expected) & (expected > _LEAST_NOISE) & (level < _BRIGHTEST)
    grown = cv2.dilate(cv2.morphologyEx(missing.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), _DISC)
    return np.asarray(grown, np.uint8)


def _outlined(inputs: FaceInputs, region: Region, mask: Flags, make: type[Mark] | type[Stain]) -> list[Mark | Stain]:
    """Each connected region of a mask (broad) with its area and outline."""
    raster, pitch = region.broad, region.pitch_mm(region.broad)
    labels = label(mask, connectivity=2)
    out: list[Mark | Stain] = []
    for one in regionprops(labels):
        alone = (labels == one.label).astype(np.uint8)
        ring, _ = cv2.findContours(alone, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        thin = cv2.approxPolyDP(max(ring, key=len), _THINNED_MM / pitch, True)[:, 0].astype(np.float64)
        px = raster.to_px(np.vstack((one.centroid[::-1], thin)))
        mm = inputs.to_mm(px)
        pairs = [tuple((float(x), float(y)) for x, y in points) for points in (px, mm)]
        out.append(make(pairs[0][0], pairs[1][0], float(one.area) * pitch**2, pairs[1][1:], pairs[0][1:]))
    return out
