"""An agreement study from end to end: a lot, what people said of it, and what a works asks of its camera."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.studies.agreement import MAJORITY, Agreement, Dispute, disputes, study_agreement
from app.studies.camera_and_people import Answers
from app.studies.characteristics import LimitStudy, reasons_of, study_limits
from app.studies.corrected import Corrected, corrected
from app.studies.fitness_words import Fitness, Thresholds, fitness
from app.studies.lot import Lot
from app.studies.over_time import Drift, drifts
from app.studies.samples import Sample, answers_of


@dataclass(frozen=True, slots=True)
class AgreementStudy:
    """All that the report is made from; `fitness` None without any verdict to hold against.

    `corrected`: the camera's rates without people's own misses, None where they don't follow from the verdicts.
    `drifts` of people's verdicts over time, of two inspectors or more together: one person's own are shown to that
    person alone. Verdicts in sight of the camera's have none, since it chose the order of their pieces.
    """

    samples: Sequence[Sample]
    said: Answers
    agreement: Agreement
    fitness: Fitness | None
    thresholds: Thresholds
    disputes: Sequence[Dispute]
    by_limit: Sequence[LimitStudy]
    corrected: Corrected | None
    drifts: Sequence[Drift]


def agree(lot: Lot, samples: Sequence[Sample], thresholds: Thresholds) -> AgreementStudy:
    """Study how the camera and people agree on a lot.

    Parameters
    ----------
    lot
        Results of one part.
    samples
        What people said of the lot's pieces, by round.
    thresholds
        What the camera is fit for use by.

    Returns
    -------
    AgreementStudy
        Agreement with people and among them, by limit and over time, and whether the camera is fit.
    """
    pieces = list(lot.pieces())
    said = answers_of({key: piece.verdict for key, piece in pieces}, samples)
    agreement = study_agreement(said)
    return AgreementStudy(
        samples=samples,
        said=said,
        agreement=agreement,
        fitness=fitness(agreement.camera_vs[MAJORITY], thresholds) if agreement.camera_vs else None,
        thresholds=thresholds,
        disputes=disputes(said),
        by_limit=study_limits(said, {key: reasons_of(piece) for key, piece in pieces}),
        corrected=corrected(said),
        drifts=drifts(one for sample in samples if sample.given != "in sight" for one in sample.verdicts)
        if len(said.inspectors) > 1
        else (),
    )
