"""A tuning study from end to end: a lot, people's verdicts, limits and a question."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from app.statistics import Estimate, RocCurve, roc_area, roc_curve
from app.studies.camera_and_people import ACCEPT, NO_VERDICT, REJECT, LeftOut, PersonVerdict, answers, majority
from app.studies.changes import Changes, compare_revisions
from app.studies.columns import Codes, PieceColumns, columns_of
from app.studies.lot import Lot
from app.studies.settings import Side, Target, setting_now, sweep, target_of, with_setting
from app.studies.tuning import Sample, Task, Tuning, study_setting
from vision.errors import Unusable
from vision.records import Limits, Severity

UNGUARDED_COVERAGE = 0.5
"""A coverage of one half makes the guard band zero: a value on the right side of its limit passes."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: a measure (or counting rule) with its zone and side, and the task; `severity` of a new limit."""

    measure: str
    zone: str | None
    side: Side | None
    severity: Severity
    task: Task


@dataclass(frozen=True, slots=True, eq=False)
class TuningStudy:
    """What a tuning study says.

    `sample`: the pieces whose truth people settled. `roc` None where a class is empty, `changes` (over all pieces) None
    without a recommendation. `zones`: all zones of the measure.
    """

    target: Target
    limits: Limits
    sample: Sample
    tuning: Tuning
    task: Task
    roc: RocCurve | None
    area: Estimate
    changes: Changes | None
    zones: tuple[str, ...]


def truth_of(pieces: PieceColumns, verdicts: Iterable[PersonVerdict]) -> tuple[Codes, tuple[LeftOut, ...]]:
    """What most people say of every piece (pieces,), NOT_GIVEN for ties and unjudged ones; and unknown pieces."""
    said = answers(dict.fromkeys(pieces.keys, "pass"), verdicts)
    held = dict(zip(said.pieces, majority(said.first).tolist(), strict=True))
    truth: Codes = np.array([held.get(key, NO_VERDICT) for key in pieces.keys], dtype=np.int8)
    return truth, said.unknown


def tune(
    lot: Lot, verdicts: Iterable[PersonVerdict], limits: Limits, question: Question
) -> tuple[TuningStudy, tuple[LeftOut, ...]]:
    """Answer a question on a lot; also names verdicts on pieces that it lacks.

    Raises
    ------
    Unusable
        There is no such measure, rule or zone, no piece of the lot has this measure, or people settled no piece.
    """
    pieces = columns_of(lot.pieces())
    truth, unknown = truth_of(pieces, verdicts)
    return tune_columns(pieces, truth, limits, question), unknown


def tune_columns(pieces: PieceColumns, truth: Codes, limits: Limits, question: Question) -> TuningStudy:
    """The same from columns and what people say of each piece (pieces,): ACCEPT, REJECT or NOT_GIVEN."""
    target = target_of(limits, question.measure, question.zone, question.side)
    if setting_now(limits, target) is None:
        target = replace(target, severity=question.severity)
    zones = pieces.zones(target.name)
    if target.zone is not None and target.zone not in zones:
        raise Unusable("--zone", target.zone, f"a zone of the results: {', '.join(zones) or 'none has one'}")
    known = (truth == ACCEPT) | (truth == REJECT)
    if not known.any():
        raise Unusable("--verdicts", "", "at least one piece of the results on which most people agree")
    sample = Sample(sweep(pieces, limits, target), truth == REJECT).part(known)
    if np.isnan(sample.sweep.value).all():
        raise Unusable("--measure", target.words, "a measure that the results hold; it is missing in every piece")
    bare = replace(limits, coverage=UNGUARDED_COVERAGE)
    unguarded = Sample(sweep(pieces, bare, target), truth == REJECT).part(known)
    trays = [key.tray for key, kept in zip(pieces.keys, known.tolist(), strict=True) if kept]
    tuning = study_setting(sample, unguarded, trays, question.task, setting_now(limits, target))
    value, bad = target.sign * sample.sweep.value, sample.bad
    seen = ~np.isnan(value)
    of_bad, of_good = value[seen & bad], value[seen & ~bad]
    setting = tuning.recommended.setting
    return TuningStudy(
        target=target,
        limits=limits,
        sample=sample,
        tuning=tuning,
        task=question.task,
        roc=roc_curve(of_bad, of_good) if len(of_bad) and len(of_good) else None,
        area=roc_area(of_bad, of_good),
        changes=None
        if setting is None
        else compare_revisions(pieces, limits, with_setting(limits, target, setting, zones)),
        zones=zones,
    )
