"""A measuring system against reference pieces: bias over their range (linearity) and over time (stability).

Readings of one sitting share what the sitting does to all of them, so that the unit is a piece's mean in a sitting;
without times it is the single reading. The scatter of these units about their pieces' means has the degrees of freedom
of its two parts together, between sittings and within (Satterthwaite 1946, Biometrics Bull. 2:110), that between
sittings widened as far as these are alike one after the other. The line is weighted
by that scatter and the reference values' own uncertainty; where the pieces lie further off it than these explain, its
interval grows as far (Birge 1932, Phys. Rev. 40:207, from memory).
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from app.statistics import Estimate, StraightLine, Trend, likeness, straight_line, trend, worth
from app.studies.bias_input import Readings, units_of

Array = NDArray[np.float64]

CONFIDENCE = 0.95
LEAST_PIECES = 3
"""Reference values below which no line is fitted: two always lie on one."""
ALIKE = 0.05


@dataclass(frozen=True, slots=True)
class Scatter:
    """Of units about their pieces' means: standard deviation `unit`, with its degrees of freedom.

    `repeat` within a sitting (of single readings, with `repeat_freedom`; None where nothing was read twice in one
    sitting) and `sitting` what sittings add to it (None without at least two).
    """

    unit: float
    freedom: float
    repeat: float | None
    repeat_freedom: int
    sitting: float | None


@dataclass(frozen=True, slots=True)
class PieceBias:
    """Mean reading less reference value of one piece; `joint`: half-width at 95 % for all pieces (Bonferroni)."""

    name: str
    reference: float
    reference_u: float
    readings: int
    bias: Estimate
    joint: float

    @property
    def significant(self) -> bool:
        """Whether it is not 0, looked at with all the others."""
        return abs(self.bias.value or 0.0) > self.joint


@dataclass(frozen=True, slots=True, eq=False)
class Linearity:
    """Bias as a line over the reference values; `line_p` chance of pieces as far off it, `stretch` of its intervals."""

    line: StraightLine
    slope: Estimate
    intercept: Estimate
    line_p: float
    stretch: float

    def reach(self, x: Array) -> Array:
        """Half-width (n,) of the line's 95 % interval at reference values x (n,)."""
        return np.asarray(self.stretch * np.sqrt(np.maximum(self.line.variance(x), 0.0)))


@dataclass(frozen=True, slots=True, eq=False)
class Stability:
    """Mean of each sitting, pieces' own bias taken off, (sittings,), with its days.

    `found`: the trend, None below eight sittings (nothing is told then); `outside` (sittings,): off the line by more
    than one sitting in all of them is with a chance of 5 % (Bonferroni).
    """

    days: Array
    mean: Array
    found: Trend | None
    outside: NDArray[np.bool_]

    @property
    def drifts(self) -> bool:
        """Whether the drift's interval excludes 0."""
        return self.found is not None and not self.found.slope_ci[0] <= 0.0 <= self.found.slope_ci[1]


