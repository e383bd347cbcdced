"""Detection against size: a rise that may level off, on pieces that show their marks better or worse.

Reflections, shadow and lines of the wheel hide marks of any size: the chance of detection then rises to a ceiling below
one, and where that lies below nine in ten there is no size of which nine in ten are found. Marks of one piece are found
and missed together: each piece has log odds of its own, normal about the mean (a logit fit with a random level,
Stiratelli, Laird and Ware 1984, Biometrics 40:961, from memory), integrated by Gauss and Hermite. What is stated is the
chance over all pieces, not that of a middling one.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

Array = NDArray[np.float64]

GROUPS = 10
NODES, WEIGHTS = (np.asarray(of, dtype=np.float64) for of in np.polynomial.hermite_e.hermegauss(15))
WEIGHTS = WEIGHTS / WEIGHTS.sum()
STEEPEST = 60.0
"""Of level and slope, in standard deviations of the abscissae; a fit that runs away ends there."""
MOST_BETWEEN = 6.0
"""Log odds; pieces that differ by more are all found or all missed."""
LOWEST_CEILING = 0.02
ABOVE = 1e-4
"""By how much a ceiling lies above a chance that is reached."""


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """Hits out of trials (n,) at abscissae (n,); `piece` (n,) bears each, None where that is not told."""

    x: Array
    hits: Array
    trials: Array
    piece: NDArray[np.int64] | None = None

    @property
    def pieces(self) -> int | None:
        """How many bear marks, where it is told."""
        return None if self.piece is None else len(np.unique(self.piece))


@dataclass(frozen=True, slots=True)
class Held:
    """A curve that is held to reach `chance` at abscissa `place`."""

    place: float
    chance: float


@dataclass(frozen=True, slots=True)
class Allowed:
    """What a fit is free in: a ceiling, up to the highest that is `most`; pieces that differ."""

    ceiling: bool = True
    pieces: bool = True
    most: float = 1.0


@dataclass(frozen=True, slots=True)
class Curve:
    """Chance of a hit = ceiling x mean over pieces of expit(level + slope x abscissa + a piece's own).

    `between`: standard deviation of pieces' own log odds; `log_likelihood` at the maximum.
    """

    level: float
    slope: float
    ceiling: float
    between: float
    log_likelihood: float

    def chance(self, x: Array) -> Array:
        """Chance of a hit at abscissae (n,), over all pieces."""
        eta = self.level + self.slope * np.asarray(x, dtype=np.float64)
        return np.asarray(self.ceiling * special.expit(eta[..., None] + self.between * NODES) @ WEIGHTS)

    def place(self, chance: float) -> float | None:
        """Abscissa at which a chance is reached; None where the ceiling lies at it or below, or nothing rises."""
        if self.ceiling <= chance or self.slope <= 0.0:
            return None
        return (_level_for(chance / self.ceiling, self.between) - self.level) / self.slope


def _level_for(share: float, between: float) -> float:
    """The level at which a share of hits is reached over all pieces."""
    alone = float(special.logit(share))
    if between == 0.0:
        return alone
    reach = abs(alone) + between * float(NODES[-1]) + 1.0
    return float(optimize.brentq(lambda level: special.expit(level + between * NODES) @ WEIGHTS - share, -reach, reach))


def fit_curve(data: Hits, begin: Curve, allowed: Allowed | None = None, held: Held | None = None) -> Curve:
    """The curve of maximum likelihood, searched from `begin`.

    Parameters
    ----------
    allowed
        What is free; the rest stands as without it (a ceiling of one, pieces alike).
    held
        Where the curve must reach what: its level follows from the rest.
    """
    allowed = allowed or Allowed()
    scaled = _Scaled.of(data, allowed)
    least = LOWEST_CEILING if held is None else held.chance + ABOVE
    span = scaled.spread
    bounds = [(-STEEPEST, STEEPEST), (1e-3 if held else -STEEPEST, STEEPEST)]
    bounds += [
        (least, allowed.most) if allowed.ceiling else (1.0, 1.0),
        (0.0, MOST_BETWEEN) if scaled.pieces else (0.0, 0.0),
    ]
    level, slope = begin.level + begin.slope * scaled.middle, begin.slope * span
    starts = [[level, slope, begin.ceiling, max(begin.between, 0.3)]]
    if allowed.ceiling:
        # the ceiling of the largest fifth, or just above what must be reached: likelihoods with two tops
        low = scaled.top if held is None else least + 0.02
        starts.append([level, 1.5 * slope, low, max(begin.between, 0.3)])
    at = None if held is None else Held((held.place - scaled.middle) / span, held.chance)
    free = slice(0 if held is None else 1, None)
    best, found = np.inf, np.zeros(4)
    for start in starts:
        clipped = np.clip(start, *np.transpose(bounds))
        one = optimize.minimize(
            lambda x: _loss(scaled, x, at), clipped[free], jac=True, bounds=bounds[free], method="L-BFGS-B"
        )
        if one.fun < best:
            best, found = float(one.fun), np.asarray(one.x)
    level, slope, ceiling, between = _parameters(found, at).tolist()
    return Curve(level - slope * scaled.middle / span, slope / span, ceiling, between, -best)


@dataclass(frozen=True, slots=True, eq=False)
class _Scaled:
    """The data in order of pieces, abscissae about their middle in standard deviations.

    `first` of each piece's `marks`; `top`: share of hits among the largest fifth.
    """

    z: Array
    hits: Array
    missed: Array
    first: NDArray[np.int64]
    marks: NDArray[np.int64]
    pieces: bool
    middle: float
    spread: float
    top: float

    @classmethod
    def of(cls, data: Hits, allowed: Allowed) -> "_Scaled":
        middle, spread = float(data.x.mean()), max(float(data.x.std()), 1e-12)
        together = data.piece is not None and allowed.pieces
        piece = data.piece if data.piece is not None and together else np.zeros(len(data.x), dtype=np.int64)
        order = np.argsort(piece, kind="stable")
        first = np.flatnonzero(np.diff(piece[order], prepend=piece.min() - 1))
        far = data.x >= np.quantile(data.x, 0.8)
        top = float(data.hits[far].sum()) / max(float(data.trials[far].sum()), 1.0)
        z, hits = (data.x[order] - middle) / spread, data.hits[order]
        marks = np.diff(first, append=len(z))
        return cls(z, hits, data.trials[order] - hits, first, marks, together, middle, spread, top)


def _parameters(free: Array, held: Held | None) -> Array:
    """Level, slope, ceiling and between of the free ones."""
    if held is None:
        return free
    slope, ceiling, between = free
    return np.array([_level_for(held.chance / ceiling, between) - slope * held.place, *free])


def _loss(data: _Scaled, free: Array, held: Held | None) -> tuple[float, Array]:
    """Minus the log likelihood and its gradient."""
    level, slope, ceiling, between = _parameters(free, held).tolist()
    nodes, weights = (NODES, WEIGHTS) if data.pieces else (np.zeros(1), np.ones(1))
    rise = special.expit((level + slope * data.z)[:, None] + between * nodes)
    chance = np.clip(ceiling * rise, 1e-12, 1.0 - 1e-12)
    each = data.hits[:, None] * np.log(chance) + data.missed[:, None] * np.log1p(-chance)
    of_piece = np.add.reduceat(each, data.first, axis=0) + np.log(weights)
    log_likelihood = np.logaddexp.reduce(of_piece, axis=1)
    belief = np.exp(of_piece - log_likelihood[:, None])
    by_chance = np.repeat(belief, data.marks, axis=0) * (
        data.hits[:, None] / chance - data.missed[:, None] / (1.0 - chance)
    )
    by_odds = by_chance * ceiling * rise * (1.0 - rise)
    slopes = np.array(
        [by_odds.sum(), data.z @ by_odds.sum(axis=1), float((by_chance * rise).sum()), by_odds.sum(axis=0) @ nodes]
    )
    if held is None:
        return -float(log_likelihood.sum()), -slopes
    at = special.expit(level + slope * held.place + between * NODES)
    steep = at * (1.0 - at) * WEIGHTS
    of_level = slopes[0]
    moved = [-held.place, -held.chance / ceiling**2 / steep.sum(), -float(steep @ NODES) / steep.sum()]
    return -float(log_likelihood.sum()), -(slopes[1:] + of_level * np.array(moved))


def ceiling_p(free: Curve, without: Curve) -> float:
    """Chance of the likelihood that a ceiling gains where there is none.

    Half of such gains are nought, since a ceiling can't lie above one (Self and Liang 1987, J. Am. Stat. Assoc.
    82:605, case 5).
    """
    return 0.5 * float(stats.chi2.sf(max(2.0 * (free.log_likelihood - without.log_likelihood), 0.0), 1))


def fit_check(data: Hits, curve: Curve) -> float | None:
    """Chance of hits as far from the curve as these; None where there are too few.

    Groups of alike chances (Hosmer and Lemeshow 1980, Commun. Stat. A 9:1043), their counts of hits weighed by the
    covariance that marks of one piece give them; chi-squared with as many degrees of freedom as groups less level,
    slope and ceiling.
    """
    fitted = 2 + (curve.ceiling < 1.0)
    chance = curve.chance(data.x)
    if len(chance) < 5 * (fitted + 2):
        return None
    groups = np.array_split(np.argsort(chance, kind="stable"), min(GROUPS, len(chance) // 5))
    if len(groups) <= fitted:
        return None
    group = np.empty(len(chance), dtype=np.int64)
    for k, one in enumerate(groups):
        group[one] = k
    each = curve.ceiling * special.expit((curve.level + curve.slope * data.x)[:, None] + curve.between * NODES)
    spread = np.bincount(group, data.trials * (each * (1.0 - each) @ WEIGHTS), len(groups))
    covariance = np.diag(np.maximum(spread, 1e-9))
    for piece in () if data.piece is None else np.unique(data.piece):
        own = data.piece == piece
        sums = np.zeros((len(groups), len(NODES)))
        np.add.at(sums, group[own], data.trials[own, None] * each[own])
        sums -= (sums @ WEIGHTS)[:, None]
        covariance += (sums * WEIGHTS) @ sums.T
    off = np.bincount(group, data.hits - data.trials * chance, len(groups))
    return float(stats.chi2.sf(off @ np.linalg.solve(covariance, off), len(groups) - fitted))
