"""Open curves over an image: (n, 2) of column, row."""

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.raster import Image

Curve = NDArray[np.float64]

# Length over which a scratch is a parabola (px).
_SMOOTH_PX = 25


def resample(curve: Curve, step: float) -> Curve:
    """Points at even steps along an open curve, both ends kept."""
    gaps = np.hypot(*np.diff(curve, axis=0).T)
    s = np.concatenate(([0.0], np.cumsum(gaps)))
    count = max(2, round(s[-1] / step) + 1)
    at = np.linspace(0.0, s[-1], count)
    return np.column_stack((np.interp(at, s, curve[:, 0]), np.interp(at, s, curve[:, 1])))


def smooth(curve: Curve) -> Curve:
    """Local parabolas along an evenly spaced curve, the ends kept (Savitzky & Golay 1964, 10.1021/ac60214a047)."""
    window = min(_SMOOTH_PX, len(curve) - 1 + len(curve) % 2)
    if window < 5:
        return curve
    inside, ends = _parabolas(window)
    half = window // 2
    out = cv2.filter2D(curve, -1, inside, borderType=cv2.BORDER_REPLICATE)
    out[:half], out[-half:] = ends[0] @ curve[:window], ends[1] @ curve[-window:]
    return np.asarray(out)


@lru_cache(maxsize=32)
def _parabolas(window: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What the parabola through so many even points reads at its middle, (window, 1), and at its first and last halves,
    (2, half, window).
    """
    half = window // 2
    at = np.arange(-half, half + 1.0)
    powers = np.vander(at, 3)
    reads = powers @ np.linalg.pinv(powers)
    return np.ascontiguousarray(reads[half][:, None]), np.stack((reads[:half], reads[half + 1 :]))


def normals(curve: Curve) -> Curve:
    """Unit normals of an open curve, (n, 2)."""
    t = tangents(curve)
    t /= np.maximum(np.hypot(t[:, 0], t[:, 1]), 1e-9)[:, None]
    return np.column_stack((-t[:, 1], t[:, 0]))


def tangents(curve: Curve) -> Curve:
    """Twice the central differences, one-sided at the ends, (n, 2)."""
    t = np.empty_like(curve)
    t[1:-1] = curve[2:] - curve[:-2]
    t[0], t[-1] = 2 * (curve[1] - curve[0]), 2 * (curve[-1] - curve[-2])
    return t


def strip(image: Image, curve: Curve, across: NDArray[np.float64]) -> Image:
    """Values of an image beside a curve: (n, len(across)), bilinear."""
    normal = normals(curve)
    x = (curve[:, :1] + normal[:, :1] * across).astype(np.float32)
    y = (curve[:, 1:] + normal[:, 1:] * across).astype(np.float32)
    values = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(values, np.float32)


@lru_cache(maxsize=64)
def line_profile(half: int, shift: int, sigma: float) -> NDArray[np.float64]:
    """Cross profile of a line over -half .. half px, no mean, unit norm: minus a Gaussian's second derivative."""
    across = np.arange(-half, half + 1.0) - shift
    g = (1 - (across / sigma) ** 2) * np.exp(-0.5 * (across / sigma) ** 2)
    g -= g.mean()
    return np.asarray(g / np.sqrt((g**2).sum()))


@lru_cache(maxsize=8)
def step_profile(half: int, sigma: float) -> NDArray[np.float64]:
    """The cross profile of an edge between two levels, unit norm: a Gaussian's first derivative."""
    across = np.arange(-half, half + 1.0)
    g = across * np.exp(-0.5 * (across / (1.5 * sigma)) ** 2)
    return np.asarray(g / np.sqrt((g**2).sum()))
