"""The camera's rates, corrected for what people miss and reject themselves, where enough judged the same pieces."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.statistics import LEAST_JUDGES, Cells, Estimate, latent_classes
from app.studies.camera_and_people import ACCEPT, NO_VERDICT, REJECT, Answers

DRAWS = 400
"""Tables drawn for an interval (Bayesian bootstrap, Rubin 1981, Ann. Stat. 9:130)."""

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
    counts = np.zeros((len(sizes), len(patterns)))
    np.add.at(counts, (stratum, at.ravel()), 1.0)
    cells = Cells(counts, sizes, np.ones(counts.shape, dtype=np.bool_))
    if not cells.told:
        return None
    drawn = np.concatenate([cells.shares[None], cells.drawn(np.zeros(counts.shape), DRAWS)])
    found = latent_classes(patterns, drawn)
    apart = 1 - found.missed[0] - found.false_alarm[0] > TELLS_APART
    if apart.sum() < LEAST_JUDGES:
        return None
    return Corrected(
        judges=whole.shape[1],
        bad=_estimate(found.bad),
        missed=_estimate(found.missed[:, 0]),
        false_alarm=_estimate(found.false_alarm[:, 0]),
        people_missed=_estimate(found.missed[:, 1:].mean(axis=1)),
    )


def _estimate(found: NDArray[np.float64]) -> Estimate:
    """The first as the value, the others' quantiles as its interval."""
    low, high = np.quantile(found[1:], [(1 - CUT) / 2, (1 + CUT) / 2])
    return Estimate(float(found[0]), (float(low), float(high)))
