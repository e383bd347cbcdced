"""A die's wear as a trend over strokes: robust slope, regrinds, and how many strokes are left until a limit."""

from dataclasses import dataclass
from math import inf, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]

CONFIDENCE = 0.95
LEAST_TRAYS = 8
"""Trays since the last regrind below which no trend is told."""
LEAST_STRETCH = 5
"""Trays on either side of a regrind below which it is not looked for."""
FALSE_REGRIND = 0.01
"""Chance of finding a regrind in a stretch that has none."""
SHUFFLES = 499
FURTHEST = 2.0
"""A limit further off than this many times the strokes seen is not foretold."""
MAD_TO_SD = 1.4826
MAD_EFFICIENCY = 0.37
"""Of a scatter from median deviations beside the usual one (Rousseeuw and Croux 1993, J. Am. Stat. Assoc. 88:1273)."""
MOST_POINTS = 500
"""More trays than so many are taken together with their neighbours for the slope: all pairs would fill the memory."""

_CELLS_AT_ONCE = 100_000

Word = Literal["told", "too few trays", "no wear seen", "already reached", "too far to tell"]


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through the trays of one stretch: value = at + slope (strokes - middle).

    `slope_ci` is the slope's interval (mm a stroke), 95 % for all zones together; `scatter` the robust standard
    deviation of a tray about the line; `middle`, `spread` the strokes' mean and the root of their sum of squares about
    it; `trays` how many.
    """

    slope: float
    slope_ci: tuple[float, float]
    at: float
    middle: float
    spread: float
    scatter: float
    trays: int
    strokes: tuple[float, float]

    @property
    def widening(self) -> float:
        """Student's quantile; its freedom is small, since a robust scatter of few trays is itself uncertain."""
        return float(stats.t.ppf(0.5 + CONFIDENCE / 2, max(MAD_EFFICIENCY * (self.trays - 2), 1.0)))

    def value(self, strokes: float | Array) -> Array:
        """The line at some strokes."""
        return np.asarray(self.at + self.slope * (np.asarray(strokes, dtype=np.float64) - self.middle))

    def reach(self, strokes: float | Array) -> Array:
        """Half-width of the 95 % interval of one more tray at some strokes."""
        away = (np.asarray(strokes, dtype=np.float64) - self.middle) / self.spread
        return np.asarray(self.widening * self.scatter * np.sqrt(1 + 1 / self.trays + away**2))


@dataclass(frozen=True, slots=True)
class StrokesLeft:
    """Strokes from now until a limit is reached, with the 95 % interval; None and why where it can't be told."""

    word: Word
    left: float | None = None
    ci: tuple[float, float] | None = None


def trend(strokes: Array, values: Array, zones: int = 1) -> Trend | None:
    """Theil and Sen's line (Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63:1379); None for fewer than three trays.

    The slope is the median of all slopes between two trays, its interval Sen's; one stray tray hardly moves it. Of
    `zones` looked at, the most telling is shown: each interval is widened so that all hold together (Bonferroni).
    `strokes` in order.
    """
    if len(strokes) < 3 or np.ptp(strokes) == 0.0:
        return None
    points = min(len(strokes), MOST_POINTS)
    at_strokes, at_values = ([part.mean() for part in np.array_split(one, points)] for one in (strokes, values))
    slope, _, low, high = stats.theilslopes(at_values, at_strokes, 1 - (1 - CONFIDENCE) / zones)
    middle = float(strokes.mean())
    at = float(np.median(values - slope * (strokes - middle)))
    off = values - at - slope * (strokes - middle)
    # Two numbers were fitted; without it the scatter of few trays would look too small.
    scatter = MAD_TO_SD * float(np.median(np.abs(off))) * sqrt(len(off) / max(len(off) - 2, 1))
    spread = sqrt(float(((strokes - middle) ** 2).sum()))
    ends = (float(strokes.min()), float(strokes.max()))
    return Trend(float(slope), (float(low), float(high)), at, middle, spread, scatter, len(strokes), ends)


