"""Camera against people, people against each other and against themselves."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.statistics import (
    UNDEFINED,
    Cells,
    Estimate,
    PairedCounts,
    difference_paired,
    fleiss_kappa,
    gwet_ac1,
    many_ends,
    many_values,
    weighted_difference,
)
from app.studies.camera_and_people import (
    ACCEPT,
    NO_VERDICT,
    REJECT,
    Answers,
    LeftOut,
    PieceKey,
    majority,
    majority_or_tie,
    ties,
)
from app.studies.pairs import Pair, compare, rate
from vision.records import Verdict

MAJORITY = "majority"


@dataclass(frozen=True, slots=True)
class Differences:
    """Camera minus inspector, both held against the majority of the other inspectors on the same pieces.

    `rejected` and `accepted`: how many pieces the others reject and accept.
    """

    rejected: int
    accepted: int
    missed: Estimate
    false_alarm: Estimate


@dataclass(frozen=True, slots=True)
class KindStudy:
    """One kind of defect.

    `pieces`: those that most inspectors reject and at least one of them names it on; `missed`: of these, passed by the
    camera; `fleiss_kappa`: of naming it or not, over all pieces.
    """

    pieces: int
    missed: Estimate
    fleiss_kappa: Estimate


@dataclass(frozen=True, slots=True)
class Agreement:
    """An agreement study; every figure with its 95 % interval.

    `within_rounds`: Fleiss' kappa over all rounds of an inspector, for those with more than two.
    """

    pieces: int
    left_out: tuple[LeftOut, ...]
    camera_vs: Mapping[str, Pair]
    between: Mapping[tuple[str, str], Pair]
    within: Mapping[str, Pair]
    within_rounds: Mapping[str, Estimate]
    fleiss_kappa: Estimate
    gwet_ac1: Estimate
    camera_minus_person: Mapping[str, Differences]
    by_kind: Mapping[str, KindStudy]
    without_verdict: int


def study_agreement(said: Answers) -> Agreement:
    """Compare the camera with each inspector and their majority, and the inspectors with each other and themselves.

    An inspector's verdict on a piece is the first they gave; their repeats are compared with it in `within`. Where a
    piece was judged by some inspectors only, each comparison takes the pieces that both sides judged.
    """
    first, names = said.first, said.inspectors
    camera = np.where(said.passed, ACCEPT, REJECT).astype(np.int8)
    camera_vs = {name: compare(said, camera, first[:, j], camera=True) for j, name in enumerate(names)}
    if names:
        camera_vs[MAJORITY] = compare(said, camera, majority_or_tie(first), camera=True)
    several = said.rounds.shape[2] > 1
    within = {
        name: compare(said, said.rounds[:, j, 0], said.rounds[:, j, 1]) for j, name in enumerate(names) if several
    }
    fleiss, ac1 = _of_all(said, _counts(first))
    return Agreement(
        pieces=len(said.pieces),
        left_out=said.unknown + ties(said),
        camera_vs=camera_vs,
        between={
            (names[i], names[j]): compare(said, first[:, i], first[:, j]) for i, j in combinations(range(len(names)), 2)
        },
        within={name: pair for name, pair in within.items() if np.sum(pair.table) > 0},
        within_rounds={
            name: _of_all(said, _counts(said.rounds[:, j, :]))[0]
            for j, name in enumerate(names)
            if said.rounds.shape[2] > 2 and (said.rounds[:, j, 2] != NO_VERDICT).any()
        },
        fleiss_kappa=fleiss,
        gwet_ac1=ac1,
        camera_minus_person=_differences(said, camera),
        by_kind=_by_kind(said),
        without_verdict=said.without_verdict,
    )


def _of_all(said: Answers, counts: NDArray[np.int64]) -> tuple[Estimate, Estimate]:
    """Fleiss' kappa and AC1 from counts (pieces, 2), weighted where the pieces were drawn by a design."""
    rated = counts.sum(axis=1) > 0
    fleiss, ac1 = fleiss_kappa(counts), gwet_ac1(counts)
    if ac1.value is None or ac1.ci is None:
        return fleiss, ac1
    stratum, sizes = np.zeros(int(rated.sum()), dtype=np.int64), np.array([float(rated.sum())])
    if said.weighting is not None:
        stratum, sizes = said.weighting.stratum[rated], said.weighting.sizes
        if len(np.unique(stratum)) < (sizes > 0).sum():
            return UNDEFINED, UNDEFINED
        of_fleiss, of_ac1 = many_values(counts[rated], stratum, sizes)
        # The standard errors are those of a random sample of as many pieces: they are not told.
        fleiss, ac1 = Estimate(None if np.isnan(of_fleiss) else of_fleiss, None), Estimate(of_ac1, None)
    ends = many_ends(counts[rated], stratum, sizes)
    return fleiss if fleiss.value is None else replace(fleiss, ci=ends[0]), replace(ac1, ci=ends[1])


