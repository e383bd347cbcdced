"""The camera's rates, corrected for what people miss and reject themselves, where enough judged the same pieces."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.statistics import LEAST_JUDGES, Cells, Estimate, latent_classes
from app.studies.camera_and_people import ACCEPT, NO_VERDICT, REJECT, Answers

DRAWS = 400
"""Tables drawn for an end of an interval (Bayesian bootstrap, Rubin 1981, Ann. Stat. 9:130), each with one more piece
that speaks for that end, in the stratum where pieces weigh most (as of weighted rates: Fay and Feuer 1997)."""

CUT = 0.98
"""Of the draws that an interval of 95 % holds: those of small rounds are too narrow (docs/benchmarks/sampling.md)."""

TELLS_APART = 0.1
"""By how much more of the bad than of the good pieces each of three judges must reject, for the rates to follow."""


@dataclass(frozen=True, slots=True)
class Corrected:
    """The camera's rates against what the pieces are, not against what most people say.

    `judges`: how many, the camera one of them; `bad`: share of bad pieces; `people_missed`: what an inspector misses on
    average. No inspector is told apart.
    """

    judges: int
    bad: Estimate
    missed: Estimate
    false_alarm: Estimate
    people_missed: Estimate

    @property
    def words(self) -> str:
        """What the figures rest on."""
        return (
            f"Found from {self.judges} judges, the camera one of them, by a model of two hidden classes of pieces. It "
            "holds where their errors are independent given the piece; where all overlook the same faint marks, more "
            "is missed than told here."
        )


def corrected(said: Answers) -> Corrected | None:
    """The corrected rates; None where they don't follow from the verdicts.

    That takes three judges of the same pieces, the camera and two people at least, who all tell the classes apart.
    """
    camera = np.where(said.passed, ACCEPT, REJECT).astype(np.int8)
    whole = np.column_stack([camera, said.first])
    together = (whole != NO_VERDICT).sum(axis=1) >= LEAST_JUDGES
    if not together.any():
        return None
    patterns, at = np.unique(whole, axis=0, return_inverse=True)
    stratum = np.zeros(len(whole), dtype=np.int64) if said.weighting is None else said.weighting.stratum
    sizes = np.array([float(len(whole))]) if said.weighting is None else said.weighting.sizes
    added = _one_more(whole.shape[1])
    patterns = np.concatenate([patterns, list(added.values())])
    counts = np.zeros((len(sizes), len(patterns)))
    np.add.at(counts, (stratum, at.ravel()), 1.0)
    holds = np.stack([counts[:, patterns[:, 0] == camera].sum(axis=1) > 0 for camera in (ACCEPT, REJECT)], axis=1)
    cells = Cells(counts, sizes, holds[:, patterns[:, 0]])
    if not cells.determined:
        return None
    found = latent_classes(patterns, cells.shares[None])
    apart = 1 - found.missed[0] - found.false_alarm[0] > TELLS_APART
    if apart.sum() < LEAST_JUDGES:
        return None
    drawn = {}
    for k, name in enumerate(added, len(patterns) - len(added)):
        extra = cells.added((np.arange(len(patterns)) == k).astype(np.float64))
        drawn[name] = latent_classes(patterns, cells.drawn(extra, DRAWS))
    caught, passed = drawn["caught"], drawn["passed"]
    return Corrected(
        judges=whole.shape[1],
        bad=_estimate(found.bad, passed.bad, drawn["missed"].bad),
        missed=_estimate(found.missed[:, 0], caught.missed[:, 0], drawn["missed"].missed[:, 0]),
        false_alarm=_estimate(found.false_alarm[:, 0], passed.false_alarm[:, 0], drawn["alarm"].false_alarm[:, 0]),
        people_missed=_estimate(*(one.missed[:, 1:].mean(axis=1) for one in (found, caught, drawn["overlooked"]))),
    )


def _one_more(judges: int) -> dict[str, list[int]]:
    """What the camera, then people say of the piece that is added for one end of an interval, by what it speaks for."""
    people = judges - 1
    return {
        "missed": [ACCEPT, *[REJECT] * people],
        "caught": [REJECT, *[REJECT] * people],
        "overlooked": [REJECT, ACCEPT, *[REJECT] * (people - 1)],
        "alarm": [REJECT, *[ACCEPT] * people],
        "passed": [ACCEPT, *[ACCEPT] * people],
    }


def _estimate(found: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64]) -> Estimate:
    """The value, and an interval from the lower quantile of the one draws to the upper one of the others."""
    ends = float(np.quantile(low, (1 - CUT) / 2)), float(np.quantile(high, (1 + CUT) / 2))
    value = float(found[0])
    return Estimate(value, (min(ends[0], value), max(ends[1], value)))