@dataclass(frozen=True, slots=True, eq=False)
class BiasStudy:
    """All of it; `mean`: bias over all pieces."""

    readings: Readings
    scatter: Scatter
    pieces: tuple[PieceBias, ...]
    mean: Estimate
    linearity: Linearity | None
    stability: Stability | None

    @property
    def words(self) -> str:
        """What an auditor reads first."""
        return " ".join((self._of_bias, self._of_line, self._of_time))

    @property
    def _of_bias(self) -> str:
        biased = [one.name for one in self.pieces if one.significant]
        if biased:
            return f"Biased at {', '.join(biased)} (95 %, all {len(self.pieces)} reference pieces together)."
        return f"No bias is shown at any of the {len(self.pieces)} reference pieces."

    @property
    def _of_line(self) -> str:
        found = self.linearity
        if found is None:
            return f"Linearity is not told: it takes {LEAST_PIECES} reference values or more."
        assert found.slope.value is not None
        assert found.slope.ci is not None
        said = f"by {found.slope.value:.3g} a unit of the reference value ({_ends(found.slope.ci)})"
        said = (
            f"Bias changes {said}" if _excludes(found.slope) else f"No change of bias over the range is shown: {said}"
        )
        if found.line_p < ALIKE:
            said += "; the pieces do not lie on a line, so that each piece's own bias stands and not the line's"
        return f"{said}."

    @property
    def _of_time(self) -> str:
        if self.stability is None:
            return "Stability is not told: the table gives no sittings at different times."
        if self.stability.found is None:
            return f"Stability is not told: {len(self.stability.days)} sittings are fewer than eight."
        said = "Drifts" if self.stability.drifts else "No drift is shown"
        found = self.stability.found
        said = f"{said}: {found.slope:.3g} a day ({_ends(found.slope_ci)}), a sitting like the last by "
        said += f"{found.likeness:.2f}"
        outside = int(self.stability.outside.sum())
        return f"{said}; {outside} sitting{'s' if outside != 1 else ''} off the line." if outside else f"{said}."


def _ends(ci: tuple[float, float]) -> str:
    return f"{ci[0]:.3g} to {ci[1]:.3g}"


def _excludes(found: Estimate) -> bool:
    return found.ci is not None and not found.ci[0] <= 0.0 <= found.ci[1]


def study_bias(readings: Readings) -> BiasStudy:
    """Study readings of reference pieces: bias of each, over all, along the range and over time.

    Parameters
    ----------
    readings
        Of pieces whose reference values are known.

    Returns
    -------
    BiasStudy
        In the units of the readings, with 95 % intervals.
    """
    units = units_of(readings)
    count = np.bincount(units.piece, minlength=len(readings.pieces))
    bias = np.bincount(units.piece, units.off, len(readings.pieces)) / count
    left = units.off - bias[units.piece]
    scatter = _scatter(readings, units.sitting, left)
    pieces = _pieces(readings, count, bias, scatter)
    return BiasStudy(
        readings=readings,
        scatter=scatter,
        pieces=pieces,
        mean=_mean(readings, bias, scatter, units.sitting, left),
        linearity=_linearity(readings, bias, scatter.unit**2 / count, scatter.freedom),
        stability=_stability(readings.days, units.sitting, left) if readings.several_sittings else None,
    )


def _scatter(readings: Readings, sitting: NDArray[np.int64], left: Array) -> Scatter:
    freedom = len(left) - len(readings.pieces)
    squares = float((left**2).sum())
    cell = readings.piece * len(readings.days) + readings.sitting
    _, cell, many = np.unique(cell, return_inverse=True, return_counts=True)
    off = readings.value - (np.bincount(cell, readings.value) / many)[cell]
    repeat_freedom = len(off) - len(many)
    repeat = sqrt(float((off**2).sum()) / repeat_freedom) if repeat_freedom else None
    unit, told, added = sqrt(squares / freedom), float(freedom), None
    if readings.several_sittings:
        found = _between(sitting, left)
        rest = freedom - (found.count - 1)
        if rest > 0 and squares > 0.0:
            unit = sqrt((found.wider * found.squares + found.within) / freedom)
            told = (found.wider * found.squares + found.within) ** 2
            told /= (found.wider * found.squares) ** 2 / found.freedom + found.within**2 / rest
            added = sqrt(max(found.squares / (found.count - 1) - found.within / rest, 0.0) * found.count / len(left))
        elif repeat is not None:
            a_unit = len(readings.value) / len(left)
            added = sqrt(max(unit**2 - repeat**2 / a_unit, 0.0))
    return Scatter(unit, told, repeat, repeat_freedom, added)


@dataclass(frozen=True, slots=True)
class _Between:
    """Sums of squares between `count` sittings and within; `wider`, `freedom` of the former, as they are alike."""

    squares: float
    within: float
    count: int
    wider: float
    freedom: float


