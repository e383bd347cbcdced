"""Probability of detection against size, from hits and misses: logit fit, a90 and a90/95."""

from dataclasses import dataclass
from math import exp, inf, isfinite, log, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from app.statistics.intervals import CONFIDENCE
from app.statistics.logit import LogitFit, fit_logit, log_likelihood
from app.statistics.pod_ceiling import (
    CEILING_P,
    CeilingFit,
    Hits,
    ceiling_p,
    cluster_draws,
    excludes_ceiling,
    fit_ceiling,
    fit_check,
)
from vision.errors import Unusable

Array = NDArray[np.float64]

FURTHEST = 1000.0
"""A size found nine times in ten that lies this many times beyond the largest tried is none."""
LARGEST_LOG = 700.0
CUT = 0.25
"""Share of the risk at which the stated bound is cut, so that it is false in 5 % over the truths that were tried."""
FEWEST_PIECES = 3
SIGMA_BELOW = float(stats.norm.cdf(-1.0))
SEED = 1
"""Of the cluster bootstrap, so that a study says the same each time."""


@dataclass(frozen=True, slots=True, eq=False)
class Detectability:
    """How often something is found, against its size.

    `fit`: the logit fit without a ceiling; `curve`: what is drawn and stated, with a ceiling where hits and misses ask
    for one. `log_size`: the log odds are straight in ln(size) rather than in size. `a50`, `a90`: sizes found with
    probability 0.5 and 0.9, None where the ceiling lies below. `a90_95`: the size of which one is 95 % sure that at
    least 0.9 are found, None where there is no such size or a ceiling at 0.9 or below is not excluded. Of the fit
    without a ceiling: `a90_se` by the delta method (of ln a90 with `log_size`), `a90_95_wald`, `a90_95_profile`.
    `fit_p`: chance of hits as far from the curve as these (None: too few to check). `draws`: curves of the cluster
    bootstrap, empty where no clusters were given.
    """

    fit: LogitFit
    curve: CeilingFit
    log_size: bool
    a50: float | None
    a90: float | None
    a90_95: float | None
    a90_se: float
    a90_95_wald: float | None
    a90_95_profile: float | None
    fit_p: float | None
    draws: tuple[CeilingFit, ...]

    def chance(self, size: Array) -> Array:
        """Probability of detection at sizes (n,)."""
        return self.curve.chance(_abscissa(size, self.log_size))

    def lower(self, size: Array, confidence: float = CONFIDENCE) -> Array:
        """One-sided lower bound of that probability: of the cluster bootstrap, else Wald's on the log odds."""
        x = _abscissa(size, self.log_size)
        if self.draws:
            return np.asarray(np.quantile([one.chance(x) for one in self.draws], 1 - confidence, axis=0))
        rows = np.stack([np.ones_like(x), x], axis=1)
        spread = np.sqrt(np.einsum("ij,jk,ik->i", rows, self.fit.covariance, rows))
        bound: Array = special.expit(rows @ self.fit.coefficients - stats.norm.ppf(confidence) * spread)
        return np.minimum(bound, self.chance(size))


def _abscissa(size: Array, log_size: bool) -> Array:
    found: Array = np.log(size) if log_size else np.asarray(size, dtype=np.float64)
    return found


def detectability(
    size: Array,
    hits: Array,
    trials: Array,
    *,
    log_size: bool = True,
    cluster: NDArray[np.int64] | None = None,
    confidence: float = CONFIDENCE,
) -> Detectability:
    """Fit a probability-of-detection curve to hits out of trials at sizes.

    Sources: MIL-HDBK-1823A, appendix G (hit/miss data, logit link; from memory); dose of a given response with its
    standard error: Finney, Probit Analysis, as in Venables and Ripley, Modern Applied Statistics with S, section 7.2.

    Parameters
    ----------
    size
        (n,) sizes, in any one unit; positive where `log_size`.
    hits, trials
        (n,) how many of how many were found.
    log_size
        Whether the curve is fitted over the logarithm of the size.
    cluster
        (n,) the piece that bears each mark; bounds then allow for pieces that show their marks better or worse.
    confidence
        Coverage of the bound, one-sided, between 0 and 1.

    Returns
    -------
    Detectability
        The curve; sizes found with a chance of 0.5 and 0.9 and bounds of the latter, in the unit of `size`.

    Raises
    ------
    Unusable
        Hits and misses don't overlap, all are hits, all are misses, or the larger are not found more often: no curve
        can be fitted, and what to do.
    """
    hit_count, tried = float(hits.sum()), float(trials.sum())
    if hit_count in (0.0, tried):
        which = "found" if hit_count else "missed"
        raise Unusable(
            "detection curve",
            "",
            f"hits and misses; plant {'smaller' if hit_count else 'larger'} defects too",
            f"all {which}",
        )
    x = _abscissa(size, log_size)
    design = np.stack([np.ones_like(x), x], axis=1)
    fit = fit_logit(design, hits, trials)
    if fit is None:
        raise Unusable(
            "detection curve",
            "",
            "sizes where some are found and some missed; plant more between the largest missed and the smallest found",
            "hits and misses that don't overlap",
        )
    if fit.coefficients[1] <= 0:
        raise Unusable("detection curve", "", "larger defects found more often than smaller ones", "no rise with size")
    data = Hits(x, hits, trials)
    start = (float(fit.coefficients[0]), float(fit.coefficients[1]))
    curve = CeilingFit(*start, 1.0, fit.log_likelihood)
    free = fit_ceiling(data, start)
    parameters = 2
    if ceiling_p(free, fit.log_likelihood) < CEILING_P:
        curve, parameters = free, 3
    a90 = curve.place(0.9)
    if a90 is not None and log_size and a90 > x.max() + log(FURTHEST):
        raise Unusable("detection curve", "", "larger defects found clearly more often", "hardly any rise with size")
    _, a90_se = size_found(fit, 0.9)
    wald = wald_bound(fit, 0.9, confidence)
    profile = _profile_bound(x, hits, trials, fit, 0.9, confidence)
    draws = () if cluster is None else tuple(cluster_draws(data, cluster, curve, np.random.default_rng(SEED)))
    cut = 1.0 - CUT * (1.0 - confidence)
    safe = _profile_bound(x, hits, trials, fit, 0.9, cut)
    sure = safe if curve.ceiling == 1.0 else None
    if cluster is not None:
        sure = _of_clusters(draws, len(np.unique(cluster)), (a90, safe), cut)
    if sure is not None and not excludes_ceiling(
        data, start, 0.9, max(curve.log_likelihood, free.log_likelihood), confidence
    ):
        sure = None
    return Detectability(
        fit=fit,
        curve=curve,
        log_size=log_size,
        a50=_back(curve.place(0.5), log_size),
        a90=_back(a90, log_size),
        a90_95=_back(sure, log_size),
        a90_se=a90_se,
        a90_95_wald=_back(wald, log_size),
        a90_95_profile=_back(profile, log_size),
        fit_p=fit_check(data, curve.chance(x), parameters),
        draws=draws,
    )


