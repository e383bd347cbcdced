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

from vision.face.raster import Image, Mask
from vision.face.whitening import padded, restore, transform

# Across: a line's half width with the blur, in px of the coarse raster. Along: long enough to gather a faint line,
# short enough to follow one that bends with a radius of 10 mm.
_ACROSS_PX = 0.72
_ALONG_PX = 8.0
# The noise of a direction is read at this share of its responses too: buffing lines are few and strong, and
# the median alone would not see them.
_TAIL = 0.98
_TAIL_NORMAL = 2.3263
# Noise is read on every so many pixels either way.
_THIN = 3
# Window over which the finish is taken to be even (px): beside a reflection orange peel is far stronger than elsewhere.
_EVEN_PX = 31
_CAP = 3.0
# Mean of the absolute value of a standard normal variable.
_MEAN_ABS = 0.7979


@dataclass(frozen=True, slots=True, eq=False)
class LineField:
    """Responses over their own direction's noise.

    `stack` (directions, rows, columns): direction k runs at 180 k / directions degrees, counter-clockwise as seen;
    `noise` (directions,): of the unit-gain filters; `local`: by how much the finish about a pixel exceeds it;
    `best` the maximum over directions, divided by `local`.
    """

    stack: Image
    best: Image
    noise: NDArray[np.float64]
    local: Image


# Of a filter's transfer what is below this share of its peak is left out: it spares transforms of columns of nothing.
_NOTHING = 2e-3


@lru_cache(maxsize=8)
def _bank(shape: tuple[int, int], directions: int) -> tuple[Image, ...]:
    """Transfer functions on the first columns of the half spectrum, unit gain for white noise."""
    rows, columns = shape
    fy = 2 * np.pi * scipy.fft.fftfreq(rows)[:, None]
    fx = 2 * np.pi * scipy.fft.rfftfreq(columns)[None]
    double = np.full(fx.shape[1], 2.0)
    double[0] = 1.0
    if columns % 2 == 0:
        double[-1] = 1.0
    bank = []
    for k in range(directions):
        angle = np.pi * k / directions
        u = fx * np.cos(angle) - fy * np.sin(angle)
        v = fx * np.sin(angle) + fy * np.cos(angle)
        h = v**2 * np.exp(-(v**2) * _ACROSS_PX**2 / 2 - u**2 * _ALONG_PX**2 / 2)
        used = int(np.flatnonzero(h.max(axis=0) > _NOTHING * h.max())[-1]) + 1
        bank.append(np.asarray(h[:, :used] / np.sqrt((h**2 * double).sum() / (rows * columns)), np.float32))
    return tuple(bank)


def line_field(picture: Image, scored: Mask, directions: int) -> LineField:
    """Filter a picture (bright lines) in so many directions of the half turn; noise is read over `scored`."""
    rows, columns = picture.shape
    bank = _bank(padded(picture.shape), directions)
    spectrum = transform(picture)
    stack = np.empty((directions, rows, columns), np.float32)
    noise = np.empty(directions)
    best = np.full((rows, columns), -np.inf, np.float32)
    level = np.zeros(picture[::_THIN, ::_THIN].shape, np.float32)
    sample = np.flatnonzero(scored[::_THIN, ::_THIN])
    for k, transfer in enumerate(bank):
        response = restore(spectrum[:, : transfer.shape[1]] * transfer, picture.shape)
        thin = np.abs(response[::_THIN, ::_THIN])
        noise[k] = _noise(thin.ravel()[sample])
        thin *= np.float32(1.0 / noise[k])
        level += np.minimum(thin, _CAP)
        np.multiply(response, np.float32(1.0 / noise[k]), out=stack[k])
        np.maximum(best, stack[k], out=best)
    local = _local(level / np.float32(directions), scored)
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


# Tracing: ways of travel in a full turn; step along, sideways moves and turns (from way to way) tried at each step.
_WAYS = 96
_STEP_PX = 2.0
_TURNS = np.array([-2, -1, 0, 1, 2])
_SIDES = np.array([-1.0, 0.0, 1.0])
_LOSS_TURN = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class _Moves:
    """Moves tried from each way of travel: (ways, moves) of the way after it, of columns and rows moved; (moves,) of
    their cost.
    """

    way: NDArray[np.intp]
    column: NDArray[np.float64]
    row: NDArray[np.float64]
    loss: NDArray[np.float64]


