"""A die's wear as a trend over strokes, with steps at other stations or calibrations, and strokes left until a limit.

Trays one after the other are alike (a shift, a day, a coil), so that a line through them is surer of itself than it may
be. The trays' scatter about the line is taken as autoregressive: each tray keeps the share r of its predecessor's. The
likelihood of r, with line, steps and spread integrated out (restricted likelihood: Harville 1974, Biometrika 61:383),
weighs the lines fitted for each r (generalized least squares; Zellner and Tiao 1964, J. Am. Stat. Assoc. 59:763, for
the same with a flat prior): intervals are those of the mixture and hold also what is not known of r.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

Array = NDArray[np.float64]

CONFIDENCE = 0.95
"""Of every interval, over all kinds of noise that were tried (docs/benchmarks/statistics.md)."""
MIXED = 0.97
"""Confidence at which the mixture is cut so that 95 % holds where trays are alike in another way than is fitted."""
LEAST_TRAYS = 8
"""Trays since the last regrind, one more for each step fitted besides the first, below which nothing is told."""
FURTHEST = 2.0
"""A limit further off than this many times the strokes seen is not foretold."""
MAD_TO_SD = 1.4826
STRAY = 3.0
"""Standard deviations off the line to which a tray is drawn in (pseudo-values: Huber 1981, Robust Statistics, 7.8)."""
ROBUST_STEPS = 12
LIKENESS = np.linspace(0.0, 0.9, 19)
"""Shares r of the predecessor's scatter that are weighed, all alike beforehand."""
MOST_POINTS = 400
"""More trays than so many are taken together with their neighbours."""

Word = Literal["told", "too few trays", "no wear seen", "already reached", "too far to tell"]


@dataclass(frozen=True, slots=True)
class Step:
    """What a station or calibration reads higher than the newest one: `height` with its interval; `name` says which."""

    name: str
    height: float
    ci: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through the trays of one stretch: value = at + slope (strokes - middle), as the newest reads.

    `slope_ci` is the slope's interval (mm a stroke), 95 % for all zones together; `line_sd` standard deviations of the
    line at the middle and of its slope, `line_cov` their covariance; `scatter` the standard deviation of a tray about
    the line; `widening` how many of them make an interval of 95 %; `likeness` the mean share of its predecessor's
    scatter that a tray keeps; `steps` of other stations and calibrations; `trays` how many; `strokes` first and last.
    """

    slope: float
    slope_ci: tuple[float, float]
    at: float
    middle: float
    line_sd: tuple[float, float]
    line_cov: float
    scatter: float
    widening: float
    likeness: float
    steps: tuple[Step, ...]
    trays: int
    strokes: tuple[float, float]

    def value(self, strokes: float | Array) -> Array:
        """The line at some strokes."""
        return np.asarray(self.at + self.slope * (np.asarray(strokes, dtype=np.float64) - self.middle))

    def reach(self, strokes: float | Array) -> Array:
        """Half-width of the 95 % interval of one more tray at some strokes."""
        away = np.asarray(strokes, dtype=np.float64) - self.middle
        line = self.line_sd[0] ** 2 + 2.0 * away * self.line_cov + (away * self.line_sd[1]) ** 2
        return np.asarray(self.widening * np.sqrt(self.scatter**2 + np.maximum(line, 0.0)))


@dataclass(frozen=True, slots=True)
class StrokesLeft:
    """Strokes from now until a limit is reached, with the 95 % interval; None and why where it can't be told."""

    word: Word
    left: float | None = None
    ci: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Generalized least squares for each of `LIKENESS`: `weight` (r,), `beta` (r, p), `cov` (r, p, p), `freedom`."""

    weight: Array
    beta: Array
    cov: Array
    scatter: Array
    freedom: float

    @property
    def mean(self) -> Array:
        """Coefficients (p,) averaged over the likeness."""
        return np.asarray(self.weight @ self.beta)

    def covariance(self) -> Array:
        """Of the coefficients (p, p), what is not known of the likeness included."""
        off = self.beta - self.mean
        between = np.einsum("r,ri,rj->ij", self.weight, off, off)
        return np.asarray(np.einsum("r,rij->ij", self.weight, self.cov) + between)

    def interval(self, k: int, confidence: float) -> tuple[float, float]:
        """Two-sided interval of one coefficient: quantiles of the mixture of Student's distributions."""
        mean, sd = self.beta[:, k], np.sqrt(self.cov[:, k, k])
        wide = float(stats.t.ppf(0.5 + confidence / 2, self.freedom)) * sd.max() + np.ptp(mean)
        if wide == 0.0:
            return float(mean[0]), float(mean[0])

        def chance(at: float) -> float:
            return float(self.weight @ stats.t.cdf((at - mean) / np.maximum(sd, 1e-300), self.freedom))

        low, high = float(mean.min() - wide), float(mean.max() + wide)
        tail = (1 - confidence) / 2
        ends = [optimize.brentq(lambda at, p=p: chance(at) - p, low, high, xtol=1e-9 * wide) for p in (tail, 1 - tail)]
        return float(ends[0]), float(ends[1])