def _of_clusters(
    draws: tuple[CeilingFit, ...], pieces: int, found: tuple[float | None, float | None], confidence: float
) -> float | None:
    """The bound of a90 where pieces are told: the largest of three, each of which alone is too low somewhere.

    The draws' quantile; their spread by Student's distribution of as many pieces, since a bootstrap of few clusters is
    too narrow (Cameron, Gelbach and Miller 2008, Rev. Econ. Stat. 90:414, from memory); the profile's of a curve
    without a ceiling.
    `found`: the curve's a90, and that bound.
    """
    a90, profile = found
    places = [inf if (place := one.place(0.9)) is None else place for one in draws]
    low, high, bound = np.quantile(places, [SIGMA_BELOW, 1 - SIGMA_BELOW, confidence], method="higher").tolist()
    if a90 is None or profile is None or not isfinite(bound) or pieces < FEWEST_PIECES:
        return None
    wide = float(stats.t.ppf(confidence, max(pieces - 2, 1))) * 0.5 * (high - low) * sqrt(pieces / (pieces - 1))
    return float(max(bound, a90 + wide, profile))


def _back(x: float | None, log_size: bool) -> float | None:
    """A size from its abscissa; None beyond all that a number can hold."""
    if x is None or (log_size and x > LARGEST_LOG):
        return None
    return exp(x) if log_size else x


def size_found(fit: LogitFit, chance: float) -> tuple[float, float]:
    """Abscissa at which `chance` is reached, with its standard error by the delta method (two-coefficient fit)."""
    a, b = fit.coefficients
    x = (log(chance / (1 - chance)) - a) / b
    gradient = np.array([-1 / b, -x / b])
    return float(x), sqrt(float(gradient @ fit.covariance @ gradient))


def wald_bound(fit: LogitFit, chance: float, confidence: float) -> float | None:
    """Abscissa at which the lower Wald bound of the log odds reaches `chance`; None where the slope is too unsure.

    Roots of (a + b x - target)^2 = z^2 var(a + b x); the upper one is meant (Fieller).
    """
    a, b = fit.coefficients
    z2 = float(stats.norm.ppf(confidence)) ** 2
    target = log(chance / (1 - chance))
    v = fit.covariance
    square, half, rest = b * b - z2 * v[1, 1], b * (a - target) - z2 * v[0, 1], (a - target) ** 2 - z2 * v[0, 0]
    if square <= 0:
        return None
    return float((-half + sqrt(max(half * half - square * rest, 0.0))) / square)


def _profile_bound(
    x: Array, hits: Array, trials: Array, fit: LogitFit, chance: float, confidence: float
) -> float | None:
    """Abscissa above the estimate at which the profile likelihood has fallen by half a squared normal quantile."""
    target = log(chance / (1 - chance))
    drop = float(stats.norm.ppf(confidence)) ** 2 / 2
    estimate, se = size_found(fit, chance)

    def fall(place: float) -> float:
        # with the curve held at `chance` in `place` only the slope is free
        found = optimize.minimize_scalar(
            lambda slope: -log_likelihood(target + slope * (x - place), hits, trials),
            bracket=(fit.coefficients[1] * 0.5, fit.coefficients[1]),
        )
        return fit.log_likelihood + float(found.fun) - drop

    high, reach = estimate, se
    while reach < 1e3 * se:
        high = estimate + reach
        if fall(high) > 0:
            return float(optimize.brentq(fall, estimate, high, xtol=1e-10))
        reach *= 2
    return None