def _counts(said: NDArray[np.int8]) -> NDArray[np.int64]:
    """(pieces, 2): how many accept and how many reject."""
    return np.stack([(said == ACCEPT).sum(axis=1), (said == REJECT).sum(axis=1)], axis=1)


def _differences(said: Answers, camera: NDArray[np.int8]) -> dict[str, Differences]:
    found: dict[str, Differences] = {}
    for j, name in enumerate(said.inspectors):
        person = said.first[:, j]
        others = majority(np.delete(said.first, j, axis=1))
        rejected, accepted = ((person != NO_VERDICT) & (others == verdict) for verdict in (REJECT, ACCEPT))
        if not (rejected.any() or accepted.any()):
            continue
        found[name] = Differences(
            rejected=int(rejected.sum()),
            accepted=int(accepted.sum()),
            missed=_difference(said, camera == ACCEPT, person == ACCEPT, rejected),
            false_alarm=_difference(said, camera == REJECT, person == REJECT, accepted),
        )
    return found


def _difference(said: Answers, one: NDArray[np.bool_], two: NDArray[np.bool_], among: NDArray[np.bool_]) -> Estimate:
    """Difference of two shares of the same pieces."""
    if said.weighting is None:
        return difference_paired(_paired(one[among], two[among]))
    cell = np.select([~among, one & ~two, ~one & two], [3, 0, 1], 2)
    counts = np.zeros((len(said.weighting.sizes), 4))
    np.add.at(counts, (said.weighting.stratum, cell), 1.0)
    return weighted_difference(Cells(counts, said.weighting.sizes, np.ones(counts.shape, dtype=np.bool_)))


def _paired(one: NDArray[np.bool_], two: NDArray[np.bool_]) -> PairedCounts:
    return PairedCounts(
        both=int((one & two).sum()),
        first_only=int((one & ~two).sum()),
        second_only=int((~one & two).sum()),
        neither=int((~one & ~two).sum()),
    )


def _by_kind(said: Answers) -> dict[str, KindStudy]:
    kinds = sorted(set().union(*said.defects.values())) if said.defects else []
    rated = said.first != NO_VERDICT
    found: dict[str, KindStudy] = {}
    for kind in kinds:
        named = np.zeros(rated.shape, dtype=np.bool_)
        for place, words in said.defects.items():
            named[place] = kind in words
        counts = np.stack([(rated & ~named).sum(axis=1), (rated & named).sum(axis=1)], axis=1)
        on = (majority(said.first) == REJECT) & (named & (said.first == REJECT)).any(axis=1)
        found[kind] = KindStudy(
            pieces=int(on.sum()),
            missed=rate(said, on, said.passed, camera=True),
            fleiss_kappa=_of_all(said, counts)[0],
        )
    return found


@dataclass(frozen=True, slots=True)
class Dispute:
    """A piece on which the camera and the majority, or the inspectors among themselves, differ.

    `said`: each inspector's first verdict with the defects that they named.
    """

    key: PieceKey
    why: Literal["missed", "false alarm", "people differ"]
    camera: Verdict
    said: Mapping[str, tuple[Literal["accept", "reject"], tuple[str, ...]]]


def disputes(said: Answers) -> tuple[Dispute, ...]:
    """The pieces in dispute: missed ones first, then false alarms, then those on which only people differ."""
    held = majority(said.first)
    found: list[Dispute] = []
    for i, key in enumerate(said.pieces):
        verdicts = {name: said.first[i, j] for j, name in enumerate(said.inspectors) if said.first[i, j] != NO_VERDICT}
        why: Literal["missed", "false alarm", "people differ"]
        if held[i] == REJECT and said.passed[i]:
            why = "missed"
        elif held[i] == ACCEPT and not said.passed[i]:
            why = "false alarm"
        elif len(set(verdicts.values())) > 1:
            why = "people differ"
        else:
            continue
        words: dict[str, tuple[Literal["accept", "reject"], tuple[str, ...]]] = {
            name: (
                "reject" if verdict == REJECT else "accept",
                tuple(sorted(said.defects.get((i, said.inspectors.index(name)), ()))),
            )
            for name, verdict in verdicts.items()
        }
        found.append(Dispute(key, why, said.camera[i], words))
    order = ("missed", "false alarm", "people differ")
    return tuple(sorted(found, key=lambda one: order.index(one.why)))
