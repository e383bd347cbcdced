"""Exact area of polygons in each pixel, by signed-area accumulation.

Every edge is cut where it crosses a row or a column of the grid. A cut lies within one cell and adds, to that cell, the
signed area between itself and the cell's right side, and to all cells further right its signed height; the running sum
along the row turns both into the covered share of each cell. Rings run one way round add, the other way subtract.
The idea is that of scan conversion by exact area (Catmull 1978, from memory).
"""

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from synthetic_images.spoons import Array

Float32 = NDArray[np.float32]


def _cut(starts: Array, ends: Array, axis: Literal[0, 1]) -> tuple[Array, Array]:
    """Cut segments (n, 2) at every whole number of one coordinate."""
    low, high = np.floor(starts[:, axis]).astype(np.int64), np.floor(ends[:, axis]).astype(np.int64)
    crossings = np.abs(high - low)
    parent = np.repeat(np.arange(len(starts)), crossings + 1)
    first = np.cumsum(crossings + 1) - (crossings + 1)
    index = np.arange(len(parent)) - first[parent]
    rising = high[parent] > low[parent]
    length = ends[parent, axis] - starts[parent, axis]

    def share(k: NDArray[np.int64]) -> Array:
        """Where along its parent the k-th crossing lies (k = 0 is the start)."""
        line = np.where(rising, low[parent] + k, low[parent] - k + 1)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = (line - starts[parent, axis]) / length
        at = np.where(k == 0, 0.0, at)
        return np.asarray(np.where(k > crossings[parent], 1.0, at))

    step = ends[parent] - starts[parent]
    return starts[parent] + share(index)[:, None] * step, starts[parent] + share(index + 1)[:, None] * step


def coverage(rings_px: Sequence[Array], size_px: tuple[int, int]) -> Float32:
    """Share of each pixel that closed rings cover.

    Parameters
    ----------
    rings_px
        Rings (n, 2), (0, 0) the centre of the first pixel; the first ring's turn counts as positive, rings that run
        the other way round are holes. Rings may leave the frame.
    size_px
        Width and height.

    Returns
    -------
    NDArray
        (height, width) float32, 0 outside, 1 inside, on the rim the area to about 1e-6.
    """
    width, height = size_px
    # Two columns more: what lies right of the frame is summed in a column that is then dropped.
    sums = np.zeros((height, width + 2), dtype=np.float32)
    turn = 0.0
    for ring in rings_px:
        starts = np.asarray(ring, dtype=float) + 0.5
        ends = np.roll(starts, -1, axis=0)
        if turn == 0.0:
            turn = np.sign(np.sum(starts[:, 0] * ends[:, 1] - starts[:, 1] * ends[:, 0]))
        starts, ends = _cut(*_cut(starts, ends, 1), 0)
        middle = 0.5 * (starts + ends)
        row = np.floor(middle[:, 1]).astype(np.int64)
        x = np.clip(middle[:, 0], 0.0, float(width))
        column = np.floor(x).astype(np.int64)
        rise = np.where((row >= 0) & (row < height), starts[:, 1] - ends[:, 1], 0.0)
        row = np.clip(row, 0, height - 1)
        right = column + 1.0 - x
        rise *= turn
        np.add.at(sums, (row, column), (rise * right).astype(np.float32))
        np.add.at(sums, (row, column + 1), (rise * (1.0 - right)).astype(np.float32))
    np.cumsum(sums, axis=1, out=sums)
    covered = sums[:, :width]
    return np.clip(covered, 0.0, 1.0, out=covered)
