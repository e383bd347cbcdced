"""A measured piece and limits to a verdict with reasons; the same function judges a stored result again."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vision.decide.badness import badness
from vision.decide.causes import Held, by_weight, findings_behind, place_of
from vision.decide.counts import (
    COUNTED_MEASURES,
    Counting,
    count,
    counted_spread,
    face_of,
    seen_of,
    weights_of_marks,
)
from vision.decide.defaults import default_limits
from vision.decide.guard import PASS, REJECT, REVIEW, acceptance_zone, bounds_of, conformances, limit_outcomes
from vision.decide.marks import Faces
from vision.decide.measures import MEASURES, SCORED_AREA
from vision.decide.spreads import Normal, Spread
from vision.records import Detection, JudgedPiece, Limit, Limits, MeasuredPiece, Reason, Value, Verdict

_ORDER_OF_OUTCOMES = ("reject", "review")
_ORDER_OF_SEVERITIES = ("critical", "major", "minor")


def judge(piece: MeasuredPiece, limits: Limits) -> JudgedPiece:
    """Judge a piece: the worst reason decides, and every limit not passed is a reason.

    A value passes when it proves conformance, is rejected when it proves the contrary, and is reviewed between (guard
    bands: `vision.decide.guard`; counts by the chances of their marks: `vision.decide.spreads`); what was not seen is
    never rejected. A limited measure that is missing, or has no uncertainty, is reviewed. A piece with a fault is at
    best reviewed. Reasons stand worst first (`vision.decide.badness`), in the limits' order among equals; each names
    the findings that it rests on, and its place. Where the limits say nothing of what was seen, defaults do
    (`vision.decide.defaults`).

    Parameters
    ----------
    piece
        A piece as measured.
    limits
        The limits that judge.

    Returns
    -------
    JudgedPiece
        The piece with its verdict, its reasons, and which of its marks count.

    Examples
    --------
    >>> from vision.records import Limit, Limits, MeasuredPiece
    >>> limits = Limits("TS-135", 1, "released", 0.95, (Limit("length_mm", "major", min=134.8, max=135.2),))
    >>> piece = MeasuredPiece(1, None, None, {"length_mm": 135.3}, {"length_mm": 0.02})
    >>> judged = judge(piece, limits)
    >>> judged.verdict, judged.reasons[0].measure, judged.reasons[0].outcome
    ('reject', 'length_mm', 'reject')
    """
    blank = JudgedPiece(
        piece=piece.piece,
        verdict="review",
        reasons=(),
        fault=piece.fault,
        pose=piece.pose,
        measures=piece.measures,
        uncertainties=piece.uncertainties,
        findings=piece.findings,
        counted=(),
        detection=Detection(),
        seen=piece.seen,
        places=piece.places,
    )
    return rejudge(blank, limits)


def rejudge(judged: JudgedPiece, limits: Limits) -> JudgedPiece:
    """Judge a piece again from its stored result alone; counts are formed anew by the limits' own counting rules.

    Parameters
    ----------
    judged
        As it was judged before.
    limits
        The limits that judge now.

    Returns
    -------
    JudgedPiece
        The piece with its new verdict and reasons.
    """
    area, area_u = judged.measures.get(SCORED_AREA), judged.uncertainties.get(SCORED_AREA)
    face = face_of(judged.findings, area, area_u, judged.detection, seen_of(judged))
    by = Counting(limits.count, limits.rate)
    surface = count(judged.findings, face, by)
    measures = _complete(judged.measures, surface.measures)
    uncertainties = _complete(judged.uncertainties, surface.uncertainties)
    asked = (*limits.limits, *default_limits(limits, measures))
    reasons = sorted(
        (
            replace(reason, findings=_findings(judged, held, face, by), place_mm=place_of(judged, held))
            for limit in asked
            for value in _limited(limit, measures, uncertainties, face, by)
            for reason in _reason(limit, value, limits.coverage)
            for held in (Held(limit, reason.zone or "", reason.uncertainty, limits.coverage),)
        ),
        key=_from_worst,
    )
    verdict: Verdict = "review" if judged.fault else "pass"
    if reasons:
        verdict = reasons[0].outcome
    return replace(
        judged,
        verdict=verdict,
        reasons=tuple(reasons),
        measures=measures,
        uncertainties=uncertainties,
        counted=surface.counted,
    )


def _from_worst(one: Reason) -> tuple[int, int, float]:
    return _ORDER_OF_OUTCOMES.index(one.outcome), _ORDER_OF_SEVERITIES.index(one.severity), -badness(one)


def _findings(piece: JudgedPiece, held: Held, face: Faces, by: Counting) -> tuple[int, ...]:
    """The findings that a reason rests on."""
    measure = held.limit.measure
    if measure in COUNTED_MEASURES:
        return by_weight(weights_of_marks(face, measure, by, held.limit.max))
    return findings_behind(piece, held)


def undecidable(reason: Reason, coverage: float) -> bool:
    """Whether no value at all could pass this limit at this uncertainty: an error in the limits, not of the piece.

    A count's uncertainty is of this piece's marks alone; it says nothing of others.

    Parameters
    ----------
    reason
        A limit that was not passed, with the value's uncertainty.
    coverage
        One-sided probability behind the guard bands, 0.5 to 1.

    Returns
    -------
    bool
        True where the guard bands leave no value to accept.
    """
    if reason.uncertainty is None or reason.measure in COUNTED_MEASURES:
        return False
    return acceptance_zone(reason.min, reason.max, reason.uncertainty, coverage) is None


def _complete(measured: Mapping[str, Value], counted: Mapping[str, Value]) -> dict[str, Value]:
    """Every known measure by name, None where missing, then those that are known to the piece alone.

    A later measure that the piece lacks stays absent: it was not measured then.
    """
    given = {name: value for name, value in measured.items() if name not in COUNTED_MEASURES}
    known = (one.name for one in MEASURES.values() if not one.later or one.name in given)
    return {**dict.fromkeys(known), **given, **counted}


@dataclass(frozen=True, slots=True)
class _Limited:
    """One number that a limit bounds, and what it may be; None where it or its uncertainty is missing."""

    zone: str | None
    value: float | None
    uncertainty: float | None
    spread: Spread | None


def _limited(
    limit: Limit, measures: Mapping[str, Value], uncertainties: Mapping[str, Value], face: Faces, by: Counting
) -> Iterator[_Limited]:
    """What a limit is held against: one zone's value, every zone's, or the piece's."""
    value, uncertainty = measures.get(limit.measure), uncertainties.get(limit.measure)
    if limit.measure in COUNTED_MEASURES:
        assert not isinstance(value, Mapping)
        assert not isinstance(uncertainty, Mapping)
        spread = None if value is None else counted_spread(face, limit.measure, by)
        yield _Limited(limit.zone, value, uncertainty, spread)
        return
    if not isinstance(value, Mapping):
        pairs = [(limit.zone, value, uncertainty)]
    else:
        zones = [limit.zone] if limit.zone else list(value)
        by_zone = uncertainty if isinstance(uncertainty, Mapping) else {}
        pairs = [(zone, value.get(zone), by_zone.get(zone)) for zone in zones] or [(None, None, None)]
    for zone, one, one_u in pairs:
        assert not isinstance(one, Mapping)
        assert not isinstance(one_u, Mapping)
        known = one is not None and one_u is not None
        yield _Limited(zone, one, one_u, Normal(np.array([one]), np.array([one_u])) if known else None)


def _reason(limit: Limit, held: _Limited, coverage: float) -> Iterator[Reason]:
    """A reason where the limit is not passed."""
    outcome, chance = REVIEW, None
    if held.spread is not None:
        outcome = int(limit_outcomes(held.spread, limit, coverage)[0])
        if outcome == PASS:
            return
        chance = float(conformances(held.spread, *bounds_of(limit.min, limit.max, 1))[0])
    said: Literal["review", "reject"] = "reject" if outcome == REJECT else "review"
    yield Reason(
        limit.measure, held.zone, held.value, held.uncertainty, limit.min, limit.max, limit.severity, said, chance
    )
