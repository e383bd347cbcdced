"""Two hidden classes of pieces, good and bad, from what several judges say of them, none of whom is sure to be right.

Expectation and maximisation of Dawid and Skene 1979, Appl. Stat. 28:20. With three judges or more whose errors are
independent given the class, and who tell the classes apart, the rates follow from the verdicts alone (Hui and Walter
1980, Biometrics 36:167; Goodman 1974, Biometrika 61:215); with two they do not, whatever the number of pieces.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.statistics.weighted import Array

LEAST_JUDGES = 3
STEPS = 400
"""Steps of the iteration; rates of twenty pieces and more move by less than 0.001 after some two hundred."""
STILL = 1e-7
"""Move of a step below which it ends."""


@dataclass(frozen=True, slots=True, eq=False)
class LatentClasses:
    """Rates of one or many tables of shares.

    Attributes
    ----------
    bad
        (tables,) share of bad pieces.
    missed, false_alarm
        (tables, judges) of the bad pieces those that a judge accepts, and of the good ones those that it rejects.
    """

    bad: Array
    missed: Array
    false_alarm: Array


def latent_classes(patterns: NDArray[np.int8], shares: Array) -> LatentClasses:
    """Find the rates of judges without a truth: two classes, judges independent within each (Dawid and Skene 1979; see
    above), by expectation and maximization.

    Parameters
    ----------
    patterns
        (patterns, judges) what each judge says: 0 accept, 1 reject, -1 nothing.
    shares
        (tables, patterns) share of the pieces with each pattern.

    Returns
    -------
    LatentClasses
        For each table the share of bad pieces (tables,), and misses and false alarms of each judge (tables, judges).
    """
    rejects = (patterns == 1).astype(np.float64)
    rated = (patterns >= 0).astype(np.float64)
    start = rejects.sum(axis=1) / np.maximum(rated.sum(axis=1), 1.0)
    belief = np.broadcast_to(np.clip(start, 0.02, 0.98), shares.shape).copy()
    for _ in range(STEPS):
        of_bad, of_good = shares * belief, shares * (1 - belief)
        bad = of_bad.sum(axis=1) / np.maximum(shares.sum(axis=1), 1e-300)
        caught = np.clip(of_bad @ rejects / np.maximum(of_bad @ rated, 1e-300), 1e-9, 1 - 1e-9)
        alarms = np.clip(of_good @ rejects / np.maximum(of_good @ rated, 1e-300), 1e-9, 1 - 1e-9)
        accepts = rated - rejects
        if_bad = np.log(np.clip(bad, 1e-9, 1 - 1e-9))[:, None] + np.log(caught) @ rejects.T
        if_bad += np.log1p(-caught) @ accepts.T
        if_good = np.log1p(-np.clip(bad, 1e-9, 1 - 1e-9))[:, None] + np.log(alarms) @ rejects.T
        if_good += np.log1p(-alarms) @ accepts.T
        before, belief = belief, 1 / (1 + np.exp(np.clip(if_good - if_bad, -500.0, 500.0)))
        if np.abs(belief - before).max() < STILL:
            break
    return LatentClasses(bad, 1 - caught, alarms)
