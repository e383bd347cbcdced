"""Least squares with a full covariance: one loop for every camera model."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.records import Array

# Parameters (p,) -> predicted points (n, 2) and their Jacobian (2 n, p), rows u0, v0, u1, v1, ...
Predict = Callable[[Array], tuple[Array, Array]]

_ROUNDS = 60
# A round that lowers the sum of squares by less than this share ends it.
_STILL = 1e-10
# Beyond this condition (of the normal matrix with unit diagonal) parameters can't be told apart in double precision.
_MAX_CONDITION = 1e12


class Undetermined(Exception):
    """The observations leave some parameter free."""


@dataclass(frozen=True, slots=True, eq=False)
class Adjusted:
    """A fit's end: `parameters` (p,), `residuals` (n, 2) seen minus predicted, the `jacobian` (2 n, p) there."""

    parameters: Array
    residuals: Array
    jacobian: Array

    @property
    def freedom(self) -> int:
        """Observations less parameters."""
        return self.residuals.size - len(self.parameters)

    @property
    def variance(self) -> float:
        """Of one coordinate, from the residuals, px²."""
        return float(np.sum(self.residuals**2)) / max(self.freedom, 1)

    @property
    def covariance(self) -> Array:
        """Of the parameters (p, p): variance times (J'J)^-1."""
        scale = np.sqrt(np.sum(self.jacobian**2, axis=0))
        scaled = self.jacobian / scale
        return np.asarray(self.variance * np.linalg.inv(scaled.T @ scaled) / np.outer(scale, scale))

    def refuse_undetermined(self) -> None:
        """Raise `Undetermined` where the points leave a parameter free."""
        scale = np.sqrt(np.sum(self.jacobian**2, axis=0))
        scaled = self.jacobian / np.where(scale > 0.0, scale, 1.0)
        if (scale == 0.0).any() or np.linalg.cond(scaled.T @ scaled) > _MAX_CONDITION:
            raise Undetermined

    @property
    def rms_px(self) -> float:
        """Root mean square distance of seen from predicted, the number that calibrations publish."""
        return float(np.sqrt(np.mean(np.sum(self.residuals**2, axis=1))))

    @property
    def information(self) -> float:
        """Bayesian information criterion: lower is better (Schwarz 1978, 10.1214/aos/1176344136)."""
        n = self.residuals.size
        return float(n * np.log(np.sum(self.residuals**2) / n) + len(self.parameters) * np.log(n))


def adjust(predict: Predict, start: Array, seen: Array) -> Adjusted:
    """Levenberg-Marquardt from `start` (p,) to the points `seen` (n, 2)."""
    parameters = np.array(start, dtype=float)
    predicted, jacobian = predict(parameters)
    residuals = seen - predicted
    sum_sq, damping = float(np.sum(residuals**2)), 1e-4
    for _ in range(_ROUNDS):
        scale = np.sqrt(np.sum(jacobian**2, axis=0)) + 1e-300
        scaled = jacobian / scale
        normal, pull = scaled.T @ scaled, scaled.T @ residuals.ravel()
        before = sum_sq
        for _ in range(12):
            trial = parameters + np.linalg.solve(normal + damping * np.eye(len(scale)), pull) / scale
            new_predicted, new_jacobian = predict(trial)
            new_residuals = seen - new_predicted
            new_sum = float(np.sum(new_residuals**2))
            if new_sum <= sum_sq:
                parameters, jacobian, residuals, sum_sq = trial, new_jacobian, new_residuals, new_sum
                damping = max(damping / 10, 1e-12)
                break
            damping *= 10
        if before - sum_sq <= _STILL * before:
            break
    return Adjusted(parameters, residuals, jacobian)
