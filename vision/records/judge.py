"""The fitted judge of marks: for each candidate on a face the chance that it is a real mark."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

LIKELY = 0.5
"""From this probability on a candidate is likelier a mark than none."""


@dataclass(frozen=True, slots=True)
class FeatureCurve:
    """What one feature says: `log_odds` in each step between rising `edges`, one more than these.

    The value at an edge belongs to the step below it.
    """

    feature: str
    edges: tuple[float, ...]
    log_odds: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class MarkModel:
    """An additive model: `base` and one curve a feature, summed; and by which chance that sum is told.

    `calibration`: rising sums with their chances, between which is interpolated; none: the logistic function.
    """

    base: float
    curves: tuple[FeatureCurve, ...]
    calibration: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class SeenCurve:
    """The chance that a reference mark of an expected snr is found: a normal curve over the logarithm of that snr, of
    this mean and width, times what is found of the plainest.
    """

    log_snr: float
    width: float
    plainest: float


@dataclass(frozen=True, slots=True)
class JudgeRelease:
    """Who put a judge into force, when (UTC, ISO 8601), and why."""

    by: str
    at: str
    why: str


@dataclass(frozen=True, slots=True)
class MarkJudge:
    """A judge of marks.

    `lines` tells scratches; `sieve` leaves out spots that are plainly none before they are sized, from `sieve_least`
    on they stay; `spots` tells pits of those sized, `dust` what is dust of the rest. `scratch_seen`, `pit_seen`: what
    could have been seen. `digest` is the file's own. `made`: from what it was fitted and how it did, as text lines.
    `release`: of a works' own judge.
    """

    revision: int
    status: Literal["draft", "released"]
    lines: MarkModel
    sieve: MarkModel
    sieve_least: float
    spots: MarkModel
    dust: MarkModel
    scratch_seen: SeenCurve
    pit_seen: SeenCurve
    digest: str = ""
    made: tuple[str, ...] = field(default=())
    release: JudgeRelease | None = None


@dataclass(frozen=True, slots=True, eq=False)
class JudgeSuite:
    """Candidates whose truth is known and that no judge was fitted on: `features` (n, features) of the `model` that
    judges such, `real` (n,).
    """

    name: str
    model: Literal["lines", "spots"]
    features: NDArray[np.float64]
    real: NDArray[np.bool_]
