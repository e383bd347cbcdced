"""Probability of detection against size, from hits and misses: logit fit, a90 and a90/95."""

from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from app.statistics.intervals import CONFIDENCE
from vision.errors import Unusable

Array = NDArray[np.float64]

STEPS_AT_MOST = 60
"""Newton steps; a logit fit that has a maximum takes about eight, one that runs away never ends."""

SLOPE_RANGE = 1e3
"""A fitted change of the log odds over the data's range above this means hits and misses don't overlap."""


@dataclass(frozen=True, slots=True, eq=False)
class LogitFit:
    """A maximum-likelihood logit fit.

    `coefficients` (k,); `covariance` (k, k), inverse of the information; `log_likelihood` without the binomial
    coefficients' constant; `deviance` against the saturated model.
    """

    coefficients: Array
    covariance: Array
    log_likelihood: float
    deviance: float


def fit_logit(design: Array, hits: Array, trials: Array) -> LogitFit | None:
    """Fit log odds of a hit = design @ coefficients by Newton's steps; None where no finite maximum exists.

    Parameters
    ----------
    design
        (n, k); a column of ones for an intercept.
    hits, trials
        (n,) counts.

    Source: McCullagh and Nelder 1989, Generalized Linear Models, section 4.4.
    """
    scale = np.abs(design).max(axis=0)
    scaled = design / np.where(scale > 0, scale, 1.0)
    beta = np.zeros(design.shape[1])
    for _ in range(STEPS_AT_MOST):
        chance = special.expit(scaled @ beta)
        weight = trials * chance * (1 - chance)
        information = (scaled * weight[:, None]).T @ scaled
        if np.linalg.cond(information) > 1 / np.finfo(np.float64).eps:
            return None
        step = np.linalg.solve(information, scaled.T @ (hits - trials * chance))
        beta = beta + step
        if np.abs(beta).max() > SLOPE_RANGE:
            return None
        if np.abs(step).max() < 1e-10 * (1 + np.abs(beta).max()):
            covariance = np.linalg.inv(information) / np.outer(scale, scale)
            chance = special.expit(scaled @ beta)
            saturated = float(
                (special.xlogy(hits, hits / trials) + special.xlogy(trials - hits, 1 - hits / trials)).sum()
            )
            reached = _log_likelihood(scaled @ beta, hits, trials)
            return LogitFit(beta / scale, covariance, reached, 2 * (saturated - reached))
    return None


def _log_likelihood(log_odds: Array, hits: Array, trials: Array) -> float:
    # log p = -log(1 + e^-x) and log(1 - p) = -log(1 + e^x), both safe for large x
    return float(-(hits * np.logaddexp(0, -log_odds) + (trials - hits) * np.logaddexp(0, log_odds)).sum())


@dataclass(frozen=True, slots=True, eq=False)
class Detectability:
    """How often something is found, against its size.

    `log_size`: the log odds are straight in ln(size) rather than in size. `a50` and `a90`: sizes found with
    probability 0.5 and 0.9; `a90_se` by the delta method (of ln a90 with `log_size`). `a90_95_wald`,
    `a90_95_profile`: sizes of which one is 95 % sure that at least 0.9 are found, None where there is no such size.
    """

    fit: LogitFit
    log_size: bool
    a50: float
    a90: float
    a90_se: float
    a90_95_wald: float | None
    a90_95_profile: float | None

    def chance(self, size: Array) -> Array:
        """Probability of detection at sizes (n,)."""
        a, b = self.fit.coefficients
        chance: Array = special.expit(a + b * _abscissa(size, self.log_size))
        return chance

    def lower(self, size: Array, confidence: float = CONFIDENCE) -> Array:
        """One-sided lower bound of that probability (Wald, on the log odds)."""
        x = _abscissa(size, self.log_size)
        rows = np.stack([np.ones_like(x), x], axis=1)
        spread = np.sqrt(np.einsum("ij,jk,ik->i", rows, self.fit.covariance, rows))
        bound: Array = special.expit(rows @ self.fit.coefficients - stats.norm.ppf(confidence) * spread)
        return bound


def _abscissa(size: Array, log_size: bool) -> Array:
    found: Array = np.log(size) if log_size else np.asarray(size, dtype=np.float64)
    return found


def detectability(
    size: Array, hits: Array, trials: Array, *, log_size: bool = True, confidence: float = CONFIDENCE
) -> Detectability:
    """Fit a probability-of-detection curve to hits out of trials at sizes, each of shape (n,).

    Sources: MIL-HDBK-1823A, appendix G (hit/miss data, logit link; from memory); dose of a given response with its
    standard error: Finney, Probit Analysis, as in Venables and Ripley, Modern Applied Statistics with S, section 7.2.

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
    a50, _ = _size_at(fit, 0.5, log_size)
    a90, a90_se = _size_at(fit, 0.9, log_size)
    wald = wald_bound(fit, 0.9, confidence)
    profile = _profile_bound(x, hits, trials, fit, 0.9, confidence)
    return Detectability(fit, log_size, a50, a90, a90_se, _back(wald, log_size), _back(profile, log_size))


def _back(x: float | None, log_size: bool) -> float | None:
    if x is None:
        return None
    return exp(x) if log_size else x


def size_found(fit: LogitFit, chance: float) -> tuple[float, float]:
    """Abscissa at which `chance` is reached, with its standard error by the delta method (two-coefficient fit)."""
    a, b = fit.coefficients
    x = (log(chance / (1 - chance)) - a) / b
    gradient = np.array([-1 / b, -x / b])
    return float(x), sqrt(float(gradient @ fit.covariance @ gradient))


def _size_at(fit: LogitFit, chance: float, log_size: bool) -> tuple[float, float]:
    x, se = size_found(fit, chance)
    return (exp(x) if log_size else x), se


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
            lambda slope: -_log_likelihood(target + slope * (x - place), hits, trials),
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
