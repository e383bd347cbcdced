"""Detection that levels off: a curve with an upper asymptote, checks of fit, and bounds when marks share a piece.

Reflections, shadow and lines of the wheel hide marks of any size: the chance of detection then rises to a ceiling below
one, and where that lies below nine in ten there is no size of which nine in ten are found.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

Array = NDArray[np.float64]

CEILING_P = 0.1
"""Chance of hits and misses from a curve without a ceiling, below which one is fitted."""
DRAWS = 200
"""Of the cluster bootstrap."""
GROUPS = 10


@dataclass(frozen=True, slots=True)
class CeilingFit:
    """Chance of a hit = ceiling x expit(level + slope x abscissa), by maximum likelihood."""

    level: float
    slope: float
    ceiling: float
    log_likelihood: float

    def chance(self, x: Array) -> Array:
        """Chance of a hit at abscissae (n,)."""
        return np.asarray(self.ceiling * special.expit(self.level + self.slope * x))

    def place(self, chance: float) -> float | None:
        """Abscissa at which a chance is reached; None where the ceiling lies below it, or nothing rises."""
        if self.ceiling <= chance or self.slope <= 0.0:
            return None
        return float((special.logit(chance / self.ceiling) - self.level) / self.slope)


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """Hits out of trials (n,) at abscissae (n,)."""

    x: Array
    hits: Array
    trials: Array


def fit_ceiling(data: Hits, start: tuple[float, float], most: float = 1.0, least: float = 0.02) -> CeilingFit:
    """Fit with a ceiling between `least` and `most`, from the level and slope of a fit without one."""
    middle, spread = float(data.x.mean()), max(float(data.x.std()), 1e-12)
    z = (data.x - middle) / spread

    def loss(free: Array) -> tuple[float, Array]:
        level, slope, ceiling = free
        rise = special.expit(level + slope * z)
        chance = np.clip(ceiling * rise, 1e-12, 1.0 - 1e-12)
        missed = data.trials - data.hits
        value = -float((data.hits * np.log(chance) + missed * np.log1p(-chance)).sum())
        by_chance = -(data.hits / chance - missed / (1.0 - chance))
        by_level = by_chance * ceiling * rise * (1.0 - rise)
        return value, np.array([by_level.sum(), (by_level * z).sum(), (by_chance * rise).sum()])

    begun = np.array([start[0] + start[1] * middle, start[1] * spread])
    share = float(data.hits[data.x >= np.quantile(data.x, 0.8)].sum())
    share /= max(float(data.trials[data.x >= np.quantile(data.x, 0.8)].sum()), 1.0)
    bounds = [(-60.0, 60.0), (-60.0, 60.0), (least, most)]
    found = min(
        (
            optimize.minimize(
                loss, [*begun * factor, np.clip(top, least, most)], jac=True, bounds=bounds, method="L-BFGS-B"
            )
            for factor, top in ((1.0, most), (2.0, share))
        ),
        key=lambda one: float(one.fun),
    )
    level, slope, ceiling = found.x.tolist()
    return CeilingFit(level - slope * middle / spread, slope / spread, ceiling, -float(found.fun))


def ceiling_p(free: CeilingFit, log_likelihood: float) -> float:
    """Chance of the likelihood that a ceiling gains where there is none.

    Half of such gains are nought, since a ceiling can't lie above one (Self and Liang 1987, J. Am. Stat. Assoc.
    82:605, case 5).
    """
    return 0.5 * float(stats.chi2.sf(max(2.0 * (free.log_likelihood - log_likelihood), 0.0), 1))


def excludes_ceiling(data: Hits, start: tuple[float, float], chance: float, best: float, confidence: float) -> bool:
    """Whether the hits exclude, by their likelihood, that the ceiling lies at `chance` or below (one-sided)."""
    below = fit_ceiling(data, start, most=chance)
    return 2.0 * (best - below.log_likelihood) > float(stats.norm.ppf(confidence)) ** 2


def fit_check(data: Hits, chance: Array, fitted: int) -> float | None:
    """Chance of hits as far from the curve as these; None where there are too few.

    Hosmer and Lemeshow 1980, Commun. Stat. A 9:1043: groups of alike chances, chi-squared with as many degrees of
    freedom as groups less the parameters `fitted`.
    """
    order = np.argsort(chance, kind="stable")
    groups = np.array_split(order, min(GROUPS, len(order) // 5)) if len(order) >= 5 * (fitted + 2) else []
    if len(groups) <= fitted:
        return None
    total = 0.0
    for one in groups:
        trials, hits = float(data.trials[one].sum()), float(data.hits[one].sum())
        mean = float((data.trials[one] * chance[one]).sum()) / trials
        total += (hits - trials * mean) ** 2 / max(trials * mean * (1.0 - mean), 1e-9)
    return float(stats.chi2.sf(total, len(groups) - fitted))


def cluster_draws(
    data: Hits, cluster: NDArray[np.int64], fit: CeilingFit, rng: np.random.Generator
) -> list[CeilingFit]:
    """The curve fitted anew to pieces drawn with replacement, each with all its marks.

    The cluster bootstrap (Davison and Hinkley 1997, Bootstrap Methods and their Application, 3.8); a curve without a
    ceiling is fitted without one.
    """
    _, piece = np.unique(cluster, return_inverse=True)
    pieces = int(piece.max()) + 1
    least = 1.0 if fit.ceiling == 1.0 else 0.02
    found = []
    for _ in range(DRAWS):
        times = np.bincount(rng.integers(0, pieces, pieces), minlength=pieces)[piece]
        drawn = Hits(data.x, data.hits * times, data.trials * times)
        found.append(fit_ceiling(drawn, (fit.level, fit.slope), least=least))
    return found
