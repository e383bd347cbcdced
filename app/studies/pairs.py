"""Two judges of the same pieces: table, agreement and rates, each with its interval, by how the pieces were drawn."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.statistics import (
    MISS,
    UNDEFINED,
    Cells,
    Estimate,
    PrevalenceBias,
    ac1_ends,
    ac1_se,
    ac1_value,
    cohen_kappa,
    counts_of_table,
    differ_p,
    gwet_ac1,
    kappa_ends,
    kappa_of,
    kappa_se,
    mcnemar_p,
    prevalence_bias,
    share_bound,
    weighted_share,
    wilson,
)
from app.studies.camera_and_people import ACCEPT, NO_VERDICT, REJECT, TIE, Answers

_AGREEMENT = np.array([0, 1, 1, 0])
_MISSED = np.array([2, 0, 2, 1])
_FALSE_ALARM = np.array([1, 2, 0, 2])
_DIFFER = np.array([2, 0, 1, 2])
"""For each rate whether a cell is a hit (0), a miss (1) or neither (2), see `weighted_share`."""

_STOPPED_OR_NOT = {"pass": ACCEPT, "review": REJECT, "reject": REJECT, "flagged": REJECT}
"""What the camera said, as a row of the table, in strata that its verdict told apart."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two judges of the same pieces.

    `table` [[both accept, first accepts second rejects], [first rejects second accepts, both reject]], counted;
    `missed` of the pieces that the second rejects, those that the first accepts; `false_alarm` of the pieces that the
    second accepts, those that the first does not; `review` how many of the first's rejections are a camera's `review`
    (None between people). `ties`: pieces that the first accepts and does not, on which the second, a majority, is tied:
    the table leaves them out, figures count each half, and their intervals hold whichever way they would be settled.
    `shown_missed` and `shown_false_alarm`: what each rate is at least, exact and one-sided, at the confidence that
    makes a verdict of `not fit` false in at most 5 %.
    """

    table: tuple[tuple[int, int], tuple[int, int]]
    agreement: Estimate
    kappa: Estimate
    missed: Estimate
    false_alarm: Estimate
    mcnemar_p: float
    ac1: Estimate
    indices: PrevalenceBias | None
    shown_missed: float
    shown_false_alarm: float
    kappa_at_most: float
    ties: tuple[int, int] = (0, 0)
    review: int | None = None


LOOKS = 3
"""Figures by which a camera may be found not fit: missed, false alarms, kappa."""

NOT_FIT_CONFIDENCE = 1 - 0.05 / LOOKS
"""One-sided; Bonferroni's correction makes any of them false in at most 5 %."""


def compare(said: Answers, one: NDArray[np.int8], two: NDArray[np.int8], *, camera: bool = False) -> Pair:
    """Compare two judges' verdicts (pieces,); `two` may hold TIE. `camera`: whether the first is the camera."""
    both = (one != NO_VERDICT) & (two != NO_VERDICT)
    tied = both & (two == TIE)
    # The least and the most favourable reading: every tie is settled against the first judge, or for it.
    against, with_first = (np.where(tied, other, two) for other in (1 - one, one))
    least = _cells(said, one, against, both, camera=camera)
    most = _cells(said, one, with_first, both, camera=camera)
    settled = _cells(said, one, two, both & ~tied, camera=camera)
    middle = Cells((least.counts + most.counts) / 2, least.sizes, least.can_be)
    table = settled.counts.sum(axis=0).astype(np.int64).reshape(2, 2)
    (a, b), (c, d) = table.tolist()
    kappa, ac1 = _coefficients(least, middle, most)
    designed = said.weighting is not None
    rate = _designed if designed else _counted
    return Pair(
        table=((a, b), (c, d)),
        agreement=rate(_AGREEMENT, least, middle, most),
        kappa=kappa,
        # A tie settled against the camera is one more miss or false alarm.
        missed=rate(_MISSED, most, middle, least),
        false_alarm=rate(_FALSE_ALARM, most, middle, least),
        mcnemar_p=differ_p(settled.put_together(_DIFFER, 3)) if designed else mcnemar_p(b, c),
        ac1=ac1,
        indices=prevalence_bias(table),
        shown_missed=_at_least(_MISSED, most),
        shown_false_alarm=_at_least(_FALSE_ALARM, most),
        kappa_at_most=kappa_ends(least, most, 2 * NOT_FIT_CONFIDENCE - 1)[1] if kappa.ci is not None else 1.0,
        ties=(int((tied & (one == ACCEPT)).sum()), int((tied & (one == REJECT)).sum())),
        review=int((both & said.reviewed).sum()) if camera else None,
    )