def whitened(rows: Array, likeness: float) -> Array:
    """Rows (n, ...) in order, each less the share of its predecessor: independent where the share is right.

    Parameters
    ----------
    rows
        (n, ...) in order.
    likeness
        The share: autocorrelation of neighbours.

    Returns
    -------
    Array
        (n, ...) rows.
    """
    first = np.sqrt(1.0 - likeness**2) * rows[:1]
    return np.concatenate([first, rows[1:] - likeness * rows[:-1]])


def fit_lines(design: Array, values: Array) -> Lines:
    """Fit `values` (n,) by `design` (n, p) for each likeness, weighed by the restricted likelihood."""
    n, p = design.shape
    freedom = float(n - p)
    log_likelihood, betas, covs, scatters = [], [], [], []
    for likeness in LIKENESS:
        x, y = whitened(design, likeness), whitened(values, likeness)
        inverse = np.linalg.inv(x.T @ x)
        beta = inverse @ (x.T @ y)
        squares = max(float(((y - x @ beta) ** 2).sum()), 1e-300)
        variance = squares / freedom
        betas.append(beta)
        covs.append(variance * inverse)
        scatters.append(np.sqrt(variance / (1.0 - likeness**2)))
        # the determinant of the trays' correlations is (1 - r^2)^(n - 1), of the whitening 1 - r^2
        restricted = 0.5 * np.log(1.0 - likeness**2) - 0.5 * freedom * np.log(squares)
        log_likelihood.append(restricted + 0.5 * np.linalg.slogdet(inverse)[1])
    weight = np.exp(np.array(log_likelihood) - max(log_likelihood))
    return Lines(weight / weight.sum(), np.array(betas), np.array(covs), np.array(scatters), freedom)


def drawn_in(design: Array, values: Array) -> Array:
    """Values (n,) with strays drawn in to `STRAY` standard deviations of a robust fit of the design."""
    weight = np.ones(len(values))
    line = values
    scatter = 0.0
    for _ in range(ROBUST_STEPS):
        root = np.sqrt(weight)
        beta = np.linalg.lstsq(design * root[:, None], values * root, rcond=None)[0]
        line = design @ beta
        off = np.abs(values - line)
        share = len(values) / max(len(values) - design.shape[1], 1)
        scatter = MAD_TO_SD * float(np.median(off)) * np.sqrt(share)
        weight = np.minimum(1.0, 1.5 * scatter / np.maximum(off, 1e-300)) if scatter > 0.0 else weight
    return np.asarray(line + np.clip(values - line, -STRAY * scatter, STRAY * scatter)) if scatter > 0.0 else values


