"""Where a trend breaks: a regrind, a new die insert, any change that starts another line.

Two lines are held against one, both with trays that are alike their predecessors: the gain in likelihood at the best
place, each with its own likeness, is compared with what the one line gives when its own innovations are shuffled and
run through its own likeness again (a bootstrap of the likelihood ratio; Andrews 1993, Econometrica 61:821, for the
test at an unknown place; residual bootstrap: Efron and Tibshirani 1993, An Introduction to the Bootstrap, 8.5).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app.statistics.trends import LIKENESS, Array, fit_lines, step_design, whitened

LEAST_STRETCH = 5
"""Trays on either side of a change below which it is not looked for."""
FALSE_BREAK = 0.004
"""Chance by the shuffles from which a change is told; over the kinds of noise tried it is false in 2 of 100 at most."""
SHUFFLES = 299
MOST_POINTS = 160
"""More trays than so many are taken together with their neighbours to look for changes."""
_COARSE = LIKENESS[::3]


def regrinds(strokes: Array, values: Array, seed: int = 1, factors: Sequence[str] | None = None) -> tuple[float, ...]:
    """Strokes at which the trend breaks, in order: between the last tray before and the first after.

    Both parts of a stretch that breaks are looked at again. Steps at another station or calibration (`factors`, one a
    tray) are no breaks.

    Parameters
    ----------
    strokes
        (n,) strokes of the die at each tray, rising.
    values
        (n,) a measure at each tray, in any one unit.
    seed
        Start of the random numbers of the permutations.
    factors
        Station and calibration of each tray, as one name; none: all are of one.

    Returns
    -------
    tuple[float, ...]
        Strokes; empty where nothing breaks.
    """
    rng = np.random.default_rng(seed)
    names = ("",) * len(strokes) if factors is None else tuple(factors)
    return tuple(sorted(_breaks(strokes, values, names, rng)))


def _breaks(strokes: Array, values: Array, names: tuple[str, ...], rng: np.random.Generator) -> list[float]:
    if len(strokes) < 2 * LEAST_STRETCH or np.ptp(strokes) == 0.0:
        return []
    points = np.array_split(np.arange(len(strokes)), min(len(strokes), MOST_POINTS))
    x, y = (np.array([part[one].mean() for one in points]) for part in (strokes, values))
    steps, _ = step_design(names)
    factors = np.array([steps[one].mean(axis=0) for one in points]).reshape(len(points), steps.shape[1])
    line = np.column_stack([np.ones(len(x)), (x - x.mean()) / np.ptp(x), factors])
    splits = np.arange(LEAST_STRETCH, len(x) - LEAST_STRETCH + 1)
    splits = splits[np.diff(x)[splits - 1] >= 0.0]
    if len(splits) == 0 or len(x) < line.shape[1] + 4:
        return []
    best, gain = _gains(line, splits, y[:, None])
    lines = fit_lines(line, y)
    likeness = float(lines.weight @ LIKENESS)
    innovations = whitened(y - line @ lines.mean, likeness)
    shuffled = np.stack([rng.permutation(innovations) for _ in range(SHUFFLES)], axis=1)
    shuffled[0] /= np.sqrt(1.0 - likeness**2)
    for k in range(1, len(x)):
        shuffled[k] += likeness * shuffled[k - 1]
    as_well = int((_gains(line, splits, shuffled)[1] >= gain[0]).sum())
    if (1 + as_well) / (SHUFFLES + 1) > FALSE_BREAK:
        return []
    k = int(points[int(best[0])][0])
    at = float(strokes[k - 1] + strokes[k]) / 2
    return [*_breaks(strokes[:k], values[:k], names[:k], rng), at, *_breaks(strokes[k:], values[k:], names[k:], rng)]


def _gains(line: Array, splits: NDArray[np.int64], values: Array) -> tuple[NDArray[np.int64], Array]:
    """For each column of `values` (n, m): the best split, and twice the log likelihood that two lines gain there."""
    n = len(values)
    one = np.full(values.shape[1], -np.inf)
    two = np.full((len(splits), values.shape[1]), -np.inf)
    after = np.arange(n)[None, :] >= splits[:, None]
    for likeness in _COARSE:
        y = whitened(values, likeness)
        # of the whitened trays' determinant, in units of twice the log likelihood
        prior = np.log(1.0 - likeness**2)
        basis, _ = np.linalg.qr(whitened(line, likeness))
        left = y - basis @ (basis.T @ y)
        squares = np.maximum((left**2).sum(axis=0), 1e-300)
        one = np.maximum(one, prior - n * np.log(squares))
        # the level and the slope that a split adds, one after the other made orthogonal to what is there
        level = np.stack([whitened(side.astype(np.float64), likeness) for side in after])
        slope = np.stack([whitened(side * line[:, 1], likeness) for side in after])
        level, weak_level = _orthogonal(level, basis)
        slope, weak_slope = _orthogonal(slope, basis)
        slope = slope - (slope * level).sum(axis=1, keepdims=True) * level
        length = np.linalg.norm(slope, axis=1, keepdims=True)
        slope = np.where(length > 1e-6, slope / np.maximum(length, 1e-300), 0.0)
        saved = np.where(weak_level[:, None], 0.0, level @ left) ** 2
        saved += np.where(weak_level[:, None] | weak_slope[:, None], 0.0, slope @ left) ** 2
        two = np.maximum(two, prior - n * np.log(np.maximum(squares - saved, 1e-12 * squares)))
    best = two.argmax(axis=0)
    return np.asarray(splits[best]), two[best, np.arange(values.shape[1])] - one


def _orthogonal(rows: Array, basis: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Rows (s, n) less what the basis (n, p) explains, of length 1, and which of them it explains all but whole."""
    off = rows - (rows @ basis) @ basis.T
    length = np.linalg.norm(off, axis=1, keepdims=True)
    weak = length[:, 0] < 1e-6 * np.linalg.norm(rows, axis=1)
    return off / np.maximum(length, 1e-300), weak
