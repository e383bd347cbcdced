"""Probability of detection against size, from hits and misses: logit fit, a90 and a90/95."""

from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from app.statistics.intervals import CONFIDENCE
from app.statistics.logit import LogitFit, fit_logit
from app.statistics.pod_curve import Allowed, Curve, Held, Hits, ceiling_p, fit_check, fit_curve
from vision.errors import Unusable

Array = NDArray[np.float64]

FURTHEST = 1000.0
"""A size found nine times in ten that lies this many times beyond the largest tried is none."""
LARGEST_LOG = 700.0
CEILING_P = 0.1
"""Chance of hits and misses from a curve without a ceiling, below which one is drawn."""
REACH = 3.0
"""Standard deviations of the sizes beyond the largest, at which a bound is none."""
CUT = 0.5
"""Share of the risk that a likelihood takes: the rest is for what it does not know of few pieces, whose curve it takes
for too steep and which it takes for too much alike (of 20 and 10 pieces that differ 6 % were false without)."""
FEWEST_PIECES = 3
LOWER_AT = (0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.95)
"""Chances at which the lower bound of the curve is reckoned."""


@dataclass(frozen=True, slots=True, eq=False)
class Detectability:
    """How often something is found, against its size.

    `fit`: the logit fit without a ceiling, of pieces alike; `curve`: what is drawn and stated, with a ceiling where
    hits and misses ask for one. `log_size`: the log odds are straight in ln(size) rather than in size. `a50`, `a90`:
    sizes found with probability 0.5 and 0.9, None where the ceiling lies below. `a90_95`: the size of which one is 95 %
    sure that at least 0.9 are found, None where there is no such size or a ceiling at 0.9 is not excluded. `fit_p`:
    chance of hits as far from the curve as these (None: too few to check).
    """

    fit: LogitFit
    data: Hits
    curve: Curve
    log_size: bool
    confidence: float
    a50: float | None
    a90: float | None
    a90_95: float | None
    fit_p: float | None

    def chance(self, size: Array) -> Array:
        """Probability of detection at sizes (n,)."""
        return self.curve.chance(_abscissa(size, self.log_size))

    def lower(self, size: Array) -> Array:
        """One-sided lower bound of that probability at sizes (n,): through a90/95, and so of other chances."""
        x = _abscissa(size, self.log_size)
        sure = np.zeros(len(x))
        known = [
            (at, of) for of in LOWER_AT if (at := place_bound(self.data, self.curve, of, self.confidence)) is not None
        ]
        if known:
            places, chances = np.transpose(known)
            sure = np.interp(x, np.maximum.accumulate(places), chances, left=0.0)
        return np.minimum(sure, self.curve.chance(x))


def _abscissa(size: Array, log_size: bool) -> Array:
    found: Array = np.log(size) if log_size else np.asarray(size, dtype=np.float64)
    return found


def detectability(
    size: Array,
    hits: Array,
    trials: Array,
    *,
    log_size: bool = True,
    piece: NDArray[np.int64] | None = None,
    confidence: float = CONFIDENCE,
) -> Detectability:
    """Fit a probability-of-detection curve to hits out of trials at sizes.

    Sources: MIL-HDBK-1823A, appendix G (hit/miss data, logit link, bounds from the likelihood ratio; from memory).

    Parameters
    ----------
    size
        (n,) sizes, in any one unit; positive where `log_size`.
    hits, trials
        (n,) how many of how many were found.
    log_size
        Whether the curve is fitted over the logarithm of the size.
    piece
        (n,) which bears each mark: the curve is then that over all pieces, and its bounds allow for pieces that show
        their marks better or worse. Without it marks are taken for independent.
    confidence
        Coverage of the bound, one-sided, between 0 and 1.

    Returns
    -------
    Detectability
        The curve; sizes found with a chance of 0.5 and 0.9 and the bound of the latter, in the unit of `size`.

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
    data = Hits(x, hits, trials, piece)
    start = Curve(float(fit.coefficients[0]), float(fit.coefficients[1]), 1.0, 0.0, fit.log_likelihood)
    curve = fit_curve(data, start, Allowed(ceiling=False))
    free = fit_curve(data, curve)
    if ceiling_p(free, curve) < CEILING_P:
        curve = free
    a90 = curve.place(0.9)
    if a90 is not None and log_size and a90 > x.max() + log(FURTHEST):
        raise Unusable("detection curve", "", "larger defects found clearly more often", "hardly any rise with size")
    return Detectability(
        fit=fit,
        data=data,
        curve=curve,
        log_size=log_size,
        confidence=confidence,
        a50=_back(curve.place(0.5), log_size),
        a90=_back(a90, log_size),
        a90_95=_back(place_bound(data, curve, 0.9, confidence), log_size),
        fit_p=fit_check(data, curve),
    )


def place_bound(data: Hits, curve: Curve, chance: float, confidence: float) -> float | None:
    """Abscissa above the curve's at which a chance is reached for sure enough; None where there is none.

    Where the likelihood of curves that reach the chance there and not before, with a ceiling or without, has fallen by
    half a squared quantile: the normal one, or Student's of the pieces less the level and slope that they share.
    """
    place, pieces = curve.place(chance), data.pieces
    if place is None or (pieces is not None and pieces < FEWEST_PIECES):
        return None
    cut = 1.0 - CUT * (1.0 - confidence)
    quantile = float(stats.norm.ppf(cut) if pieces is None else stats.t.ppf(cut, pieces - 2))
    # A ceiling at the chance or below leaves it unreached anywhere, so that it is as good a curve for any place.
    unreached = fit_curve(data, curve, Allowed(most=chance)).log_likelihood
    # The root of the fall is nearly straight in the place, and nought where the curve itself reaches the chance.
    beyond, near = {place: -quantile}, curve

    def fallen(at: float) -> float:
        nonlocal near
        if at not in beyond:
            near = fit_curve(data, near, held=Held(at, chance))
            best = max(near.log_likelihood, unreached)
            beyond[at] = sqrt(max(2.0 * (curve.log_likelihood - best), 0.0)) - quantile
        return beyond[at]

    furthest = max(float(data.x.max()), place) + REACH * float(data.x.std())
    return float(optimize.brentq(fallen, place, furthest, xtol=1e-3)) if fallen(furthest) > 0.0 else None


def _back(x: float | None, log_size: bool) -> float | None:
    """A size from its abscissa; None beyond all that a number can hold."""
    if x is None or (log_size and x > LARGEST_LOG):
        return None
    return exp(x) if log_size else x


def size_found(fit: LogitFit, chance: float) -> tuple[float, float]:
    """Abscissa at which `chance` is reached, with its standard error by the delta method (two-coefficient fit).

    Source: Finney, Probit Analysis, as in Venables and Ripley, Modern Applied Statistics with S, section 7.2.
    """
    a, b = fit.coefficients
    x = (log(chance / (1 - chance)) - a) / b
    gradient = np.array([-1 / b, -x / b])
    return float(x), sqrt(float(gradient @ fit.covariance @ gradient))
