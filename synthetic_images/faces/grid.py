"""The pixels around one piece, and where each of them lies on the piece's drawing."""

from dataclasses import dataclass

import numpy as np

from synthetic_images.outlines.coverage import Float32
from synthetic_images.spoons import Array


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A box of a frame seen straight from above at one scale.

    `left`, `top` its first pixel; `shape` (rows, columns); `origin_mm` where the drawing's origin lies on the tray;
    `turn_rad` the piece's turn, counter-clockwise.
    """

    left: int
    top: int
    shape: tuple[int, int]
    mm_per_px: float
    origin_mm: tuple[float, float]
    turn_rad: float

    @property
    def whole(self) -> tuple[slice, slice]:
        """All rows and columns of the box."""
        return slice(0, self.shape[0]), slice(0, self.shape[1])

    def drawing_mm(self, window: tuple[slice, slice]) -> tuple[Float32, Float32]:
        """Drawing x and y (rows, columns) of a window's pixel centres."""
        across = (np.arange(window[1].start, window[1].stop) + self.left) * self.mm_per_px - self.origin_mm[0]
        up = -(np.arange(window[0].start, window[0].stop) + self.top) * self.mm_per_px - self.origin_mm[1]
        cos, sin = np.cos(self.turn_rad), np.sin(self.turn_rad)
        x = cos * across[None, :] + sin * up[:, None]
        y = cos * up[:, None] - sin * across[None, :]
        return x.astype(np.float32), y.astype(np.float32)

    def window(self, points_mm: Array, reach_mm: float) -> tuple[slice, slice]:
        """Rows and columns of the box that hold drawing points (n, 2) and all within `reach_mm` of them."""
        cos, sin = np.cos(self.turn_rad), np.sin(self.turn_rad)
        x, y = points_mm.T
        column = (cos * x - sin * y + self.origin_mm[0]) / self.mm_per_px - self.left
        row = -(sin * x + cos * y + self.origin_mm[1]) / self.mm_per_px - self.top
        reach = reach_mm / self.mm_per_px + 1.0
        rows, columns = (
            slice(
                int(np.clip(np.floor(at.min() - reach), 0, size)),
                int(np.clip(np.ceil(at.max() + reach) + 1, 0, size)),
            )
            for at, size in ((row, self.shape[0]), (column, self.shape[1]))
        )
        return rows, columns
