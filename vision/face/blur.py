"""The optics' blur, read where it is best known: on the backlit outline of the piece itself."""

import cv2
import numpy as np

from vision.face.raster import FaceInputs

_REACH_PX = 5.0
_STEP_PX = 0.1
# Every so many outline points are read; quarter and three-quarter levels of a Gaussian edge lie so many sigma apart.
_POINTS = 600
_QUARTERS = 1.349
# Blur of an ideal lens with this pixel; less is taken for noise.
_LEAST_PX = 0.4


def edge_blur_px(inputs: FaceInputs) -> float:
    """Sigma of the optics' blur, image px, without the pixel's own width: from the median edge across the outline.

    Parameters
    ----------
    inputs
        The piece's pictures, its drawing, and where it lies in the frames.

    Returns
    -------
    float
        Standard deviation, px.
    """
    outline = inputs.part.outline
    tangent = np.roll(outline, -1, axis=0) - np.roll(outline, 1, axis=0)
    normal = np.column_stack((tangent[:, 1], -tangent[:, 0])) / np.maximum(np.hypot(*tangent.T), 1e-12)[:, None]
    every = max(1, len(outline) // _POINTS)
    at = np.arange(-_REACH_PX, _REACH_PX + _STEP_PX / 2, _STEP_PX)
    foot, step = outline[::every], normal[::every] * inputs.mm_per_px
    base, ahead = inputs.to_px(foot), inputs.to_px(foot + step)
    x, y = ((base[:, k : k + 1] + (ahead - base)[:, k : k + 1] * at).astype(np.float32) for k in (0, 1))
    edge = np.median(cv2.remap(inputs.pictures.back.pixels, x, y, cv2.INTER_LINEAR), axis=0).astype(np.float64)
    rise = np.maximum.accumulate((edge - edge[0]) / max(edge[-1] - edge[0], 1e-9))
    low, high = np.interp([0.25, 0.75], rise, at)
    # the pixel's width adds 1/12 px2, bilinear reading 1/6 in the mean
    return float(np.sqrt(max(((high - low) / _QUARTERS) ** 2 - 1 / 12 - 1 / 6, _LEAST_PX**2)))
