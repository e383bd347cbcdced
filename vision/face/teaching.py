"""A judge of marks taught by people's words: its curves stay, what each of them weighs is fitted anew.

The last layer of an additive model, by maximum a posteriori: each curve is stretched by a factor that is expected to
be 1, and the base moves. So few numbers can be learned from a hundred labels, a curve never turns round, and without
labels the judge is the one before. How far factors may go is chosen by what labels of other pieces say.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit, logit

from vision.face.features import Feature
from vision.face.judging import judged_by
from vision.records import FeatureCurve, MarkModel

# Standard deviations of a factor about 1, tried in turn; that of the base (log odds): any station's share of marks.
_LOOSE = (0.0, 0.15, 0.3, 0.6)
_BASE_LOOSE = 3.0
_MOST_FACTOR = 3.0
_FOLDS = 5
_DECIMALS = 5
# So sure at most is a chance in a likelihood: one label that is wrong must not outweigh all others.
_SUREST = 0.005


@dataclass(frozen=True, slots=True, eq=False)
class Lesson:
    """Candidates with what people say: `features` (n, features), `real` (n,) 1 or 0, `weight` (n,) one over the chance
    with which each was shown, `piece` (n,) numbers of the pieces that they lie on.
    """

    features: NDArray[np.float64]
    real: NDArray[np.int8]
    weight: NDArray[np.float64]
    piece: NDArray[np.intp]


def taught(model: MarkModel, lesson: Lesson, names: Sequence[Feature]) -> MarkModel:
    """A model whose curves weigh as people's words say.

    Parameters
    ----------
    model
        The judge's model before.
    lesson
        What people said of candidates.
    names
        The features, in their order.

    Returns
    -------
    MarkModel
        The same curves stretched, the base moved, the same calibration; the model before where it does best on labels
        of pieces that a fit did not see.
    """
    added = judged_by(model, lesson.features, names).added
    columns = [[one.name for one in names].index(curve.feature) for curve in model.curves]
    said = added[:, columns]
    fold = np.unique(lesson.piece, return_inverse=True)[1] % _FOLDS
    best, least = None, _loss(model, said, lesson, np.ones(len(columns)), model.base)
    for loose in _LOOSE:
        loss = 0.0
        for k in range(_FOLDS):
            out = fold == k
            if out.any() and not out.all():
                factors, base = _fit(model, said[~out], _only(lesson, ~out), loose)
                loss += _loss(model, said[out], _only(lesson, out), factors, base)
        if loss < least:
            best, least = loose, loss
    if best is None:
        return model
    factors, base = _fit(model, said, lesson, best)
    curves = tuple(_stretched(curve, factor) for curve, factor in zip(model.curves, factors.tolist(), strict=True))
    return replace(model, base=round(base, _DECIMALS), curves=curves)


def _only(lesson: Lesson, use: NDArray[np.bool_]) -> Lesson:
    return Lesson(lesson.features[use], lesson.real[use], lesson.weight[use], lesson.piece[use])


def _stretched(curve: FeatureCurve, factor: float) -> FeatureCurve:
    return replace(curve, log_odds=tuple(round(one * factor, _DECIMALS) for one in curve.log_odds))


def _fit(
    model: MarkModel, said: NDArray[np.float64], lesson: Lesson, loose: float
) -> tuple[NDArray[np.float64], float]:
    """Factors of the curves and the base."""
    count = said.shape[1]

    def off(values: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        factors, base = values[:count], values[count]
        chance, slope = _chance_and_slope(model, base + said @ factors)
        by_sum = lesson.weight * (chance - lesson.real) * slope
        loss = _cross_entropy(chance, lesson) + 0.5 * ((base - model.base) / _BASE_LOOSE) ** 2
        steps = np.append(said.T @ by_sum, by_sum.sum() + (base - model.base) / _BASE_LOOSE**2)
        if loose > 0:
            loss += 0.5 * float((((factors - 1) / loose) ** 2).sum())
            steps[:count] += (factors - 1) / loose**2
        return float(loss), np.asarray(steps)

    bounds = [(0.0, _MOST_FACTOR) if loose > 0 else (1.0, 1.0)] * count + [(None, None)]
    found = minimize(off, np.append(np.ones(count), model.base), jac=True, method="L-BFGS-B", bounds=bounds).x
    return np.asarray(found[:count]), float(found[count])


def _loss(
    model: MarkModel, said: NDArray[np.float64], lesson: Lesson, factors: NDArray[np.float64], base: float
) -> float:
    return _cross_entropy(_chance_and_slope(model, base + said @ factors)[0], lesson)


def _cross_entropy(chance: NDArray[np.float64], lesson: Lesson) -> float:
    bounded = np.clip(chance, _SUREST, 1 - _SUREST)
    return float(-(lesson.weight * np.where(lesson.real == 1, np.log(bounded), np.log(1 - bounded))).sum())


def _chance_and_slope(model: MarkModel, sums: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Calibrated chances, and how their log odds change with the sum; beyond the calibration as the sum does."""
    if not model.calibration:
        return np.asarray(expit(sums)), np.ones(len(sums))
    at, chance = np.array(model.calibration).T
    odds = logit(chance)
    inside = np.interp(sums, at, odds) + np.minimum(sums - at[0], 0.0) + np.maximum(sums - at[-1], 0.0)
    part = np.clip(np.searchsorted(at, sums) - 1, 0, len(at) - 2)
    within = (sums >= at[0]) & (sums <= at[-1])
    return np.asarray(expit(inside)), np.where(within, (np.diff(odds) / np.diff(at))[part], 1.0)
