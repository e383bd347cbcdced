"""What the backlit frame shows around a piece and the measured outline does not explain.

The frame is predicted from the light's levels, the outline as measured, its holes and the edge's blur: dark inside,
light outside, a blurred step between. Cheap masks first: light well inside the outline, darkness beside it. Only around
what they show, and where no edge was found, the prediction is made pixel by pixel. Light within the outline is an
`Opening`, however thin (blur spreads light but keeps its sum); what takes light at the rim is a `Stray`.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.backlight import BLOCK_PX
from vision.geometry import Motion
from vision.outline.registration import MAD_TO_SD
from vision.outline.scene import BacklitScene
from vision.records import Array, Opening, Stray

Mask = NDArray[np.bool_]
Pixels = NDArray[np.integer[Any] | np.floating[Any]]
Image = NDArray[np.float32]
Box = tuple[int, int, int, int]  # left, top, right, bottom; px of a window

# What departs from the prediction by less than this share of the light, or so many times its noise, is explained; so is
# what an edge that stands so far off (px) would do.
_LEAST, _NOISE_TIMES, _OFF_PX = 0.06, 6.0, 0.3
# The step's blur reaches so many standard deviations, and so many px more.
_BAND_SDS, _BAND_PX = 2.5, 1.5
# How far around a piece it is looked at, and how near a thing must come to be at the rim (mm).
_AROUND_MM, _AT_RIM_MM = 4.0, 0.3
# Light in all of an opening (px2): less is one noisy pixel. It must lie so far inside, a stray so far outside (px).
_LEAST_LIGHT_PX2, _WITHIN_PX = 0.6, 1.5
# A thing joins the metal when between both it is at least this share as dark as at its darkest.
_JOINS = 0.6
# Longer than this, and thinner for all its length, it may as well be lint (mm).
_LINT_LONG_MM, _LINT_WIDE_MM = 2.0, 0.1
# Wider than so many blurs to either side a thing shows its true darkness: below this share of the light it is no metal.
_WIDE_SDS, _METAL_DARK = 1.5, 0.85
# Noise is told on every so many rows.
_EVERY = 64
# What is larger than this (mm2) is no burr and no lint.
_MOST_MM2 = 6.0
# At most so many places are looked at, the largest.
_MOST = 40
# Shares of an outline's point at these places across it (px) show whether it is where it was put.
_ACROSS_PX = np.arange(-3.0, 3.1, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A measured outline at the nominal's points (n,): `deviation_mm`, and whether an edge was `seen` there.

    `motion` takes tray mm to the drawing; `rims_px` are the edges of drawn holes; `bright_rim_mm` (n,) says
    how far inside the outline the metal's own rim may show light; `alone`: no other piece touches it, so that what
    takes light at its rim is told.
    """

    deviation_mm: Array
    seen: Mask
    motion: Motion
    rims_px: tuple[Array, ...]
    blur_px: float
    bright_rim_mm: Array
    alone: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Unexplained:
    """What is left: openings and strays, largest first; `seen` (n,): the frame shows the outline where it was put."""

    openings: tuple[Opening, ...]
    strays: tuple[Stray, ...]
    seen: Mask


@dataclass(frozen=True, slots=True, eq=False)
class _Window:
    """The frame around one piece: `low` px of its first pixel, `pixels`, and its levels at each of them."""

    low: NDArray[np.int64]
    pixels: Pixels
    bright: Image
    dark: Image
    noise: float


def unexplained(scene: BacklitScene, shape: Shape) -> Unexplained:
    """Hold the frame around a piece against what its measured outline predicts."""
    nominal = scene.nominal
    points = nominal.points + shape.deviation_mm[:, None] * nominal.normals
    outline_px = scene.camera.to_px(shape.motion.inverse().apply(points))
    window = _window(scene, outline_px)
    seen = shape.seen | _as_predicted(scene, shape, outline_px, window)
    boxes = _places(scene, shape, outline_px, seen, window)
    openings: list[Opening] = []
    strays: list[Stray] = []
    for box in boxes:
        _explain(box, scene, shape, seen, window, (openings, strays))
    return Unexplained(
        tuple(sorted(openings, key=lambda one: -one.area_mm2)),
        tuple(sorted(strays, key=lambda one: -one.reach_mm)),
        seen,
    )


