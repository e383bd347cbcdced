"""How many points a control chart runs, on average, until it signals: its false alarms, and how soon it sees a shift.

Shifts are in standard deviations of a point. EWMA and CUSUM: Markov chain over the statistic's states (Brook and Evans
1972, Biometrika 59:539).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

STATES = 201
"""States of the chain; odd, so that one stands in the middle. Good to four digits against published run lengths."""


def ewma_run_length(shift: float, weight: float, width: float) -> float:
    """Average run length of an exponentially weighted moving average with its final limits, started at the target.

    Parameters
    ----------
    shift
        Of the mean, in standard deviations.
    weight
        Share of the newest value.
    width
        Of the limits, in standard deviations of the average.

    Returns
    -------
    float
        Mean number of samples until an alarm.
    """
    edge = width * np.sqrt(weight / (2 - weight))
    step = 2 * edge / STATES
    middle = -edge + step * (np.arange(STATES) + 0.5)
    # to a state's middle from another's: weight x value + (1 - weight) x old
    moved = (middle[None, :] - (1 - weight) * middle[:, None]) / weight - shift
    half = step / (2 * weight)
    chances = stats.norm.cdf(moved + half) - stats.norm.cdf(moved - half)
    return float(_steps_to_leave(chances)[STATES // 2])


def cusum_run_length(shift: float, slack: float, limit: float) -> float:
    """Average run length of the two-sided cumulative sum, started at 0; `slack` and `limit` in standard deviations.

    The two sides join as 1 / two-sided = 1 / upper + 1 / lower (Van Dobben de Bruyn 1968, from memory).

    Parameters
    ----------
    shift
        Of the mean, in standard deviations.
    slack, limit
        k and h, in standard deviations.

    Returns
    -------
    float
        Mean number of samples until an alarm.
    """
    upper, lower = _one_sided(shift, slack, limit), _one_sided(-shift, slack, limit)
    return 1 / (1 / upper + 1 / lower)


def _one_sided(shift: float, slack: float, limit: float) -> float:
    step = 2 * limit / (2 * STATES - 1)
    middle = step * np.arange(STATES)
    moved = middle[None, :] - middle[:, None] + slack - shift
    chances = stats.norm.cdf(moved + step / 2) - stats.norm.cdf(moved - step / 2)
    # everything at or below half a step above 0 lands in the first state
    chances[:, 0] = stats.norm.cdf(moved[:, 0] + step / 2)
    return float(_steps_to_leave(chances)[0])


def _steps_to_leave(chances: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.linalg.solve(np.eye(len(chances)) - chances, np.ones(len(chances))), dtype=np.float64)