def strokes_left(found: Trend | None, now: float, limit: float) -> StrokesLeft:
    """When a wearing die's value passes a limit on the side it grows towards (a prediction interval, by inversion).

    The ends of the interval are where the band of one more tray meets the limit (Fieller's kind of inversion, so that
    the far end may not exist).
    """
    if found is None or found.trays < LEAST_TRAYS:
        return StrokesLeft("too few trays")
    if found.slope_ci[0] <= 0.0 <= found.slope_ci[1]:
        return StrokesLeft("no wear seen")
    side = 1.0 if found.slope > 0 else -1.0
    if side * (float(found.value(now)) - limit) >= 0.0:
        return StrokesLeft("already reached")
    crossing = found.middle + (limit - found.at) / found.slope
    seen = found.strokes[1] - found.strokes[0]
    if crossing - now > FURTHEST * seen:
        return StrokesLeft("too far to tell")
    ahead = now + np.linspace(0.0, 4.0 * FURTHEST * seen, 4001)
    line, reach = side * found.value(ahead), _reach_of_line(found, ahead)
    early = ahead[np.argmax(line + reach >= side * limit)] if (line + reach >= side * limit).any() else inf
    passed = line - reach >= side * limit
    late = float(ahead[np.argmax(passed)]) if passed.any() else inf
    return StrokesLeft("told", crossing - now, (float(early) - now, late - now))


def _reach_of_line(found: Trend, strokes: Array) -> Array:
    """Half-width for one more tray, the slope's own interval taken for how the line may turn."""
    half_slope = (found.slope_ci[1] - found.slope_ci[0]) / 2
    turn = half_slope * np.abs(strokes - found.middle)
    own = found.widening * found.scatter
    return np.asarray(np.sqrt(turn**2 + own**2 * (1 + 1 / found.trays)))


def regrinds(strokes: Array, values: Array, seed: int = 1) -> tuple[float, ...]:
    """Strokes at which the trend breaks, in order: between the last tray before and the first after.

    A stretch is parted where two lines fit best; the break counts when fewer than `FALSE_REGRIND` of shuffled
    residuals of a single line would part as well (a permutation test, as Anderson and Legendre 1999 describe for
    regression). Both parts are then looked at again.
    """
    rng = np.random.default_rng(seed)
    return tuple(sorted(_breaks(strokes, values, rng)))


def _breaks(strokes: Array, values: Array, rng: np.random.Generator) -> list[float]:
    if len(strokes) < 2 * LEAST_STRETCH:
        return []
    split, gain = _best_split(strokes, values[None])
    slope, level = np.polyfit(strokes, values, 1)
    line = level + slope * strokes
    off = values - line
    # Few rows at a time, so that thousands of trays keep the memory flat.
    rows = max(1, _CELLS_AT_ONCE // len(strokes))
    as_well = 0
    for done in range(0, SHUFFLES, rows):
        shuffled = np.stack([rng.permutation(off) for _ in range(min(rows, SHUFFLES - done))])
        as_well += int((_best_split(strokes, line + shuffled)[1] >= gain[0]).sum())
    if (1 + as_well) / (SHUFFLES + 1) > FALSE_REGRIND:
        return []
    k = int(split[0])
    at = float(strokes[k - 1] + strokes[k]) / 2
    return [*_breaks(strokes[:k], values[:k], rng), at, *_breaks(strokes[k:], values[k:], rng)]


def _best_split(strokes: Array, values: Array) -> tuple[NDArray[np.int64], Array]:
    """For each row of `values` (rows, trays): where two lines fit best, and the share of the squares they save."""
    count = len(strokes)
    sums = _sums(strokes, values)
    splits = np.arange(LEAST_STRETCH, count - LEAST_STRETCH + 1)
    whole = _residual(sums[:, -1:] - sums[:, :1])
    left, right = _residual(sums[:, splits] - sums[:, :1]), _residual(sums[:, -1:] - sums[:, splits])
    saved = 1.0 - (left + right) / np.maximum(whole, 1e-30)
    best = saved.argmax(axis=1)
    return splits[best], saved[np.arange(len(saved)), best]


def _sums(strokes: Array, values: Array) -> Array:
    """Running sums of n, x, y, x x, x y, y y before each tray: (rows, trays + 1, 6); any stretch is a difference."""
    x = (strokes - strokes.mean()) / max(float(np.ptp(strokes)), 1e-9)
    y = values - values.mean(axis=1, keepdims=True)
    terms = np.stack(np.broadcast_arrays(np.ones_like(y), x, y, x * x, x * y, y * y), axis=-1)
    return np.asarray(np.pad(terms.cumsum(axis=1), ((0, 0), (1, 0), (0, 0))))


def _residual(sums: Array) -> Array:
    """Sum of squares about the least-squares line of a stretch, from its sums (..., 6)."""
    n, x, y, xx, xy, yy = np.moveaxis(sums, -1, 0)
    along, across = xx - x * x / n, xy - x * y / n
    slope = np.where(along > 1e-12, across / np.maximum(along, 1e-12), 0.0)
    return np.asarray(np.maximum(yy - y * y / n - slope * across, 0.0))