def _cells(
    said: Answers, one: NDArray[np.int8], two: NDArray[np.int8], these: NDArray[np.bool_], *, camera: bool
) -> Cells:
    """Pieces by stratum and by cell of the table."""
    weighting = said.weighting
    stratum = np.zeros(len(one), dtype=np.int64) if weighting is None else weighting.stratum
    counts = np.zeros((1 if weighting is None else len(weighting.sizes), 4))
    np.add.at(counts, (stratum[these], 2 * one[these].astype(np.int64) + two[these]), 1.0)
    can_be = np.ones(counts.shape, dtype=np.bool_)
    if weighting is None:
        return Cells(counts, counts.sum(axis=1), can_be)
    for k, name in enumerate(weighting.names):
        row = _STOPPED_OR_NOT.get(name)
        # Unless a piece drawn from it was judged another way since, a stratum's pieces are all of its own verdict.
        if camera and row is not None and (one[stratum == k] == row).all():
            can_be[k, 2 * (1 - row) : 2 * (1 - row) + 2] = False
    return Cells(counts, weighting.sizes, can_be)


def _counted(hits: NDArray[np.int64], low: Cells, middle: Cells, high: Cells) -> Estimate:
    """A rate of a random sample with Wilson's interval; its ends by the readings `low` and `high`."""
    ends = []
    for cells in (low, high):
        hit, miss, _ = cells.put_together(hits, 3).counts[0].astype(np.int64).tolist()
        ends.append(wilson(hit, hit + miss))
    hit, miss, _ = middle.put_together(hits, 3).counts[0].tolist()
    if ends[0].ci is None or ends[1].ci is None or hit + miss == 0:
        return UNDEFINED
    return Estimate(hit / (hit + miss), (ends[0].ci[0], ends[1].ci[1]))


def _designed(hits: NDArray[np.int64], low: Cells, middle: Cells, high: Cells) -> Estimate:
    """A rate weighted by the design, with an interval that holds; its ends by the readings `low` and `high`."""
    ends = [weighted_share(cells.put_together(hits, 3)) for cells in (low, high)]
    value = weighted_share(middle.put_together(hits, 3)).value
    if ends[0].ci is None or ends[1].ci is None or value is None:
        return UNDEFINED
    return Estimate(value, (ends[0].ci[0], ends[1].ci[1]))


def _at_least(hits: NDArray[np.int64], cells: Cells) -> float:
    """Exact one-sided lower bound of a rate."""
    return 1 - share_bound(cells.put_together(hits, 3), MISS, NOT_FIT_CONFIDENCE)


def _coefficients(least: Cells, middle: Cells, most: Cells) -> tuple[Estimate, Estimate]:
    """Kappa and AC1; kappa is undefined where only one verdict occurs."""
    if not middle.determined:
        return UNDEFINED, UNDEFINED
    plain = len(middle.sizes) == 1 and bool((middle.counts % 1 == 0).all())
    if plain:
        table = middle.counts[0].astype(np.int64).reshape(2, 2)
        kappa, ac1 = cohen_kappa(table), gwet_ac1(counts_of_table(table))
        ac1 = replace(ac1, ci=ac1_ends(least, most))
        return (kappa if kappa.value is None else replace(kappa, ci=kappa_ends(least, most))), ac1
    differing = middle.counts[:, 1:3].sum() > 0
    ac1 = Estimate(ac1_value(middle), ac1_ends(least, most), ac1_se(middle) if differing else 0.0)
    value = float(kappa_of(middle.shares))
    if np.isnan(value):
        return UNDEFINED, ac1
    return Estimate(value if differing else 1.0, kappa_ends(least, most), kappa_se(middle) if differing else 0.0), ac1


def rate(said: Answers, among: NDArray[np.bool_], hits: NDArray[np.bool_], *, camera: bool = False) -> Estimate:
    """The share of hits among some of the pieces, both (pieces,); `camera`: whether a hit is that the camera passed."""
    one = np.where(hits, ACCEPT, REJECT).astype(np.int8)
    two = np.where(among, REJECT, ACCEPT).astype(np.int8)
    cells = _cells(said, one, two, np.ones(len(one), dtype=np.bool_), camera=camera)
    counted = _counted if said.weighting is None else _designed
    return counted(_MISSED, cells, cells, cells)
