"""The chance that each candidate is a mark, by an additive model: one curve a feature, summed and calibrated.

A generalised additive model (Hastie & Tibshirani 1990) whose curves are steps: what any feature says can be read off
its curve, whatever the others say.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from vision.face.features import Feature
from vision.records import MarkModel

# So many features are told of a finding, those that weighed most.
TOLD_FEATURES = 3


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """`chance` (n,) of each candidate, and what each feature added to its log odds, (n, features)."""

    chance: NDArray[np.float64]
    added: NDArray[np.float64]


def judged_by(model: MarkModel, features: NDArray[np.float64], names: Sequence[Feature]) -> Judged:
    """Judge candidates.

    Parameters
    ----------
    model
        Its curves are looked up by name.
    features
        (n, features), in the order of `names`.

    Raises
    ------
    KeyError
        For a curve of a feature that isn't read.
    """
    column = {one.name: k for k, one in enumerate(names)}
    added = np.zeros((len(features), len(names)))
    for curve in model.curves:
        k = column[curve.feature]
        added[:, k] = np.array(curve.log_odds)[np.searchsorted(curve.edges, features[:, k], side="left")]
    return Judged(chances_of(model, model.base + added.sum(axis=1)), added)


def unknown_features(model: MarkModel, names: Sequence[Feature]) -> tuple[str, ...]:
    """Features that a model weighs and this version does not read.

    Parameters
    ----------
    model
        Of a judge's file.
    names
        What is read.

    Returns
    -------
    tuple[str, ...]
        Their names.
    """
    known = {one.name for one in names}
    return tuple(one.feature for one in model.curves if one.feature not in known)


def chances_of(model: MarkModel, sums: NDArray[np.float64]) -> NDArray[np.float64]:
    """The chances that sums of log odds stand for."""
    if not model.calibration:
        return np.asarray(expit(sums))
    at, chance = np.array(model.calibration).T
    return np.asarray(np.interp(sums, at, chance))


def weighed_most(added: NDArray[np.float64], names: Sequence[Feature]) -> tuple[str, ...]:
    """In words the features that weighed most for one candidate, each with whether it spoke for or against a mark."""
    order = np.argsort(-np.abs(added), kind="stable")[:TOLD_FEATURES]
    return tuple(f"{'for' if added[k] > 0 else 'against'}: {names[k].meaning}" for k in order if added[k] != 0.0)
