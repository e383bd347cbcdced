"""A logit fit by maximum likelihood: the log odds of a hit as a linear function."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

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
            reached = log_likelihood(scaled @ beta, hits, trials)
            return LogitFit(beta / scale, covariance, reached, 2 * (saturated - reached))
    return None


def log_likelihood(log_odds: Array, hits: Array, trials: Array) -> float:
    """Of hits out of trials (n,) at log odds (n,), without the binomial coefficients' constant."""
    # log p = -log(1 + e^-x) and log(1 - p) = -log(1 + e^x), both safe for large x
    return float(-(hits * np.logaddexp(0, -log_odds) + (trials - hits) * np.logaddexp(0, log_odds)).sum())
