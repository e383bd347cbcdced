"""How alike neighbours in a row are, and how many independent values so many of them are worth."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEAST_ROW = 8
"""Values in a row below which their autocorrelation is not told."""


def likeness(values: Array) -> float | None:
    """Autocorrelation of neighbours of values (n,) in order; None for fewer than `LEAST_ROW`, or where none varies.

    What an estimated mean takes from it is put back (Kendall 1954, Biometrika 41:403, from memory), but so few values
    tell no more than that it is high.

    Parameters
    ----------
    values
        (n,) in order.

    Returns
    -------
    float | None
        Between -1 and 1; none where it can't be told.
    """
    n, off = len(values), values - values.mean()
    squares = float((off**2).sum())
    if n < LEAST_ROW or squares == 0.0:
        return None
    seen = float((off[1:] * off[:-1]).sum()) / squares
    return min((n * seen + 1.0) / (n - 4.0), 1.0 - 4.0 / n)


@dataclass(frozen=True, slots=True)
class Worth:
    """What a row of n values that are alike by r is worth.

    `wider`: of the mean's variance; `of_mean` and `of_variance`: degrees of freedom of their mean and of their variance
    (Bayley and Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184, from memory).
    """

    wider: float
    of_mean: float
    of_variance: float


def worth(n: int, alike: float) -> Worth:
    """What n values are worth that are alike: an autoregression, whose autocorrelation falls by the same share from
    neighbour to neighbour.

    Parameters
    ----------
    n
        Number of values.
    alike
        Autocorrelation of neighbours, a share of 1.

    Returns
    -------
    Worth
        How much wider a mean's variance is, and the degrees of freedom of mean and variance.
    """
    return Worth(
        (1 + alike) / (1 - alike),
        max(n * (1 - alike) / (1 + alike) - 1.0, 1.0),
        max(n * (1 - alike**2) / (1 + alike**2) - 1.0, 1.0),
    )
