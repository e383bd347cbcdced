"""Fit the additive models of a judge of marks to examples.

Boosted stumps (Friedman 2001, 10.1214/aos/1013203451), one feature a stump, so that their sum is one curve a feature;
curves rise or fall where the feature says so. Chances are calibrated on faces that had no part in the fit (isotonic
regression over folds by face; Zadrozny & Elkan 2002, 10.1145/775047.775151).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.isotonic import IsotonicRegression

from vision.face.features import Feature
from vision.face.judging import judged_by
from vision.records import FeatureCurve, MarkModel

_STUMPS, _RATE, _LEAST_IN_LEAF, _RIDGE = 300, 0.1, 20, 5.0
_FOLDS = 5
# The calibration's knots: so many candidates at least lie between two.
_LEAST_BETWEEN = 40
_DECIMALS = 5


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Candidates to fit: `features` (n, features), `real` (n,) 1 or 0, `face` (n,) which face each lies on."""

    features: NDArray[np.float64]
    real: NDArray[np.int8]
    face: NDArray[np.intp]
    weight: NDArray[np.float64]


def fitted(table: Table, names: Sequence[Feature]) -> MarkModel:
    """An additive model, calibrated by faces held back in turn."""
    sums = np.zeros(len(table.real))
    for fold in range(_FOLDS):
        out = table.face % _FOLDS == fold
        model = _curves(table, ~out, names)
        sums[out] = _sums(model, table.features[out], names)
    whole = _curves(table, np.ones(len(table.real), bool), names)
    return MarkModel(whole.base, whole.curves, _calibration(sums, table))


def _sums(model: MarkModel, features: NDArray[np.float64], names: Sequence[Feature]) -> NDArray[np.float64]:
    return model.base + judged_by(model, features, names).added.sum(axis=1)


def _curves(table: Table, use: NDArray[np.bool_], names: Sequence[Feature]) -> MarkModel:
    """The model without its calibration."""
    stumps = HistGradientBoostingClassifier(
        max_iter=_STUMPS,
        learning_rate=_RATE,
        max_leaf_nodes=2,
        min_samples_leaf=_LEAST_IN_LEAF,
        l2_regularization=_RIDGE,
        monotonic_cst=[one.rises for one in names],
        interaction_cst="no_interactions",
        early_stopping=False,
        random_state=0,
    )
    stumps.fit(table.features[use], table.real[use], sample_weight=table.weight[use])
    steps: dict[int, list[tuple[float, float, float]]] = {}
    base = float(np.ravel(stumps._baseline_prediction)[0])
    for (tree,) in stumps._predictors:
        root = tree.nodes[0]
        if root["is_leaf"]:
            base += float(root["value"])
            continue
        left, right = (float(tree.nodes[root[side]]["value"]) for side in ("left", "right"))
        steps.setdefault(int(root["feature_idx"]), []).append((float(root["num_threshold"]), left, right))
    curves = []
    for k in sorted(steps):
        edges = sorted({edge for edge, _, _ in steps[k]})
        values = np.zeros(len(edges) + 1)
        for edge, left, right in steps[k]:
            at = edges.index(edge) + 1
            values[:at] += left
            values[at:] += right
        curves.append(FeatureCurve(names[k].name, tuple(edges), tuple(np.round(values, _DECIMALS).tolist())))
    return MarkModel(round(base, _DECIMALS), tuple(curves))


def _calibration(sums: NDArray[np.float64], table: Table) -> tuple[tuple[float, float], ...]:
    """What share is real by the sum of log odds, as knots of a rising line."""
    order = np.argsort(sums, kind="stable")
    sums, real, weight = sums[order], table.real[order].astype(float), table.weight[order]
    # knots by equal numbers of the rarer kind, so that every one is known about as well
    rare = np.cumsum(np.minimum(expit(sums), 1 - expit(sums)))
    knots = max(4, min(16, int(min(real.sum(), (1 - real).sum()) / _LEAST_BETWEEN) + 4))
    part = np.minimum((rare / rare[-1] * knots).astype(int), knots - 1)
    at = np.array([np.average(sums[part == k], weights=weight[part == k]) for k in range(knots) if (part == k).any()])
    share = np.array(
        [np.average(real[part == k], weights=weight[part == k]) for k in range(knots) if (part == k).any()]
    )
    number = np.array([weight[part == k].sum() for k in range(knots) if (part == k).any()])
    rising = IsotonicRegression(y_min=0.0, y_max=1.0).fit(at, share, sample_weight=number).predict(at)
    # nothing is certain: one more of the other kind might have been seen
    rising = np.clip(rising, 0.5 / (number + 1), 1 - 0.5 / (number + 1))
    rising = np.maximum.accumulate(rising)
    return tuple(zip(np.round(at, 4).tolist(), np.round(rising, _DECIMALS).tolist(), strict=True))