def _between(sitting: NDArray[np.int64], left: Array) -> _Between:
    _, at, many = np.unique(sitting, return_inverse=True, return_counts=True)
    means = np.bincount(at, left) / many
    squares, within = float((many * means**2).sum()), float(((left - means[at]) ** 2).sum())
    count, rest = len(many), len(left) - len(many)
    alike = max(likeness(means) or 0.0, 0.0)
    if rest > 0 and within > 0.0:
        # Of sittings that differ no more than by chance the likeness is chance too.
        alike *= 1.0 - float(stats.f.sf(squares / max(count - 1, 1) * rest / within, max(count - 1, 1), rest))
    found = worth(count, alike)
    return _Between(squares, within, count, found.wider, found.of_mean)


def _pieces(readings: Readings, count: NDArray[np.int64], bias: Array, scatter: Scatter) -> tuple[PieceBias, ...]:
    many = np.bincount(readings.piece)
    found = []
    for k, name in enumerate(readings.pieces):
        own, u = scatter.unit / sqrt(count[k]), float(readings.reference_u[k])
        halves = [
            sqrt((stats.t.isf(tail, scatter.freedom) * own) ** 2 + (stats.norm.isf(tail) * u) ** 2)
            for tail in ((1 - CONFIDENCE) / 2, (1 - CONFIDENCE) / 2 / len(readings.pieces))
        ]
        value = float(bias[k])
        estimate = Estimate(value, (value - halves[0], value + halves[0]), sqrt(own**2 + u**2))
        found.append(PieceBias(name, float(readings.reference[k]), u, int(many[k]), estimate, halves[1]))
    return tuple(found)


def _mean(readings: Readings, bias: Array, scatter: Scatter, sitting: NDArray[np.int64], left: Array) -> Estimate:
    variance, freedom = scatter.unit**2 / len(left), scatter.freedom
    found = _between(sitting, left)
    if found.count > 1:
        of_sittings = found.wider * found.squares / (found.count - 1) / len(left)
        variance, freedom = max(of_sittings, variance), found.freedom
    value, u = float(bias.mean()), sqrt(float((readings.reference_u**2).sum())) / len(bias)
    tail = (1 - CONFIDENCE) / 2
    half = sqrt((stats.t.isf(tail, freedom) ** 2) * variance + (stats.norm.isf(tail) * u) ** 2)
    return Estimate(value, (value - half, value + half), sqrt(variance + u**2))


def _linearity(readings: Readings, bias: Array, variance: Array, freedom: float) -> Linearity | None:
    if len(np.unique(readings.reference)) < LEAST_PIECES:
        return None
    whole = variance + readings.reference_u**2
    if not (whole > 0.0).all():
        return None
    line = straight_line(readings.reference, bias, whole)
    ratio, tail = line.squares / line.freedom, (1 - CONFIDENCE) / 2
    stretch = max(float(stats.t.isf(tail, freedom)), sqrt(ratio) * float(stats.t.isf(tail, line.freedom)))
    slope, intercept = (
        Estimate(value, (value - stretch * se, value + stretch * se), se)
        for value, se in zip(
            (line.slope, line.intercept), np.sqrt(np.diag(line.covariance))[::-1].tolist(), strict=True
        )
    )
    return Linearity(line, slope, intercept, float(stats.f.sf(ratio, line.freedom, freedom)), stretch)


def _stability(days: Array, sitting: NDArray[np.int64], left: Array) -> Stability:
    mean = np.bincount(sitting, left, len(days)) / np.maximum(np.bincount(sitting, minlength=len(days)), 1)
    found = trend(days, mean)
    outside = np.zeros(len(days), dtype=np.bool_)
    if found is not None:
        tail, freedom = (1 - CONFIDENCE) / 2, len(days) - 2
        wider = float(stats.t.isf(tail / len(days), freedom) / stats.t.isf(tail, freedom))
        outside = np.abs(mean - found.value(days)) > wider * found.reach(days)
    return Stability(days, mean, found, outside)
