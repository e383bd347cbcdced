"""Control limits of a station's checks, set for one rate of false stops over all measures and both rules together.

Each measure is charted twice, as single values and as an exponentially weighted mean; a chart of either alone alarms
falsely once in some 370 or 500 checks, both and eight measures together once in 30. Here both limits are widened by one
factor until all together stop falsely once in `CHECKS_BETWEEN`. The run length of both rules on one measure is that of
a Markov chain (Lucas and Saccucci 1990, Technometrics 32:1, 4; Brook and Evans 1972, Biometrika 59:539); measures are
taken as independent, which asks for the widest limits.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

CHECKS_BETWEEN = 370.0
"""Checks between two false stops, on average: that of single values on a Shewhart chart."""
WEIGHT = 0.20
"""Of the newest value in the weighted mean."""
_SINGLE, _MEAN = 3.0, 2.962
_STATES = 81  # of the chain; odd, so that one stands in the middle


@dataclass(frozen=True, slots=True)
class ControlWidths:
    """Half-widths of the limits in standard uncertainties, of a single value and of the weighted mean."""

    single: float
    mean: float


@cache
def control_widths(measures: int) -> ControlWidths:
    """Limits for so many measures that are checked at once."""
    wanted = CHECKS_BETWEEN * max(measures, 1)
    factor = brentq(lambda k: both_rules_run_length(k * _SINGLE, k * _MEAN) - wanted, 0.9, 2.0, xtol=1e-4)
    return ControlWidths(float(factor) * _SINGLE, float(factor) * _MEAN)


def both_rules_run_length(single: float, mean: float) -> float:
    """Checks until one measure without drift breaks either rule, on average; the mean starts at its target."""
    edge = mean * np.sqrt(WEIGHT / (2.0 - WEIGHT))
    step = 2.0 * edge / _STATES
    middle = -edge + step * (np.arange(_STATES) + 0.5)
    # The value that moves the mean from one state to each end of another, no further than the single limit.
    low, high = (
        np.clip((middle[None, :] + side * step / 2 - (1.0 - WEIGHT) * middle[:, None]) / WEIGHT, -single, single)
        for side in (-1.0, 1.0)
    )
    stays = ndtr(high) - ndtr(low)
    return float(np.linalg.solve(np.eye(_STATES) - stays, np.ones(_STATES))[_STATES // 2])