def _window(scene: BacklitScene, outline_px: Array) -> _Window:
    margin = _AROUND_MM / scene.mm_per_px
    rows, columns = scene.light.bright.shape
    low = np.maximum((outline_px.min(axis=0) - margin) // BLOCK_PX, 0).astype(np.int64)
    high = np.minimum((outline_px.max(axis=0) + margin) // BLOCK_PX + 1, (columns, rows)).astype(np.int64)
    blocks = np.s_[low[1] : high[1], low[0] : high[0]]
    first, end = low * BLOCK_PX, high * BLOCK_PX
    pixels = scene.back.pixels[first[1] : end[1], first[0] : end[0]]
    bright, dark = scene.light.bright[blocks], scene.light.dark[blocks]
    step = float(np.median(bright - dark))
    rough = pixels[::_EVERY].astype(np.float32)
    second = np.abs(rough[:, 2:] - 2 * rough[:, 1:-1] + rough[:, :-2])
    lit = rough[:, 1:-1] > 0.75 * float(np.median(bright))
    noise = MAD_TO_SD * float(np.median(second[lit])) / np.sqrt(6.0) / step if lit.any() else 0.0
    return _Window(first, pixels, bright, dark, noise)


def _tolerance(window: _Window) -> float:
    return max(_LEAST, _NOISE_TIMES * window.noise)


def _band_px(shape: Shape) -> float:
    return _BAND_SDS * shape.blur_px + _BAND_PX


def _places(scene: BacklitScene, shape: Shape, outline_px: Array, seen: Mask, window: _Window) -> list[Box]:
    """Boxes in the window that hold what is not explained at a glance, apart from each other.

    The glance is at half size: a quarter of the work, and what is thinner than a pixel still shows.
    """
    height, width = window.pixels.shape
    small = np.asarray(cv2.resize(window.pixels, (width // 2, height // 2), interpolation=cv2.INTER_AREA))
    chain = np.rint((outline_px - window.low - 0.5) / 2).astype(np.int32)
    metal = np.zeros(small.shape, np.uint8)
    cv2.fillPoly(metal, [chain], 255)
    band = int(np.ceil(_band_px(shape) / 2))
    within = cv2.erode(metal, _square(band))
    for rim in shape.rims_px:
        hole = np.rint((rim - window.low - 0.5) / 2).astype(np.int32)
        cv2.fillPoly(within, [hole], 0)
        cv2.polylines(within, [hole], True, 0, 2 * band + 1)
    tolerance = _tolerance(window)
    step = window.bright - window.dark
    light = cv2.bitwise_and(_compared(small, window.dark + tolerance * step, cv2.CMP_GT), within)
    places = [box for box, _ in _boxes(light)] if cv2.countNonZero(light) else []
    if shape.alone:
        beside = cv2.bitwise_not(cv2.dilate(metal, _square(band)))
        shade = cv2.bitwise_and(_compared(small, window.bright - tolerance * step, cv2.CMP_LT), beside)
        near = cv2.dilate(metal, _square(band + round(_AT_RIM_MM / scene.mm_per_px / 2)))
        places += _at_rim(shade, cv2.bitwise_and(shade, near), _MOST_MM2 / (2 * scene.mm_per_px) ** 2)
        places += [(x, y, x + 1, y + 1) for x, y in chain[~seen].tolist()]
    room = band + 2
    boxes = _apart(
        [(a - room, b - room, c + room, d + room) for a, b, c, d in places], (small.shape[1], small.shape[0])
    )
    return [(2 * a, 2 * b, 2 * c, 2 * d) for a, b, c, d in boxes[:_MOST]]


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
        boxes.append(((left, top, left + wide, top + high), area))
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
    for left, top, right, bottom in boxes:
        canvas[max(top, 0) : bottom, max(left, 0) : right] = 255
    while True:
        found = [box for box, _ in _boxes(canvas)] if boxes else []
        filled = sum((c - a) * (d - b) for a, b, c, d in found)
        if filled == cv2.countNonZero(canvas):
            return sorted(found, key=lambda box: -(box[2] - box[0]) * (box[3] - box[1]))
        for left, top, right, bottom in found:
            canvas[top:bottom, left:right] = 255


def _share(window: _Window, box: Box) -> Image:
    """Share of the light that each pixel of a box in the window gets."""
    left, top, right, bottom = box
    v, u = np.mgrid[top:bottom, left:right].astype(np.float32)
    x, y = (np.asarray((one - (BLOCK_PX - 1) / 2) / BLOCK_PX, np.float32) for one in (u, v))
    bright, dark = (
        cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for field in (window.bright, window.dark)
    )
    share = (window.pixels[top:bottom, left:right].astype(np.float32) - dark) / (bright - dark)
    return np.asarray(share, np.float32)


def _as_predicted(scene: BacklitScene, shape: Shape, outline_px: Array, window: _Window) -> Mask:
    """Outline points (n,) at which the frame, looked at across the outline, is as predicted.

    An edge that dust spoils is not measured for some points to either side; where nothing but the outline shows there,
    it is seen all the same.
    """
    found = np.zeros(len(outline_px), bool)
    asked = np.flatnonzero(~shape.seen)
    if not len(asked):
        return found
    ahead = np.roll(outline_px, -1, axis=0) - np.roll(outline_px, 1, axis=0)
    # Rows run down: the outward normal of a counter-clockwise walk as seen lies on its right.
    normals = np.column_stack((-ahead[:, 1], ahead[:, 0]))[asked]
    normals = normals / np.maximum(np.hypot(*normals.T), 1e-9)[:, None]
    at = outline_px[asked, None] + _ACROSS_PX[None, :, None] * normals[:, None]
    x, y = (np.ascontiguousarray(at[..., k] - window.low[k], dtype=np.float32) for k in (0, 1))
    crop = np.ascontiguousarray(window.pixels).astype(np.float32)
    values = cv2.remap(crop, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    bright, dark = scene.light.at(outline_px[asked])
    share = (values - dark[:, None]) / (bright - dark)[:, None]
    off = np.abs(share - ndtr(_ACROSS_PX / shape.blur_px)[None])
    found[asked] = (off < _allowed(_ACROSS_PX, shape.blur_px, _tolerance(window))[None]).all(axis=1)
    return found


def _allowed(distance_px: Array, blur_px: float, tolerance: float) -> Array:
    """How far a pixel at a distance from the outline may depart from the prediction."""
    slope = np.exp(-0.5 * (distance_px / blur_px) ** 2) / (np.sqrt(2 * np.pi) * blur_px)
    return np.asarray(tolerance + _OFF_PX * slope)


def _explain(
    box: Box, scene: BacklitScene, shape: Shape, seen: Mask, window: _Window, out: tuple[list[Opening], list[Stray]]
) -> None:
    """Predict one box pixel by pixel; what is left goes into `out`."""
    nominal = scene.nominal
    share = _share(window, box)
    v, u = np.mgrid[box[1] : box[3], box[0] : box[2]]
    px = np.column_stack((u.ravel(), v.ravel())).astype(np.float64) + window.low
    mm = shape.motion.apply(scene.camera.to_tray(px))
    along, off, nearest = nominal.project(mm)
    off = off - np.interp(along, np.arange(len(shape.deviation_mm)), shape.deviation_mm, period=len(nominal.points))
    distance = (off / scene.mm_per_px).reshape(share.shape)
    share[_holes(shape, window, box)] = 0.0
    left = share - ndtr(distance / shape.blur_px)
    allowed = _allowed(distance, shape.blur_px, _tolerance(window))
    bright_rim = (-off < shape.bright_rim_mm[nearest]).reshape(share.shape) & (share < 1.0)
    place = _Place(
        scene=scene,
        px=px.reshape(*share.shape, 2),
        mm=mm.reshape(*share.shape, 2),
        distance=distance,
        left=left,
        share=share,
        nearest=nearest.reshape(share.shape),
    )
    for part in _parts((left > allowed) & ~bright_rim & (distance < 0.5)):
        opening = place.opening(part)
        if opening is not None:
            out[0].append(opening)
    for part in _parts((left < -allowed) & (distance > -0.5)) if shape.alone else ():
        stray = place.stray(part, shape, seen)
        if stray is not None:
            out[1].append(stray)


def _holes(shape: Shape, window: _Window, box: Box) -> Mask:
    """Pixels of a box that a drawn hole or its edge explains."""
    inside = np.zeros((box[3] - box[1], box[2] - box[0]), np.uint8)
    for rim in shape.rims_px:
        chain = [np.rint(rim - window.low - (box[0], box[1])).astype(np.int32)]
        cv2.fillPoly(inside, chain, 255)
        cv2.polylines(inside, chain, True, 255, 2 * round(_band_px(shape)) + 1)
    return np.asarray(inside > 0)


def _parts(mask: Mask) -> list[Mask]:
    count, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    return [labels == one for one in range(1, count)]


@dataclass(frozen=True, slots=True, eq=False)
class _Place:
    """One box explained; all arrays are its rows and columns.

    `px`, `mm`: place in the frame and in the drawing; `distance`: outside the outline, px; `left`: what the prediction
    leaves of `share`, the share of the light; `nearest`: nominal point.
    """

    scene: BacklitScene
    px: Array
    mm: Array
    distance: Array
    left: Array
    share: Image
    nearest: NDArray[np.int64]

    def opening(self, part: Mask) -> Opening | None:
        """Light inside the outline, from the parts of it that depart."""
        if self.distance[part].min() > -_WITHIN_PX:
            return None
        # The blur's skirts belong to it too; inside the metal there is nothing else.
        whole = cv2.dilate(part.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
        whole &= self.distance < 0.0
        light = float(self.left[whole].clip(0.0).sum())
        if light < _LEAST_LIGHT_PX2:
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
        if nearest_px > _AT_RIM_MM / scale or farthest_px < _WITHIN_PX:
            return None
        hidden = np.unique(self.nearest[part & (self.distance < 3.0)])
        extent = int((~seen[hidden]).sum()) * nominal.step_mm
        dark = np.where(part, -self.left, 0.0)
        area = float(dark.sum()) * scale**2
        long = float(np.hypot(*np.ptp(self.px[part], axis=0))) * scale
        lint = long > _LINT_LONG_MM and area < _LINT_WIDE_MM * long
        joins = not lint and self._joins(part, shape)
        if not joins and extent == 0.0:
            return None
        reach = float(self.distance[part & (dark > 0.5 * dark.max())].max()) * scale
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
        step = np.floor(2 * self.distance[around]).astype(np.int64)
        dark = 1.0 - self.share[around]
        outside = step >= 0
        if not outside.any():
            return False
        by_step = np.zeros(int(step.max()) + 1)
        np.maximum.at(by_step, step[outside], dark[outside])
        darkest = int(by_step[2:].argmax()) + 2 if len(by_step) > 2 else len(by_step) - 1
        if by_step[: darkest + 1].min() < _JOINS * by_step[darkest]:
            return False
        half_width = float(cv2.distanceTransform(part.astype(np.uint8), cv2.DIST_L2, 3).max())
        return half_width <= _WIDE_SDS * shape.blur_px + 1.0 or bool(by_step[darkest] > _METAL_DARK)
