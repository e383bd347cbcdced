"""Lines in an even-noise picture: a bank of oriented line filters, and tracing of curves through its responses.

The bank integrates along the line before it decides (Canny 1986, 10.1109/TPAMI.1986.4767851; steering by the
Fourier transform, Freeman & Adelson 1991, 10.1109/34.93808): second derivative of a Gaussian across, Gaussian along.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vision.measure.face_region import Image, Mask
from vision.measure.face_whiten import padded, restore, transform

ORIENTATIONS = 24
# Across: a line's half width with the blur, in px of the coarse raster. Along: long enough to gather a faint line,
# short enough to follow one that bends with a radius of 10 mm.
_ACROSS_PX = 0.72
_ALONG_PX = 8.0
# The noise of a direction is read at this share of its responses too: buffing lines are few and strong, and
# the median alone would not see them.
_TAIL = 0.98
_TAIL_NORMAL = 2.3263
# Noise is read on every so many pixels either way.
_THIN = 2
# Window over which the finish is taken to be even (px): beside a reflection orange peel is far stronger than elsewhere.
_EVEN_PX = 31
_CAP = 3.0
# Mean of the absolute value of a standard normal variable.
_MEAN_ABS = 0.7979


@dataclass(frozen=True, slots=True, eq=False)
class LineField:
    """Responses over their own direction's noise.

    `stack` (ORIENTATIONS, rows, columns): direction k runs at 180 k / ORIENTATIONS degrees, counter-clockwise as seen;
    `noise` (ORIENTATIONS,): of the unit-gain filters; `local`: by how much the finish about a pixel exceeds it;
    `best` the maximum over directions, divided by `local`.
    """

    stack: Image
    best: Image
    noise: NDArray[np.float64]
    local: Image


@lru_cache(maxsize=8)
def _bank(shape: tuple[int, int]) -> Image:
    """Transfer functions on the half spectrum, unit gain for white noise."""
    rows, columns = shape
    fy = 2 * np.pi * scipy.fft.fftfreq(rows)[:, None]
    fx = 2 * np.pi * scipy.fft.rfftfreq(columns)[None]
    double = np.full(fx.shape[1], 2.0)
    double[0] = 1.0
    if columns % 2 == 0:
        double[-1] = 1.0
    bank = np.empty((ORIENTATIONS, rows, fx.shape[1]), np.float32)
    for k in range(ORIENTATIONS):
        angle = np.pi * k / ORIENTATIONS
        u = fx * np.cos(angle) - fy * np.sin(angle)
        v = fx * np.sin(angle) + fy * np.cos(angle)
        h = v**2 * np.exp(-(v**2) * _ACROSS_PX**2 / 2 - u**2 * _ALONG_PX**2 / 2)
        bank[k] = h / np.sqrt((h**2 * double).sum() / (rows * columns))
    return bank


def line_field(picture: Image, scored: Mask) -> LineField:
    """Filter a picture (bright lines) in all directions; noise is read over `scored`."""
    rows, columns = picture.shape
    shape = padded(picture.shape)
    bank = _bank(shape)
    spectrum = transform(picture)
    filtered = np.empty_like(spectrum)
    stack = np.empty((ORIENTATIONS, rows, columns), np.float32)
    noise = np.empty(ORIENTATIONS)
    best = np.full((rows, columns), -np.inf, np.float32)
    level = np.zeros(picture[::_THIN, ::_THIN].shape, np.float32)
    sample = np.flatnonzero(scored[::_THIN, ::_THIN])
    for k in range(ORIENTATIONS):
        response = restore(np.multiply(spectrum, bank[k], out=filtered), picture.shape)
        thin = np.abs(response[::_THIN, ::_THIN])
        noise[k] = _noise(thin.ravel()[sample])
        thin *= np.float32(1.0 / noise[k])
        level += np.minimum(thin, _CAP)
        np.multiply(response, np.float32(1.0 / noise[k]), out=stack[k])
        np.maximum(best, stack[k], out=best)
    local = _local(level / np.float32(ORIENTATIONS), scored)
    best /= local
    return LineField(stack, best, noise, local)


def _local(level: Image, scored: Mask) -> Image:
    """How much stronger the finish is about each pixel than where it is quiet, 1 at least; `level` is thinned out."""
    okay = scored[::_THIN, ::_THIN].astype(np.float32)
    size = (_EVEN_PX // _THIN, _EVEN_PX // _THIN)
    mean = cv2.blur(level * okay, size) / np.maximum(cv2.blur(okay, size), 1e-3)
    rows, columns = scored.shape
    local = np.maximum(mean / np.float32(_MEAN_ABS), np.float32(1.0))
    return np.asarray(cv2.resize(local, (columns, rows), interpolation=cv2.INTER_LINEAR))


def _noise(magnitudes: Image) -> float:
    """Standard deviation of the finish in one direction: the larger of the median's and the tail's."""
    if len(magnitudes) < 100:
        return 1.0
    middle, tail = int(len(magnitudes) * 0.5), int(len(magnitudes) * _TAIL)
    ordered = np.partition(magnitudes, (middle, tail))
    return max(float(ordered[middle]) * 1.4826, float(ordered[tail]) / _TAIL_NORMAL, 1e-6)


def seeds(field: LineField, scored: Mask, threshold: float, spacing_px: int, most: int) -> NDArray[np.intp]:
    """Places (n, 2: row, column) of local maxima of the best response, strongest first."""
    peak = cv2.dilate(field.best, np.ones((spacing_px, spacing_px), np.uint8))
    places = np.argwhere((field.best >= peak) & (field.best >= threshold) & scored)
    order = np.argsort(-field.best[places[:, 0], places[:, 1]], kind="stable")
    return places[order[:most]]


# Tracing: step along, sideways moves and turns (half directions of the bank) tried at each step.
_STEP_PX = 2.0
_HALF_TURNS = np.array([-2, -1, 0, 1, 2])
_SIDES = np.array([-1.0, 0.0, 1.0])
_LOSS_TURN = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class _Moves:
    """From each way of travel, in half directions of the bank (4 ORIENTATIONS of them in a full turn), the moves tried:
    (ways, moves) of the way after it, of columns and rows moved, and of the bank's direction; (moves,) of their cost.
    """

    way: NDArray[np.intp]
    column: NDArray[np.float64]
    row: NDArray[np.float64]
    direction: NDArray[np.intp]
    loss: NDArray[np.float64]


@lru_cache(maxsize=1)
def _moves() -> _Moves:
    turns, sides = (a.ravel() for a in np.meshgrid(_HALF_TURNS, _SIDES, indexing="ij"))
    way = (np.arange(4 * ORIENTATIONS)[:, None] + turns) % (4 * ORIENTATIONS)
    angle = way * (np.pi / (2 * ORIENTATIONS))
    return _Moves(
        way=way,
        column=_STEP_PX * np.cos(angle) + sides * np.sin(angle),
        row=-_STEP_PX * np.sin(angle) + sides * np.cos(angle),
        direction=np.rint(way / 2).astype(int) % ORIENTATIONS,
        loss=_LOSS_TURN * (np.abs(turns) / 2 + np.abs(sides)),
    )


def trace(
    field: LineField, starts: NDArray[np.intp], floor: float, patience: int, steps: int
) -> list[NDArray[np.float64]]:
    """Follow each line from its seed both ways: curves as (m, 2) of column, row in px of the field.

    A step goes where the response for the direction of travel is greatest; a curve ends after `patience` steps
    in a row below `floor`, which are taken off again.
    """
    if not len(starts):
        return []
    way = 2 * field.stack[:, starts[:, 0], starts[:, 1]].argmax(axis=0)
    place = starts[:, ::-1].astype(np.float64)
    ways = np.concatenate((way, way + 2 * ORIENTATIONS))
    both = _follow(field, np.vstack((place, place)), ways, floor, patience, steps)
    forth, back = both[: len(place)], both[len(place) :]
    return [np.vstack((b[::-1], p[None], f)) for b, p, f in zip(back, place, forth, strict=True)]


def _follow(
    field: LineField, place: NDArray[np.float64], way: NDArray[np.intp], floor: float, patience: int, steps: int
) -> list[NDArray[np.float64]]:
    rows, columns = field.best.shape
    moves = _moves()
    count = len(place)
    place, way = place.copy(), way.copy()
    path = np.full((count, steps, 2), np.nan)
    good = np.zeros(count, int)
    weak = np.zeros(count, int)
    alive = np.ones(count, bool)
    for step in range(steps):
        live = np.flatnonzero(alive)
        if not len(live):
            break
        now = way[live]
        x, y = place[live, :1] + moves.column[now], place[live, 1:] + moves.row[now]
        column, row = np.rint(x).astype(int), np.rint(y).astype(int)
        inside = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
        column, row = np.minimum(np.maximum(column, 0), columns - 1), np.minimum(np.maximum(row, 0), rows - 1)
        value = field.stack[moves.direction[now], row, column] / field.local[row, column] - moves.loss
        value[~inside] = -np.inf
        pick = np.argmax(value, axis=1)
        at = np.arange(len(live))
        found = value[at, pick]
        place[live] = np.column_stack((x[at, pick], y[at, pick]))
        way[live] = moves.way[now, pick]
        path[live, step] = place[live]
        strong = found >= floor
        weak[live] = np.where(strong, 0, weak[live] + 1)
        good[live] = np.where(strong, step + 1, good[live])
        alive[live] = (weak[live] <= patience) & np.isfinite(found)
    return [path[i, : good[i]] for i in range(count)]
