"""Textures of a polished bowl for `path_traced`: slopes of the finish and of its marks, haze and dust, on the drawing.

Everything is drawn on a sheet of texels laid over the bowl, row 0 at the highest y. Slopes are dz/dx and dz/dy.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from synthetic_images.faces.finish import Disturber, Finish
from synthetic_images.faces.marks import Crater, Groove
from synthetic_images.spoons import Array

TEXEL_MM = 0.02
GROOVE_ALPHA, PIT_ALPHA = 0.12, 0.25
# Standard deviation of the slope across a groove, and the slope of a pit's wall at its rim.
GROOVE_SLOPE, PIT_SLOPE = 0.45, 0.6
_LINE_BUNDLES, _LINE_LENGTH_MM, _LINE_WIDTH_MM, _LINE_SPREAD_DEG = 5, 12.0, 0.05, 1.5
# Cycles a mm: slower waves across the lines would be a waviness of the bowl, not lines.
_SLOWEST_LINES = 0.3
_HAIRLINES = 260
# A second set of lines crosses the first at this angle, weaker.
_CROSS_DEG, _CROSS_SHARE = 75.0, 0.6
_MARGIN_MM = 0.3
# OpenCV draws lines between sixteenths of a texel.
_SUBTEXEL_BITS = 4


@dataclass(frozen=True)
class Sheet:
    """Texels over a bowl from x = 0 to its length, and to half its width either side of the axis."""

    length_mm: float
    half_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return int(2 * self.half_mm / TEXEL_MM), int(self.length_mm / TEXEL_MM)

    def window(self, points_mm: Array, reach_mm: float) -> tuple[slice, slice]:
        """Rows and columns that hold all within reach of the points."""
        (low_x, low_y), (high_x, high_y) = points_mm.min(axis=0) - reach_mm, points_mm.max(axis=0) + reach_mm
        rows, columns = self.shape
        top, bottom = int((self.half_mm - high_y) / TEXEL_MM), int((self.half_mm - low_y) / TEXEL_MM) + 1
        left, right = int(low_x / TEXEL_MM), int(high_x / TEXEL_MM) + 1
        return slice(max(top, 0), min(bottom, rows)), slice(max(left, 0), min(right, columns))

    def places_mm(self, window: tuple[slice, slice] = (slice(None), slice(None))) -> Array:
        """Places (rows, columns, 2) of the texels' centres on the drawing."""
        rows, columns = (np.arange(count)[part] for count, part in zip(self.shape, window, strict=True))
        x, y = (columns + 0.5) * TEXEL_MM, self.half_mm - (rows + 0.5) * TEXEL_MM
        return np.stack(np.meshgrid(x, y), axis=-1)


@dataclass(frozen=True)
class MarkLayer:
    """Share of each texel that marks take, their slopes (rows, columns, 2) and their roughness there."""

    share: Array
    slope: Array
    alpha: Array


@dataclass(frozen=True)
class Textures:
    """All that varies over a bowl: the finish's slopes (rows, columns, 2), its marks, the wide lobe's share, dust."""

    slope: Array
    marks: MarkLayer
    haze: Array
    dust: Array


def textures(
    sheet: Sheet,
    finish: Finish,
    marks: tuple[Sequence[Groove], Sequence[Crater]],
    disturbers: Sequence[Disturber],
    rng: np.random.Generator,
) -> Textures:
    """Draw a bowl's textures; the same generator gives the same finish whatever the marks' strengths."""
    slope = buffing_slope(sheet, finish, rng) + peel_slope(sheet, finish, rng)
    layer = MarkLayer(np.zeros(sheet.shape), np.zeros((*sheet.shape, 2)), np.full(sheet.shape, GROOVE_ALPHA))
    for groove in marks[0]:
        add_groove(layer, sheet, groove, rng)
    for crater in marks[1]:
        add_crater(layer, sheet, crater)
    return Textures(slope, layer, haze(sheet, finish.haze, disturbers), dust(sheet, disturbers))


