"""Small backlit scenes for single steps: blurred shapes with exact edges, drawn from signed distances."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.records.inputs import Array, Picture

BRIGHT, DARK = 215.0, 9.0


def shade(signed_distance_px: Array, blur_px: float) -> NDArray[np.uint8]:
    """A frame from distances to an edge (px, positive outside): exact for straight edges, near so for wide curves."""
    lit = DARK + (BRIGHT - DARK) * ndtr(signed_distance_px / blur_px)
    return np.asarray(np.rint(lit), np.uint8)


def grid(rows: int, columns: int) -> tuple[Array, Array]:
    """Column and row of every pixel."""
    v, u = np.mgrid[0:rows, 0:columns].astype(np.float64)
    return u, v


def backlit(pixels: NDArray[np.uint8]) -> Picture:
    return Picture("back", None, pixels, 255.0, "back.png")
