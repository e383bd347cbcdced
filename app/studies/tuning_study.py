"""A tuning study from end to end: a lot, people's verdicts, limits and a question."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.statistics import Estimate, RocCurve, roc_area, roc_curve
from app.studies.camera_and_people import NO_VERDICT, REJECT, LeftOut, Weighting, majority
from app.studies.changes import Changes, compare_revisions
from app.studies.columns import VERDICTS, Codes, Mask, PieceColumns, columns_of
from app.studies.lot import Lot
from app.studies.samples import ALL_PIECES, FLAGGED, Sample, answers_of
from app.studies.settings import Side, Target, setting_now, target_of, with_setting
from app.studies.sweeps import Sweep, sweep
from app.studies.tuning import Task, Tuning, study_setting
from app.studies.tuning_sample import Drawn, Sample as SettledSample
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

    `sample`: the pieces that people judged. `roc` leaves out ties, None where a class is empty; `changes` (over all
    pieces) None without a recommendation. `zones`: all zones of the measure.
    """

    target: Target
    limits: Limits
    sample: SettledSample
    tuning: Tuning
    task: Task
    roc: RocCurve | None
    area: Estimate
    changes: Changes | None
    zones: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What most people say of the pieces that they judged, and how these were drawn.

    Attributes
    ----------
    rows
        (judged,) place of each piece in the lot's columns; one of two blind rounds stands twice.
    said
        (judged,) ACCEPT, REJECT, or NO_VERDICT for a tie.
    weighting
        None where the pieces are taken for a random sample of the lot.
    unknown
        Verdicts on pieces that are in no result.
    """

    rows: NDArray[np.int64]
    said: Codes
    weighting: Weighting | None
    unknown: tuple[LeftOut, ...]


def truth_of(pieces: PieceColumns, samples: Sequence[Sample]) -> Truth:
    """What people say of a lot's pieces.

    Parameters
    ----------
    pieces
        The lot's pieces as columns; see `columns_of`.
    samples
        What people said of the lot's pieces, by round.

    Returns
    -------
    Truth
        Rows of the pieces that were judged, what most people said of each, and verdicts on pieces that are not there.
    """
    said = answers_of(dict.fromkeys(pieces.keys, "pass"), samples)
    place = {key: row for row, key in enumerate(pieces.keys)}
    rows = np.array([place[key] for key in said.pieces], dtype=np.int64)
    return Truth(rows, majority(said.first), said.weighting, said.unknown)


def tune(
    lot: Lot, samples: Sequence[Sample], limits: Limits, question: Question
) -> tuple[TuningStudy, tuple[LeftOut, ...]]:
    """Answer a question on a lot; also names verdicts on pieces that it lacks.

    Parameters
    ----------
    lot
        Results of one part.
    samples
        What people said of the lot's pieces, by round.
    limits
        Limits of the part.
    question
        What is to be tuned, and what is asked of it.

    Returns
    -------
    tuple[TuningStudy, tuple[LeftOut, ...]]
        The study, and verdicts on pieces that the lot lacks.

    Raises
    ------
    Unusable
        There is no such measure, rule or zone, no piece of the lot has this measure, or people settled no piece.
    """
    pieces = columns_of(lot.pieces())
    truth = truth_of(pieces, samples)
    return tune_columns(pieces, truth, limits, question), truth.unknown


def tune_columns(pieces: PieceColumns, truth: Truth, limits: Limits, question: Question) -> TuningStudy:
    """Answer a question on a lot's columns, by what people say of its pieces.

    Parameters
    ----------
    pieces
        The lot's pieces as columns; see `columns_of`.
    truth
        What people say; see `truth_of`.
    limits
        Limits of the part.
    question
        What is to be tuned, and what is asked of it.

    Returns
    -------
    TuningStudy
        Rates over the range of settings, the recommended one and what it changes.

    Raises
    ------
    Unusable
        There is no such measure, rule or zone, no piece has this measure, or people settled no piece.
    """
    target = target_of(limits, question.measure, question.zone, question.side)
    if setting_now(limits, target) is None:
        target = replace(target, severity=question.severity)
    zones = pieces.zones(target.name)
    if target.zone is not None and target.zone not in zones:
        raise Unusable("--zone", target.zone, f"a zone of the results: {', '.join(zones) or 'none has one'}")
    if not (truth.said != NO_VERDICT).any():
        raise Unusable("--verdicts", "", "at least one piece of the results on which most people agree")
    sample = _sample(pieces, sweep(pieces, limits, target), truth)
    if np.isnan(sample.sweep.value).all():
        raise Unusable("--measure", target.words, "a measure that the results hold; it is missing in every piece")
    unguarded = _sample(pieces, sweep(pieces, replace(limits, coverage=UNGUARDED_COVERAGE), target), truth)
    trays = [pieces.keys[row].tray for row in truth.rows]
    tuning = study_setting(sample, unguarded, trays, question.task, setting_now(limits, target))
    value, bad = target.sign * sample.sweep.value, sample.bad
    seen = ~np.isnan(value)
    of_bad, of_good = value[seen & bad], value[seen & sample.good]
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


def _sample(pieces: PieceColumns, swept: Sweep, truth: Truth) -> SettledSample:
    """The pieces that people judged, with how they were drawn."""
    drawn = None
    if truth.weighting is not None:
        # Of the pieces not drawn it is known what the camera says of them now, which tells their stratum.
        names = truth.weighting.names
        first = [float(swept.passes_from[_of_stratum(pieces, name)].min(initial=np.inf)) for name in names]
        drawn = Drawn(truth.weighting.stratum, truth.weighting.sizes, np.array(first))
    settled = SettledSample(swept.rows(truth.rows), truth.said == REJECT, drawn, truth.said == NO_VERDICT)
    if drawn is not None:
        # A piece that was judged another way since may pass earlier than those that stand in its stratum now.
        own = drawn.first_passes.copy()
        np.minimum.at(own, drawn.stratum, settled.sweep.passes_from)
        settled = replace(settled, drawn=replace(drawn, first_passes=own))
    return settled


def _of_stratum(pieces: PieceColumns, name: str) -> Mask:
    """(pieces,) those that the camera's verdict puts into a stratum."""
    verdicts: tuple[str, ...] = {ALL_PIECES: VERDICTS, FLAGGED: ("review", "reject")}.get(name, (name,))
    found: Mask = np.isin(pieces.verdict, [VERDICTS.index(one) for one in VERDICTS if one in verdicts])
    return found
