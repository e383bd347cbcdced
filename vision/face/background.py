"""The slow change of brightness over a face, fitted where it is seen and carried on beside it."""

import cv2
import numpy as np

from vision.face.raster import Image, Region, reduce, spread

# Window of the fit (mm): wider than the largest pit, narrower than the skirt of a reflection.
_WINDOW_MM = 1.6
# Share of a full window's moment that steadies a plane carried by few pixels on one side: it falls back to their mean.
_STEADY = 0.02


def slow_change(log: Image, okay: Image, region: Region) -> tuple[Image, Image]:
    """The slow part of a coarse picture over its valid pixels (`okay`: 1 or 0), at the fine pitch and at the coarse
    one.

    Local planes rather than local means: beside a masked reflection, where light falls off steeply, a mean is biased
    and leaves an edge that reads as a line.
    """
    broad = region.broad.shape
    share = reduce(okay, broad)
    mean = np.asarray(reduce(log * okay, broad) / np.maximum(share, np.float32(1e-3)), np.float32)
    plane = _LocalPlane(share, max(3, round(_WINDOW_MM / region.pitch_mm(region.broad)) | 1))
    slow = plane.fit(mean)
    # twice: what the first pass leaves of curvature is fitted again (Tukey 1977, Exploratory Data Analysis, "twicing")
    slow += plane.fit(np.asarray((mean - slow) * (share > 0), np.float32))
    fine, coarse = (spread(slow, raster.shape, cv2.INTER_CUBIC) for raster in (region.fine, region.coarse))
    return fine, coarse


class _LocalPlane:
    """Weighted least-squares planes in a box window passed twice, for one set of weights."""

    def __init__(self, weight: Image, window: int) -> None:
        rows, columns = weight.shape
        self._window, self._weight = window, weight
        self._x = np.arange(columns, dtype=np.float32)[None] - np.float32(columns / 2)
        self._y = np.arange(rows, dtype=np.float32)[:, None] - np.float32(rows / 2)
        self._wx, self._wy = weight * self._x, weight * self._y
        m, mx, my = self._total(weight), self._total(self._wx), self._total(self._wy)
        steady = np.float32(_STEADY * window * window / 6) * np.maximum(m, np.float32(1e-4))
        xx = self._total(self._wx * self._x) - self._x * (2 * mx - self._x * m) + steady
        yy = self._total(self._wy * self._y) - self._y * (2 * my - self._y * m) + steady
        xy = self._total(self._wx * self._y) - self._x * my - self._y * mx + self._x * self._y * m
        mx, my = mx - self._x * m, my - self._y * m
        det = xx * yy - xy * xy
        self._ax, self._ay = (yy * mx - xy * my) / det, (xx * my - xy * mx) / det
        self._den = np.maximum(m - self._ax * mx - self._ay * my, np.float32(1e-5))

    def _total(self, values: Image) -> Image:
        size = (self._window, self._window)
        once = cv2.blur(values, size, borderType=cv2.BORDER_CONSTANT)
        return np.asarray(cv2.blur(once, size, borderType=cv2.BORDER_CONSTANT), np.float32)

    def fit(self, image: Image) -> Image:
        """Value of the plane at each pixel."""
        v = self._total(self._weight * image)
        vx = self._total(self._wx * image) - self._x * v
        vy = self._total(self._wy * image) - self._y * v
        return np.asarray((v - self._ax * vx - self._ay * vy) / self._den, np.float32)