@lru_cache(maxsize=1)
def _moves() -> _Moves:
    turns, sides = (a.ravel() for a in np.meshgrid(_TURNS, _SIDES, indexing="ij"))
    way = (np.arange(_WAYS)[:, None] + turns) % _WAYS
    angle = way * (2 * np.pi / _WAYS)
    return _Moves(
        way=way,
        column=_STEP_PX * np.cos(angle) + sides * np.sin(angle),
        row=-_STEP_PX * np.sin(angle) + sides * np.cos(angle),
        loss=_LOSS_TURN * (np.abs(turns) / 2 + np.abs(sides)),
    )


@dataclass(frozen=True, slots=True)
class Until:
    """When a traced curve ends: after `patience` steps in a row below `floor`, taken off again, or after `steps`."""

    floor: float
    patience: int
    steps: int


def trace(fields: list[LineField], starts: list[NDArray[np.intp]], until: Until) -> list[list[NDArray[np.float64]]]:
    """Follow each line from its seed both ways, in several fields at once: for each field and each of its seeds a curve
    as (m, 2) of column, row in px of the fields.

    A step goes where the response for the direction of travel is greatest.
    """
    ways, places = [], []
    for field, start in zip(fields, starts, strict=True):
        best = field.stack[:, start[:, 0], start[:, 1]].argmax(axis=0)
        way = np.rint(best * (_WAYS / 2 / len(field.stack))).astype(int)
        ways += [way, way + _WAYS // 2]
        places += [start[:, ::-1].astype(np.float64)] * 2
    counts = [2 * len(start) for start in starts]
    paths = _follow(fields, counts, np.vstack(places), np.concatenate(ways), until)
    out, first = [], 0
    for start in starts:
        n = len(start)
        forth, back = paths[first : first + n], paths[first + n : first + 2 * n]
        middle = start[:, None, ::-1]
        out.append([np.vstack((b[::-1], p, f)) for b, p, f in zip(back, middle, forth, strict=True)])
        first += 2 * n
    return out


def _follow(
    fields: list[LineField],
    counts: list[int],
    place: NDArray[np.float64],
    way: NDArray[np.intp],
    until: Until,
) -> list[NDArray[np.float64]]:
    """Paths, `counts` of them in each field, from their places on."""
    rows, columns = fields[0].best.shape
    moves = _moves()
    ends = np.cumsum([0, *counts])
    place, way = place.copy(), way.copy()
    path = np.full((len(place), until.steps, 2), np.nan)
    good = np.zeros(len(place), int)
    weak = np.zeros(len(place), int)
    live = np.arange(len(place))
    for step in range(until.steps):
        if not len(live):
            break
        now = way[live]
        x, y = place[live, :1] + moves.column[now], place[live, 1:] + moves.row[now]
        after = moves.way[now]
        # beside the picture this reads some other pixel; who goes there ends below
        at = np.rint(y).astype(int) * columns + np.rint(x).astype(int)
        value = np.empty(x.shape)
        cuts = np.searchsorted(live, ends)
        for field, first, last in zip(fields, cuts[:-1], cuts[1:], strict=True):
            one = slice(first, last)
            stacked = _nearest(len(field.stack))[after[one]] * (rows * columns) + at[one]
            value[one] = field.stack.ravel().take(stacked, mode="clip")
            value[one] /= field.local.ravel().take(at[one], mode="clip")
        value -= moves.loss
        pick = np.argmax(value, axis=1)
        each = np.arange(len(live))
        x, y, found = x[each, pick], y[each, pick], value[each, pick]
        place[live] = path[live, step] = np.column_stack((x, y))
        way[live] = after[each, pick]
        weak[live] = np.where(found >= until.floor, 0, weak[live] + 1)
        inside = (x > -0.5) & (x < columns - 0.5) & (y > -0.5) & (y < rows - 0.5)
        good[live] = np.where((found >= until.floor) & inside, step + 1, good[live])
        live = live[(weak[live] <= until.patience) & inside]
    return [path[i, : good[i]] for i in range(len(place))]


@lru_cache(maxsize=4)
def _nearest(directions: int) -> NDArray[np.intp]:
    """Of each way of travel the nearest of so many directions."""
    return np.asarray(np.rint(np.arange(_WAYS) * (2 * directions / _WAYS)).astype(int) % directions)
