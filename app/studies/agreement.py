"""Camera against people, people against each other and against themselves."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.statistics import (
    Estimate,
    PairedCounts,
    PrevalenceBias,
    cohen_kappa,
    counts_of_table,
    difference_paired,
    fleiss_kappa,
    gwet_ac1,
    mcnemar_p,
    prevalence_bias,
    wilson,
)
from app.studies.camera_and_people import ACCEPT, NO_VERDICT, REJECT, Answers, LeftOut, PieceKey, majority, ties
from vision.records import Verdict

MAJORITY = "majority"


@dataclass(frozen=True, slots=True)
class Pair:
    """Two judges of the same pieces.

    `table` [[both accept, first accepts second rejects], [first rejects second accepts, both reject]];
    `missed` of the pieces that the second rejects, those that the first accepts; `false_alarm` of the pieces that the
    second accepts, those that the first does not; `review` how many of the first's rejections are a camera's `review`
    (None between people).
    """

    table: tuple[tuple[int, int], tuple[int, int]]
    agreement: Estimate
    kappa: Estimate
    missed: Estimate
    false_alarm: Estimate
    mcnemar_p: float
    ac1: Estimate
    indices: PrevalenceBias | None
    review: int | None = None


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
    review = np.array([verdict == "review" for verdict in said.camera], dtype=np.bool_)
    camera_vs = {name: _pair(camera, first[:, j], review) for j, name in enumerate(names)}
    if names:
        camera_vs[MAJORITY] = _pair(camera, majority(first), review)
    several = said.rounds.shape[2] > 1
    within = {name: _pair(said.rounds[:, j, 0], said.rounds[:, j, 1]) for j, name in enumerate(names) if several}
    return Agreement(
        pieces=len(said.pieces),
        left_out=said.unknown + ties(said),
        camera_vs=camera_vs,
        between={(names[i], names[j]): _pair(first[:, i], first[:, j]) for i, j in combinations(range(len(names)), 2)},
        within={name: pair for name, pair in within.items() if np.sum(pair.table) > 0},
        within_rounds={
            name: fleiss_kappa(_counts(said.rounds[:, j, :]))
            for j, name in enumerate(names)
            if said.rounds.shape[2] > 2 and (said.rounds[:, j, 2] != NO_VERDICT).any()
        },
        fleiss_kappa=fleiss_kappa(_counts(first)),
        gwet_ac1=gwet_ac1(_counts(first)),
        camera_minus_person=_differences(camera, first, names),
        by_kind=_by_kind(said),
        without_verdict=said.without_verdict,
    )


def _pair(one: NDArray[np.int8], two: NDArray[np.int8], review: NDArray[np.bool_] | None = None) -> Pair:
    both = (one != NO_VERDICT) & (two != NO_VERDICT)
    table = np.zeros((2, 2), dtype=np.int64)
    np.add.at(table, (one[both], two[both]), 1)
    (a, b), (c, d) = table.tolist()
    return Pair(
        table=((a, b), (c, d)),
        agreement=wilson(a + d, a + b + c + d),
        kappa=cohen_kappa(table),
        missed=wilson(b, b + d),
        false_alarm=wilson(c, a + c),
        mcnemar_p=mcnemar_p(b, c),
        ac1=gwet_ac1(counts_of_table(table)),
        indices=prevalence_bias(table),
        review=None if review is None else int((review & both).sum()),
    )


def _counts(said: NDArray[np.int8]) -> NDArray[np.int64]:
    """(pieces, 2): how many accept and how many reject."""
    return np.stack([(said == ACCEPT).sum(axis=1), (said == REJECT).sum(axis=1)], axis=1)


def _differences(camera: NDArray[np.int8], first: NDArray[np.int8], names: tuple[str, ...]) -> dict[str, Differences]:
    found: dict[str, Differences] = {}
    for j, name in enumerate(names):
        person = first[:, j]
        others = majority(np.delete(first, j, axis=1))
        rejected, accepted = ((person != NO_VERDICT) & (others == verdict) for verdict in (REJECT, ACCEPT))
        if not (rejected.any() or accepted.any()):
            continue
        found[name] = Differences(
            rejected=int(rejected.sum()),
            accepted=int(accepted.sum()),
            missed=difference_paired(_paired((camera == ACCEPT)[rejected], (person == ACCEPT)[rejected])),
            false_alarm=difference_paired(_paired((camera == REJECT)[accepted], (person == REJECT)[accepted])),
        )
    return found


def _paired(one: NDArray[np.bool_], two: NDArray[np.bool_]) -> PairedCounts:
    return PairedCounts(
        both=int((one & two).sum()),
        first_only=int((one & ~two).sum()),
        second_only=int((~one & two).sum()),
        neither=int((~one & ~two).sum()),
    )


def _by_kind(said: Answers) -> dict[str, KindStudy]:
    kinds = sorted(set().union(*said.defects.values())) if said.defects else []
    given = said.first != NO_VERDICT
    found: dict[str, KindStudy] = {}
    for kind in kinds:
        named = np.zeros(given.shape, dtype=np.bool_)
        for place, words in said.defects.items():
            named[place] = kind in words
        counts = np.stack([(given & ~named).sum(axis=1), (given & named).sum(axis=1)], axis=1)
        on = (majority(said.first) == REJECT) & (named & (said.first == REJECT)).any(axis=1)
        found[kind] = KindStudy(
            pieces=int(on.sum()),
            missed=wilson(int((on & said.passed).sum()), int(on.sum())),
            fleiss_kappa=fleiss_kappa(counts),
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
        given = {name: said.first[i, j] for j, name in enumerate(said.inspectors) if said.first[i, j] != NO_VERDICT}
        why: Literal["missed", "false alarm", "people differ"]
        if held[i] == REJECT and said.passed[i]:
            why = "missed"
        elif held[i] == ACCEPT and not said.passed[i]:
            why = "false alarm"
        elif len(set(given.values())) > 1:
            why = "people differ"
        else:
            continue
        words: dict[str, tuple[Literal["accept", "reject"], tuple[str, ...]]] = {
            name: (
                "reject" if verdict == REJECT else "accept",
                tuple(sorted(said.defects.get((i, said.inspectors.index(name)), ()))),
            )
            for name, verdict in given.items()
        }
        found.append(Dispute(key, why, said.camera[i], words))
    order = ("missed", "false alarm", "people differ")
    return tuple(sorted(found, key=lambda one: order.index(one.why)))
