"""The distribution of true values behind measured ones: measurement uncertainty taken out."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

POINTS = 160
ROUNDS = 60
"""Of the iteration; stopped early it stays smooth, which true values are."""
MOST_VALUES = 4000
"""More values than so many are taken at even ranks: the rest adds nothing to a distribution."""
_FAR = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class TrueValues:
    """Chances `weight` (points,) of true values `at` (points,), evenly spaced by `step`."""

    at: Array
    weight: Array
    step: float

    def inside(self, value: Array, u: Array, low: float, high: float) -> Array:
        """Chance (n,) that the true value behind each measured one lies between two limits, the lot's own known."""
        share = self._between(low, high) * self.weight
        found = np.empty(len(value))
        for part in np.array_split(np.arange(len(value)), max(1, len(value) // 2000)):
            likely = _likelihood(value[part], u[part], self.at, self.step)
            density = likely @ self.weight
            inside = np.clip((likely @ share) / np.maximum(density, 1e-300), 0.0, 1.0)
            found[part] = np.where(density > 0.0, inside, np.nan)
        return found

    def _between(self, low: float, high: float) -> Array:
        """Share of each step that lies between two limits."""
        edges = np.concatenate([self.at - self.step / 2, self.at[-1:] + self.step / 2])
        kept = np.clip(edges, low, high)
        return np.asarray(np.diff(kept) / self.step)


def _likelihood(value: Array, u: Array, at: Array, step: float) -> Array:
    """Density (n, points) of each measured value for each true one; no sharper than the steps."""
    wide = np.maximum(u, step / 2)[:, None]
    return np.asarray(np.exp(-0.5 * ((value[:, None] - at) / wide) ** 2) / wide)


def true_values(value: Array, u: Array) -> TrueValues | None:
    """Estimate the distribution of true values; None for fewer than three measured ones.

    Expectation and maximization of the mixture over even steps (Laird 1978, J. Am. Stat. Assoc. 73:805), begun with the
    measured values' own spread less the measurement's and stopped after `ROUNDS`: the later rounds only make spikes.

    Parameters
    ----------
    value
        (n,) measured values, in any one unit; nan where not measured.
    u
        (n,) their standard uncertainties, in the same unit.

    Returns
    -------
    TrueValues | None
        Even steps over the range with the weight of each; none for fewer than three measured values.
    """
    known = np.isfinite(value) & np.isfinite(u)
    value, u = value[known], u[known]
    if len(value) < 3:
        return None
    if len(value) > MOST_VALUES:
        ranks = np.argsort(value, kind="stable")[np.linspace(0, len(value) - 1, MOST_VALUES).astype(np.int64)]
        value, u = value[ranks], u[ranks]
    margin = 2.0 * float(u.max()) + 1e-9 * max(1.0, float(np.abs(value).max()))
    low, high = float(value.min()) - margin, float(value.max()) + margin
    at = np.linspace(low, high, POINTS)
    step = float(at[1] - at[0])
    spread = np.sqrt(max(float(value.var()) - float((u**2).mean()), step**2))
    weight = np.exp(-0.5 * ((at - value.mean()) / spread) ** 2) + 1e-3
    weight /= weight.sum()
    likely = _likelihood(value, u, at, step)
    for _ in range(ROUNDS):
        mixed = np.maximum(likely @ weight, 1e-300)
        weight = weight * (likely.T @ (1.0 / mixed)) / len(value)
    return TrueValues(at, weight / weight.sum(), step)
