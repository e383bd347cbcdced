"""The finish of a good face: buffing lines, orange peel, and what lies on it without being a defect.

Fields are made on the frame's pixels around one piece, from white noise shaped in the frequency domain, so that their
slopes and lengths are what the finish says.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import fft
from scipy.special import expit

from synthetic_images.faces.grid import Grid
from synthetic_images.faces.reflect import Facets
from synthetic_images.faces.surface import Slopes
from synthetic_images.outlines.coverage import Float32
from synthetic_images.spoons import Array

# Buffing lines: their correlation length along and across (mm, standard deviations); own choice by eye.
_LINE_ALONG_MM, _LINE_ACROSS_MM = 14.0, 0.035
# Strong lines: streaks deepen smoothly beyond so many standard deviations, in the end by this factor.
_STRONG_FROM, _STRONG_GAIN = 2.0, 1.8
# A streak changes the roughness no further than one of so many standard deviations does.
_ROUGH_LIMIT = 2.5
# How far a streak changes the roughness, as the standard deviation of ln alpha at `lines` = 1.
_STREAK_LN_ALPHA = 0.18
# The second set of lines of a cross-buffed face lies at this angle to the first.
_CROSS_DEG = 35.0


@dataclass(frozen=True, slots=True)
class Finish:
    """How a face was buffed.

    `alpha` is the mirror lobe's GGX roughness and `haze` the share of the wide lobe; `lines` (0 to 1) and `slope` (rms)
    tell the buffing lines, `direction_deg` their direction on the drawing, `cross` a second set; `peel_slope` (rms)
    and `peel_mm` (correlation length) the orange peel.
    """

    alpha: float = 0.065
    haze: float = 0.01
    lines: float = 0.4
    slope: float = 0.008
    direction_deg: float = 0.0
    cross: bool = False
    peel_slope: float = 0.002
    peel_mm: float = 0.55
    strong_lines: bool = False
    orange_peel: bool = False


@dataclass(frozen=True, slots=True)
class Disturber:
    """Something on the face that is no defect, at a place of the drawing.

    A `smear` is a finger's mark: ridges `period_mm` apart inside an ellipse `size_mm`, turned by `turn_deg`. A `drop`
    is the ring that dried water leaves. `dust` is a grain that scatters evenly. `amount` is the haze, or for dust the
    share of light, that it adds.
    """

    kind: Literal["smear", "drop", "dust"]
    at_mm: tuple[float, float]
    amount: float
    size_mm: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    period_mm: float = 0.0
    radius_mm: float = 0.0
    ring_mm: float = 0.0
    diameter_mm: float = 0.0


def random_finish(rng: np.random.Generator) -> Finish:
    """Draw a finish from mirror-like to strongly lined; ranges are our own choice."""
    strong, peel = bool(rng.random() < 0.3), bool(rng.random() < 0.4)
    return Finish(
        alpha=float(rng.uniform(0.055, 0.08)),
        haze=float(rng.uniform(0.007, 0.017)),
        lines=float(rng.uniform(0.7, 1.0) if strong else rng.uniform(0.2, 0.5)),
        slope=float(rng.uniform(0.015, 0.024) if strong else rng.uniform(0.003, 0.008)),
        direction_deg=float(rng.normal(0.0, 4.0)),
        cross=strong and bool(rng.random() < 0.4),
        peel_slope=float(rng.uniform(0.008, 0.015) if peel else rng.uniform(0.001, 0.003)),
        peel_mm=float(rng.uniform(0.44, 0.69)),
        strong_lines=strong,
        orange_peel=peel,
    )


def _shaped(noise: Float32, gain: Array) -> Float32:
    """White noise through a real, even filter, scaled to unit variance."""
    made = fft.irfft2(fft.rfft2(noise) * gain, s=noise.shape)
    return np.asarray(made / made.std(), dtype=np.float32)


def _frequencies(shape: tuple[int, int], mm_per_px: float) -> tuple[Array, Array]:
    """Angular frequencies (1/mm) along the tray's X and Y of a real transform; Y runs against the rows."""
    down = 2.0 * np.pi * fft.fftfreq(shape[0], mm_per_px)[:, None]
    right = 2.0 * np.pi * fft.rfftfreq(shape[1], mm_per_px)[None, :]
    return right, -down


def streaks(shape: tuple[int, int], mm_per_px: float, along_rad: float, rng: np.random.Generator) -> Float32:
    """A field of unit variance, long along one direction of the tray and fine across it."""
    size = (fft.next_fast_len(shape[0], real=True), fft.next_fast_len(shape[1], real=True))
    right, up = _frequencies(size, mm_per_px)
    along = right * np.cos(along_rad) + up * np.sin(along_rad)
    across = -right * np.sin(along_rad) + up * np.cos(along_rad)
    gain = np.exp(-0.5 * ((along * _LINE_ALONG_MM) ** 2 + (across * _LINE_ACROSS_MM) ** 2))
    return _shaped(rng.standard_normal(size, dtype=np.float32), gain)[: shape[0], : shape[1]]


def peel(shape: tuple[int, int], mm_per_px: float, length_mm: float, rng: np.random.Generator) -> Slopes:
    """Slopes of unit rms (both directions together) of a bumpy surface of correlation length `length_mm`."""
    size = (fft.next_fast_len(shape[0], real=True), fft.next_fast_len(shape[1], real=True))
    right, up = _frequencies(size, mm_per_px)
    spectrum = fft.rfft2(rng.standard_normal(size, dtype=np.float32))
    spectrum *= np.exp(-0.25 * length_mm**2 * (right**2 + up**2))
    x = fft.irfft2(1j * right * spectrum, s=size)
    y = fft.irfft2(1j * up * spectrum, s=size)
    rms = np.sqrt(np.mean(x**2) + np.mean(y**2))
    return Slopes(
        np.asarray(x / rms, dtype=np.float32)[: shape[0], : shape[1]],
        np.asarray(y / rms, dtype=np.float32)[: shape[0], : shape[1]],
    )