def buffing_slope(sheet: Sheet, finish: Finish, rng: np.random.Generator) -> Array:
    """Slopes of the buffing lines and of single hairlines among them, across their direction."""
    slope = np.zeros((*sheet.shape, 2))
    sets = [(finish.direction_deg, 1.0)]
    if finish.cross:
        sets.append((finish.direction_deg + _CROSS_DEG, _CROSS_SHARE))
    for direction_deg, share in sets:
        lines = line_field(sheet.shape, direction_deg, rng)
        lines *= np.exp(0.25 * wavy_noise(sheet.shape, 4.0, 12.0, rng)) * finish.slope * share
        lines += hairlines(sheet, finish, direction_deg, rng)
        angle = math.radians(direction_deg)
        slope += lines[..., None] * (-math.sin(angle), math.cos(angle))
    return slope


def peel_slope(sheet: Sheet, finish: Finish, rng: np.random.Generator) -> Array:
    """Slopes of the orange peel."""
    height = wavy_noise(sheet.shape, 0.8 * finish.peel_mm, 1.25 * finish.peel_mm, rng)
    down, right = np.gradient(height, TEXEL_MM)
    return np.stack((right, -down), axis=-1) * (finish.peel_slope / np.std(right))


def wavy_noise(shape: tuple[int, int], low_mm: float, high_mm: float, rng: np.random.Generator) -> Array:
    """Noise alike in all directions about wave lengths from low to high, of unit deviation."""
    along_y, along_x = _frequencies(shape)
    octaves = np.log(np.maximum(np.hypot(along_x, along_y), 1e-6) * math.sqrt(low_mm * high_mm))
    return _unit(np.fft.irfft2(_white(shape, rng) * np.exp(-0.5 * (octaves / 0.35) ** 2), shape))


def line_field(shape: tuple[int, int], direction_deg: float, rng: np.random.Generator) -> Array:
    """Slope across bundles of fine lines near one direction, of unit deviation: long along it, narrow across."""
    along_y, along_x = _frequencies(shape)
    white = _white(shape, rng)
    total = np.zeros(shape)
    for _ in range(_LINE_BUNDLES):
        # Rows run downwards, against the drawing's y.
        angle = math.radians(rng.normal(0.0, _LINE_SPREAD_DEG) - direction_deg)
        along = along_x * math.cos(angle) + along_y * math.sin(angle)
        across = along_y * math.cos(angle) - along_x * math.sin(angle)
        band = np.exp(-0.5 * ((along * _LINE_LENGTH_MM) ** 2 + (across * _LINE_WIDTH_MM) ** 2))
        band *= np.abs(across) > _SLOWEST_LINES
        phases = np.exp(2j * np.pi * rng.uniform(0.0, 1.0, white.shape))
        total += _unit(np.fft.irfft2(white * band * phases, shape))
    return _unit(total)


def hairlines(sheet: Sheet, finish: Finish, direction_deg: float, rng: np.random.Generator) -> Array:
    """Slope across single lines one texel wide, softened."""
    layer = np.zeros(sheet.shape, np.float32)
    for _ in range(int(finish.lines * _HAIRLINES)):
        start = np.array((rng.uniform(-5.0, sheet.length_mm), rng.uniform(-sheet.half_mm, sheet.half_mm)))
        length, angle = rng.uniform(4.0, 30.0), math.radians(direction_deg + rng.normal(0.0, 2.0))
        ends = np.array((start, start + length * np.array((math.cos(angle), math.sin(angle)))))
        texels = (ends * (1, -1) + (0, sheet.half_mm)) / TEXEL_MM * 2**_SUBTEXEL_BITS
        (x0, y0), (x1, y1) = texels.astype(int).tolist()
        slope = float(rng.normal(0.0, 1.0) * finish.slope * 1.2)
        cv2.line(layer, (x0, y0), (x1, y1), slope, 1, cv2.LINE_8, _SUBTEXEL_BITS)
    return cv2.GaussianBlur(layer, (0, 0), 0.6)


