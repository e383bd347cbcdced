"""What the backlit frame should show around a piece: dark within its outline, light outside, a blurred step."""

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
from vision.records import Array

Mask = NDArray[np.bool_]
Pixels = NDArray[np.integer[Any] | np.floating[Any]]
Image = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class PredictionSettings:
    """What of the backlit frame counts as explained."""

    # What departs from the prediction by less than this share of the light ...
    least: float = 0.06
    # ... or so many times its noise, is explained ...
    noise_times: float = 6.0
    # ... so is what an edge that stands so far off (px) would do.
    off_px: float = 0.3
    # The step's blur reaches so many standard deviations ...
    band_sds: float = 2.5
    # ... and so many px more.
    band_px: float = 1.5
    # How far around a piece it is looked at (mm).
    around_mm: float = 4.0
    # Noise is told on every so many rows: it is the same on all.
    every: int = 64
    # ... and where a pixel is brighter than this share of the light: metal and edges are not, shades are.
    lit: float = 0.75
    # Shares of the light at places across the outline, so far to either side (px) and a px apart, show whether it is
    # where it was put: all of its blurred step.
    across_px: int = 3


PREDICTION = PredictionSettings()
_ACROSS_PX = np.arange(-PREDICTION.across_px, PREDICTION.across_px + 1, dtype=np.float64)


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
class Window:
    """The frame around one piece: px of its first pixel, its pixels, both levels by blocks; noise, share of light."""

    low: NDArray[np.int64]
    pixels: Pixels
    bright: Image
    dark: Image
    noise: float


@dataclass(frozen=True, slots=True)
class Box:
    """A part of a window, px: from `left` and `top` to `right` and `bottom`, these two not in it."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def area_px(self) -> int:
        """How many pixels it holds."""
        return (self.right - self.left) * (self.bottom - self.top)

    def with_room(self, px: int) -> "Box":
        """The box with so much around it."""
        return Box(self.left - px, self.top - px, self.right + px, self.bottom + px)

    def times(self, factor: int) -> "Box":
        """The box in a window of so many times the size."""
        return Box(factor * self.left, factor * self.top, factor * self.right, factor * self.bottom)


def window_around(scene: BacklitScene, outline_px: Array) -> Window:
    """The frame around an outline (n, 2) px."""
    margin = PREDICTION.around_mm / scene.mm_per_px
    rows, columns = scene.light.bright.shape
    low = np.maximum((outline_px.min(axis=0) - margin) // BLOCK_PX, 0).astype(np.int64)
    high = np.minimum((outline_px.max(axis=0) + margin) // BLOCK_PX + 1, (columns, rows)).astype(np.int64)
    blocks = np.s_[low[1] : high[1], low[0] : high[0]]
    first, end = low * BLOCK_PX, high * BLOCK_PX
    pixels = scene.back.pixels[first[1] : end[1], first[0] : end[0]]
    bright, dark = scene.light.bright[blocks], scene.light.dark[blocks]
    step = float(np.median(bright - dark))
    rough = pixels[:: PREDICTION.every].astype(np.float32)
    second = np.abs(rough[:, 2:] - 2 * rough[:, 1:-1] + rough[:, :-2])
    lit = rough[:, 1:-1] > PREDICTION.lit * float(np.median(bright))
    noise = MAD_TO_SD * float(np.median(second[lit])) / np.sqrt(6.0) / step if lit.any() else 0.0
    return Window(first, pixels, bright, dark, noise)


def tolerance(window: Window) -> float:
    """What share of the light may depart from the prediction on even ground."""
    return max(PREDICTION.least, PREDICTION.noise_times * window.noise)


def band_px(shape: Shape) -> float:
    """How far from the outline its blurred step reaches."""
    return PREDICTION.band_sds * shape.blur_px + PREDICTION.band_px


def allowed_at(distance_px: Array, blur_px: float, least: float) -> Array:
    """How far a pixel at a distance from the outline may depart from the prediction."""
    slope = np.exp(-0.5 * (distance_px / blur_px) ** 2) / (np.sqrt(2 * np.pi) * blur_px)
    return np.asarray(least + PREDICTION.off_px * slope)


def share_of_light(window: Window, box: Box) -> Image:
    """Share of the light that each pixel of a box in the window gets."""
    v, u = np.mgrid[box.top : box.bottom, box.left : box.right].astype(np.float32)
    x, y = (np.asarray((one - (BLOCK_PX - 1) / 2) / BLOCK_PX, np.float32) for one in (u, v))
    bright, dark = (
        cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for field in (window.bright, window.dark)
    )
    share = (window.pixels[box.top : box.bottom, box.left : box.right].astype(np.float32) - dark) / (bright - dark)
    return np.asarray(share, np.float32)


def in_drawn_holes(shape: Shape, window: Window, box: Box) -> Mask:
    """Pixels of a box that a drawn hole or its edge explains."""
    inside = np.zeros((box.bottom - box.top, box.right - box.left), np.uint8)
    for rim in shape.rims_px:
        chain = [np.rint(rim - window.low - (box.left, box.top)).astype(np.int32)]
        cv2.fillPoly(inside, chain, 255)
        cv2.polylines(inside, chain, True, 255, 2 * round(band_px(shape)) + 1)
    return np.asarray(inside > 0)


def as_predicted(scene: BacklitScene, shape: Shape, outline_px: Array, window: Window) -> Mask:
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
    found[asked] = (off < allowed_at(_ACROSS_PX, shape.blur_px, tolerance(window))[None]).all(axis=1)
    return found