def micro_surface(
    finish: Finish, shape: tuple[int, int], mm_per_px: float, turn_rad: float, rng: np.random.Generator
) -> tuple[Slopes, Facets]:
    """The finish on a box of pixels: slopes to add to the form's, and the facets' roughness, both (rows, columns).

    `turn_rad` is the piece's turn on the tray.
    """
    along = turn_rad + np.deg2rad(finish.direction_deg)
    lines = streaks(shape, mm_per_px, along, rng)
    if finish.strong_lines:
        lines = lines * (1.0 + np.float32(_STRONG_GAIN - 1.0) * expit(4.0 * (np.abs(lines) - _STRONG_FROM)))
    bumps = peel(shape, mm_per_px, finish.peel_mm, rng)
    x = finish.peel_slope * bumps.x - np.float32(finish.slope * np.sin(along)) * lines
    y = finish.peel_slope * bumps.y + np.float32(finish.slope * np.cos(along)) * lines
    rough = lines
    if finish.cross:
        turned = along + np.deg2rad(_CROSS_DEG)
        second = streaks(shape, mm_per_px, turned, rng)
        x -= np.float32(0.5 * finish.slope * np.sin(turned)) * second
        y += np.float32(0.5 * finish.slope * np.cos(turned)) * second
        rough = np.float32(0.8) * lines + np.float32(0.6) * second
    alpha = np.float32(finish.alpha) * np.exp(
        np.float32(_STREAK_LN_ALPHA * finish.lines) * np.clip(rough, -_ROUGH_LIMIT, _ROUGH_LIMIT)
    )
    facets = Facets(alpha, alpha * np.float32(1.0 + 0.4 * finish.lines), (float(np.cos(along)), float(np.sin(along))))
    return Slopes(np.asarray(x, np.float32), np.asarray(y, np.float32)), facets


def disturbance(disturbers: tuple[Disturber, ...], grid: Grid) -> tuple[Float32, Float32]:
    """Haze, and the share of light scattered evenly, that disturbers add on a box of pixels (rows, columns)."""
    haze, grains = np.zeros(grid.shape, np.float32), np.zeros(grid.shape, np.float32)
    for thing in disturbers:
        reach = max(*thing.size_mm, thing.radius_mm + 2.0 * thing.ring_mm, thing.diameter_mm + 2.0 * grid.mm_per_px)
        window = grid.window(np.array([thing.at_mm]), reach)
        x, y = grid.drawing_mm(window)
        dx, dy = x - np.float32(thing.at_mm[0]), y - np.float32(thing.at_mm[1])
        distance = np.hypot(dx, dy)
        if thing.kind == "dust":
            # As small as a pixel: a Gaussian spot of the grain's area, however it lies between pixel centres.
            spread = np.hypot(0.25 * thing.diameter_mm, 0.4 * grid.mm_per_px)
            peak = thing.amount * thing.diameter_mm**2 / (8.0 * spread**2)
            grains[window] += peak * np.exp(-0.5 * (distance / spread) ** 2)
        elif thing.kind == "drop":
            haze[window] += thing.amount * np.exp(-0.5 * ((distance - thing.radius_mm) / (0.5 * thing.ring_mm)) ** 2)
        else:
            cos, sin = np.cos(np.deg2rad(thing.turn_deg)), np.sin(np.deg2rad(thing.turn_deg))
            along, across = cos * dx + sin * dy, cos * dy - sin * dx
            inside = np.exp(-4.0 * ((along / thing.size_mm[0]) ** 2 + (across / thing.size_mm[1]) ** 2))
            # A finger's ridges curve: rings about a point one mark's length away.
            ridge = np.hypot(along + thing.size_mm[0], across)
            haze[window] += thing.amount * inside * (0.5 + 0.5 * np.cos(2.0 * np.pi * ridge / thing.period_mm))
    return haze, grains


def random_disturbers(length_mm: float, half_mm: float, rng: np.random.Generator) -> tuple[Disturber, ...]:
    """Draw smears, drops and dust for a bowl `length_mm` long and `half_mm` from its axis to its side; often none."""

    def spot() -> tuple[float, float]:
        return float(rng.uniform(0.12, 0.85) * length_mm), float(rng.uniform(-0.75, 0.75) * half_mm)

    made: list[Disturber] = []
    if rng.random() < 0.25:
        size = (float(rng.uniform(5.0, 8.0)), float(rng.uniform(5.0, 8.0)))
        turn, period = float(rng.uniform(0.0, 180.0)), float(rng.uniform(0.45, 0.6))
        made.append(Disturber("smear", spot(), float(rng.uniform(0.006, 0.015)), size, turn, period))
    if rng.random() < 0.25:
        radius, ring = float(rng.uniform(1.5, 3.5)), float(rng.uniform(0.2, 0.3))
        made.append(Disturber("drop", spot(), float(rng.uniform(0.008, 0.02)), radius_mm=radius, ring_mm=ring))
    if rng.random() < 0.5:
        for _ in range(int(rng.integers(3, 12))):
            size_mm = float(rng.uniform(0.04, 0.095))
            made.append(Disturber("dust", spot(), float(rng.uniform(0.2, 0.6)), diameter_mm=size_mm))
    return tuple(made)
