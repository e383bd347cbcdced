"""From silhouettes to light on the sensor: uneven backlight, and a lens with a Gaussian point spread."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from synthetic_images.outlines.coverage import Float32, coverage
from synthetic_images.spoons import Array

# Silhouettes are drawn at twice the resolution and blurred there: at a point spread of 0.7 px edges then lie within
# 0.0015 px of their place, wherever in its pixel the edge falls; a blur on whole pixels moves them by up to 0.013 px
# (see the tests).
OVERSAMPLE = 2
# Beyond 5 sigma a Gaussian holds 6e-7 of its weight, less than one count in 16 bits.
REACH_SIGMA = 5.0


@dataclass(frozen=True, slots=True)
class Backlight:
    """Light of the panel as shares of the sensor's full well.

    `lit` at the frame's middle; `vignette` the share lost in its corners, by the cos^4 law; `slope` the change of
    the panel itself from the middle to the right and to the lower border; `dark` what reaches the sensor behind a
    piece (glare); `half_angle_deg` under which a piece's rim sees the panel, from straight below (0: collimated).
    """

    lit: float = 0.86
    vignette: float = 0.06
    slope: tuple[float, float] = (0.015, -0.01)
    dark: float = 0.03
    half_angle_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Tails:
    """What a lens's point spread has beside its Gaussian.

    `flare`: share of the light that is scattered, falling off as exp(-distance / `flare_px`); `coma_px`: a one-sided
    exponential tail of this length towards `coma_deg` in the image (from u to v), its mean taken back.
    """

    flare: float = 0.0
    flare_px: float = 10.0
    coma_px: float = 0.0
    coma_deg: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """Something that keeps light off: closed rings in px (the first outside, others holes) and the share it takes."""

    rings_px: tuple[Array, ...]
    opacity: float = 1.0


def light_field(light: Backlight, size_px: tuple[int, int]) -> Float32:
    """Light that falls on each pixel where nothing is in the way, (height, width), as a share of the full well.

    Vignetting after the cos^4 law of natural fall-off, cos^4 = 1 / (1 + tan^2)^2 (textbook optics, from memory).
    """
    width, height = size_px
    u = (np.arange(width, dtype=np.float32) - 0.5 * (width - 1)) / (0.5 * width)
    v = (np.arange(height, dtype=np.float32) - 0.5 * (height - 1)) / (0.5 * height)
    corner_tan2 = 1.0 / np.sqrt(1.0 - light.vignette) - 1.0
    aspect = np.array([width**2, height**2], dtype=float) / (width**2 + height**2)
    falling = 1.0 + corner_tan2 * (aspect[0] * u[None, :] ** 2 + aspect[1] * v[:, None] ** 2)
    panel = 1.0 + light.slope[0] * u[None, :] + light.slope[1] * v[:, None]
    return np.asarray(light.lit * panel / falling**2, dtype=np.float32)


def blurred(picture: Float32, sigma_px: float) -> Float32:
    """The picture through a lens whose point spread is a Gaussian of `sigma_px`; the border's values go on outside."""
    if sigma_px <= 0.0:
        return picture
    side = 2 * int(np.ceil(REACH_SIGMA * sigma_px)) + 1
    return np.asarray(
        cv2.GaussianBlur(picture, (side, side), sigma_px, borderType=cv2.BORDER_REPLICATE), dtype=np.float32
    )


def tailed(light: Float32, tails: Tails) -> Float32:
    """Light on the sensor with the lens's tails; the border's values go on outside."""
    if tails.flare <= 0.0 and tails.coma_px <= 0.0:
        return light
    rows, columns = light.shape
    reach = int(np.ceil(8.0 * max(tails.flare_px if tails.flare else 0.0, tails.coma_px)))
    wide = cv2.copyMakeBorder(light, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    v = 2.0 * np.pi * np.fft.fftfreq(wide.shape[0])[:, None]
    u = 2.0 * np.pi * np.fft.rfftfreq(wide.shape[1])[None, :]
    # Fourier transforms in closed form: of exp(-r/a) / (2 pi a^2) in the plane, and of exp(-x/c) / c on one side.
    passed = 1.0 - tails.flare + tails.flare / (1.0 + (u**2 + v**2) * tails.flare_px**2) ** 1.5
    turn = np.deg2rad(tails.coma_deg)
    phase = tails.coma_px * (u * np.cos(turn) + v * np.sin(turn))
    spread = np.fft.rfft2(wide) * passed * np.exp(1j * phase) / (1.0 + 1j * phase)
    seen = np.fft.irfft2(spread, wide.shape)[reach : reach + rows, reach : reach + columns]
    return np.asarray(seen, dtype=np.float32)


def shadow(silhouettes: Sequence[Silhouette], size_px: tuple[int, int], psf_px: float) -> Float32:
    """Share of light (height, width) that silhouettes take from each pixel, blur included.

    Their shares add up: silhouettes must not overlap one another (make one of those that do), but where layers of one
    thing lie in one another.
    """
    width, height = size_px
    taken = np.zeros((height, width), dtype=np.float32)
    margin = int(np.ceil(REACH_SIGMA * psf_px)) + 2
    for silhouette in silhouettes:
        outer = silhouette.rings_px[0]
        left, top = (int(k) for k in np.floor(outer.min(axis=0)) - margin)
        right, bottom = (int(k) for k in np.ceil(outer.max(axis=0)) + margin + 1)
        box = (right - left, bottom - top)
        rows, columns = slice(max(top, 0), min(bottom, height)), slice(max(left, 0), min(right, width))
        if rows.start >= rows.stop or columns.start >= columns.stop:
            continue
        fine = [(ring - (left, top) + 0.5) * OVERSAMPLE - 0.5 for ring in silhouette.rings_px]
        covered = coverage(fine, (box[0] * OVERSAMPLE, box[1] * OVERSAMPLE))
        covered = blurred(covered, psf_px * OVERSAMPLE)
        covered = np.asarray(cv2.resize(covered, box, interpolation=cv2.INTER_AREA), dtype=np.float32)
        seen = covered[rows.start - top : rows.stop - top, columns.start - left : columns.stop - left]
        taken[rows, columns] += np.float32(silhouette.opacity) * seen
    return taken


def backlit(field: Float32, taken: Float32, dark: float) -> Float32:
    """Light on the sensor, as a share of the full well: the field where nothing is taken, `dark` where all is."""
    return np.asarray(field + taken * (np.float32(dark) - field), dtype=np.float32)