def add_groove(layer: MarkLayer, sheet: Sheet, groove: Groove, rng: np.random.Generator) -> None:
    """Draw a scratch into the layer: facets of random slopes across its course."""
    window = sheet.window(groove.points_mm, _MARGIN_MM)
    places = sheet.places_mm(window)
    nearest = np.full(places.shape[:2], np.inf)
    course = np.zeros(places.shape)
    for start, step in zip(groove.points_mm[:-1], np.diff(groove.points_mm, axis=0), strict=True):
        share = np.clip((places - start) @ step / (step @ step), 0.0, 1.0)
        away = _length(places - start - share[..., None] * step)
        nearer = away < nearest
        nearest[nearer] = away[nearer]
        course[nearer] = step / np.hypot(*step)
    facets = rng.normal(0.0, GROOVE_SLOPE, nearest.shape)[..., None]
    slope = facets * np.stack((-course[..., 1], course[..., 0]), axis=-1)
    _lay(layer, window, _cover(0.5 * groove.width_mm - nearest) * groove.strength, slope, GROOVE_ALPHA)


def add_crater(layer: MarkLayer, sheet: Sheet, crater: Crater) -> None:
    """Draw a pit into the layer: a bowl-shaped wall."""
    radius = 0.5 * crater.diameter_mm
    window = sheet.window(np.array([crater.center_mm]), radius + _MARGIN_MM)
    away = sheet.places_mm(window) - crater.center_mm
    _lay(layer, window, _cover(radius - _length(away)) * crater.strength, PIT_SLOPE * away / radius, PIT_ALPHA)


def haze(sheet: Sheet, finish_haze: float, disturbers: Sequence[Disturber]) -> Array:
    """Share of the wide lobe: the finish's own, more in rings of dried drops and in smears."""
    share = np.full(sheet.shape, finish_haze)
    places = sheet.places_mm()
    for thing in disturbers:
        away = places - thing.at_mm
        if thing.kind == "drop":
            share += thing.amount * np.exp(-0.5 * ((_length(away) - thing.radius_mm) / thing.ring_mm) ** 2)
        elif thing.kind == "smear":
            angle = math.radians(thing.turn_deg)
            ridges = np.sin(2.0 * np.pi * (away @ (math.cos(angle), math.sin(angle))) / thing.period_mm)
            share += thing.amount * np.exp(-4.0 * np.sum((away / thing.size_mm) ** 2, axis=-1)) * (1.0 + 0.6 * ridges)
    return np.maximum(share, 0.0)


def dust(sheet: Sheet, disturbers: Sequence[Disturber]) -> Array:
    """Share of each texel that grains of dust cover."""
    share = np.zeros(sheet.shape)
    for thing in disturbers:
        if thing.kind == "dust":
            window = sheet.window(np.array([thing.at_mm]), 0.5 * thing.diameter_mm + _MARGIN_MM)
            away = _length(sheet.places_mm(window) - thing.at_mm)
            share[window] = np.maximum(share[window], _cover(0.5 * thing.diameter_mm - away) * thing.amount)
    return share


def _lay(layer: MarkLayer, window: tuple[slice, slice], share: Array, slope: Array, alpha: float) -> None:
    own = share > 0
    layer.share[window][own] = share[own]
    layer.slope[window][own] = slope[own]
    layer.alpha[window][own] = alpha


def _cover(inside_mm: Array) -> Array:
    """Share of a texel within an edge, by how far its centre lies inside."""
    return np.clip(inside_mm / TEXEL_MM + 0.5, 0.0, 1.0)


def _length(vectors: Array) -> Array:
    return np.hypot(vectors[..., 0], vectors[..., 1])


def _white(shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    return np.fft.rfft2(rng.standard_normal(shape).astype(np.float32))


def _frequencies(shape: tuple[int, int]) -> tuple[Array, Array]:
    """Cycles a mm down the rows (n, 1) and along them (1, m), as `rfft2` lays them out."""
    return np.fft.fftfreq(shape[0], TEXEL_MM)[:, None], np.fft.rfftfreq(shape[1], TEXEL_MM)[None]


def _unit(values: Array) -> Array:
    return values / np.std(values)