def step_design(factors: Sequence[str]) -> tuple[Array, tuple[str, ...]]:
    """A column for each station or calibration but the last tray's, and their names.

    Parameters
    ----------
    factors
        (n,) station and calibration of each tray, as one name.

    Returns
    -------
    tuple[Array, tuple[str, ...]]
        (n, k) ones and zeros; the k names.
    """
    others = tuple(dict.fromkeys(name for name in factors if name != factors[-1]))
    steps = np.array([[float(name == other) for other in others] for name in factors])
    return steps.reshape(len(factors), len(others)), others


def trend(strokes: Array, values: Array, zones: int = 1, factors: Sequence[str] | None = None) -> Trend | None:
    """The line through trays in order of strokes; None for fewer than `LEAST_TRAYS`, or where steps hide it.

    Of `zones` looked at, the most telling is shown: each interval is widened so that all hold together (Bonferroni).
    `factors` (n,) name the station and calibration of each tray.

    Parameters
    ----------
    strokes
        (n,) strokes of the die at each tray, rising.
    values
        (n,) a measure at each tray.
    zones
        How many zones were looked at, of which this is the most telling.
    factors
        Station and calibration of each tray, as one name; none: all are of one.

    Returns
    -------
    Trend | None
        Slope in the measure's unit a stroke, with what a prediction needs; none where it can't be told.
    """
    factors = ("",) * len(strokes) if factors is None else factors
    if len(strokes) < LEAST_TRAYS or np.ptp(strokes) == 0.0:
        return None
    steps, names = step_design(factors)
    middle, spread = float(strokes.mean()), float(np.ptp(strokes))
    design = np.column_stack([np.ones(len(strokes)), (strokes - middle) / spread, steps])
    if len(strokes) < LEAST_TRAYS + len(names) or np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    points = np.array_split(np.arange(len(strokes)), min(len(strokes), MOST_POINTS))
    rows, ys = (np.array([part[one].mean(axis=0) for one in points]) for part in (design, drawn_in(design, values)))
    lines = fit_lines(rows, ys)
    mean, covariance = lines.mean, lines.covariance()
    sd = np.sqrt(np.diag(covariance))
    low, high = (end / spread for end in lines.interval(1, 1 - (1 - MIXED) / zones))
    ends = lines.interval(1, MIXED)
    widening = 0.5 * (ends[1] - ends[0]) / sd[1] if sd[1] > 0.0 else float(stats.norm.ppf(0.5 + MIXED / 2))
    per_point = len(strokes) / len(points)
    return Trend(
        slope=float(mean[1]) / spread,
        slope_ci=(low, high),
        at=float(mean[0]),
        middle=middle,
        line_sd=(float(sd[0]), float(sd[1]) / spread),
        line_cov=float(covariance[0, 1]) / spread,
        scatter=float(np.sqrt(lines.weight @ lines.scatter**2 * per_point)),
        widening=float(widening),
        likeness=float(lines.weight @ LIKENESS),
        steps=tuple(Step(name, float(mean[2 + k]), lines.interval(2 + k, MIXED)) for k, name in enumerate(names)),
        trays=len(strokes),
        strokes=(float(strokes.min()), float(strokes.max())),
    )


def strokes_left(found: Trend | None, now: float, limit: float) -> StrokesLeft:
    """When a wearing die's value passes a limit on the side it grows towards (a prediction interval, by inversion).

    The ends of the interval are where the band of one more tray meets the limit (Fieller's kind of inversion, so that
    the far end may not exist).

    Parameters
    ----------
    found
        The trend, in the measure's unit a stroke; none where there are too few trays.
    now
        Strokes of the die so far, a number.
    limit
        In the measure's unit, as the values that the trend was fitted to.

    Returns
    -------
    StrokesLeft
        Strokes to come until the limit is met, with an interval; or why they can't be told.
    """
    if found is None:
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
    line, reach = side * found.value(ahead), found.reach(ahead)
    early = ahead[np.argmax(line + reach >= side * limit)] if (line + reach >= side * limit).any() else inf
    passed = line - reach >= side * limit
    late = float(ahead[np.argmax(passed)]) if passed.any() else inf
    return StrokesLeft("told", crossing - now, (float(early) - now, late - now))
