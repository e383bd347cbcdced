"""A measured piece and limits to a verdict with reasons; the same function judges a stored result again."""

from collections.abc import Iterator, Mapping

from vision.decide.counts import COUNTED_MEASURES, count
from vision.decide.defaults import LATER_MEASURES, SEEN_MEASURES, default_limits
from vision.decide.guard import acceptance_zone, proves_conformance, proves_nonconformance
from vision.decide.measures import MEASURES
from vision.records import JudgedPiece, Limit, Limits, MeasuredPiece, Reason, Value, Verdict

_ORDER_OF_OUTCOMES = ("reject", "review")
_ORDER_OF_SEVERITIES = ("critical", "major", "minor")


def judge(piece: MeasuredPiece, limits: Limits) -> JudgedPiece:
    """Judge a piece: the worst reason decides, and every limit not passed is a reason.

    A value passes when it proves conformance, is rejected when it proves the contrary, and is reviewed between (guard
    bands: `vision.decide.guard`); what was not seen is never rejected. A limited measure that is missing, or has no
    uncertainty, is reviewed. A piece with a fault is at best reviewed. Reasons stand worst first, in the limits' order
    among equals. Where the limits say nothing of what was seen, defaults do (`vision.decide.defaults`).
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
    )
    return rejudge(blank, limits)


def rejudge(judged: JudgedPiece, limits: Limits) -> JudgedPiece:
    """Judge a piece again from its stored result alone; counts are formed anew by the limits' own counting rules."""
    area, area_u = judged.measures.get("scored_area_cm2"), judged.uncertainties.get("scored_area_cm2")
    surface = count(judged.findings, limits.count, area, area_u)
    measures = _complete(judged.measures, surface.measures)
    uncertainties = _complete(judged.uncertainties, surface.uncertainties)
    asked = (*limits.limits, *default_limits(limits, measures))
    reasons = sorted(
        (reason for limit in asked for reason in _reasons(limit, measures, uncertainties, limits.coverage)),
        key=lambda one: (_ORDER_OF_OUTCOMES.index(one.outcome), _ORDER_OF_SEVERITIES.index(one.severity)),
    )
    verdict: Verdict = "review" if judged.fault else "pass"
    if reasons:
        verdict = reasons[0].outcome
    return JudgedPiece(
        piece=judged.piece,
        verdict=verdict,
        reasons=tuple(reasons),
        fault=judged.fault,
        pose=judged.pose,
        measures=measures,
        uncertainties=uncertainties,
        findings=judged.findings,
        counted=surface.counted,
    )


def undecidable(reason: Reason, coverage: float) -> bool:
    """Whether no value at all could pass this limit at this uncertainty: an error in the limits, not of the piece."""
    if reason.uncertainty is None:
        return False
    return acceptance_zone(reason.min, reason.max, reason.uncertainty, coverage) is None


def _complete(measured: Mapping[str, Value], counted: Mapping[str, Value]) -> dict[str, Value]:
    """Every known measure by name, None where missing, then those that are known to the piece alone.

    A later measure that the piece lacks stays absent: it was not measured then.
    """
    given = {name: value for name, value in measured.items() if name not in COUNTED_MEASURES}
    known = (name for name in MEASURES if name not in LATER_MEASURES or name in given)
    return {**dict.fromkeys(known), **given, **counted}


def _reasons(
    limit: Limit, measures: Mapping[str, Value], uncertainties: Mapping[str, Value], coverage: float
) -> Iterator[Reason]:
    """One reason for each value that does not pass: one zone's, every zone's, or the piece's."""
    value, uncertainty = measures.get(limit.measure), uncertainties.get(limit.measure)
    if not isinstance(value, Mapping):
        pairs = [(limit.zone, value, uncertainty)]
    else:
        zones = [limit.zone] if limit.zone else list(value)
        by_zone = uncertainty if isinstance(uncertainty, Mapping) else {}
        pairs = [(zone, value.get(zone), by_zone.get(zone)) for zone in zones] or [(None, None, None)]
    for zone, one, one_u in pairs:
        assert not isinstance(one, Mapping)
        assert not isinstance(one_u, Mapping)
        outcome = _outcome(one, one_u, limit, coverage)
        if outcome != "pass":
            yield Reason(limit.measure, zone, one, one_u, limit.min, limit.max, limit.severity, outcome)


def _outcome(value: float | None, uncertainty: float | None, limit: Limit, coverage: float) -> Verdict:
    if value is None or uncertainty is None:
        return "review"
    if proves_conformance(value, uncertainty, limit.min, limit.max, coverage):
        return "pass"
    proved = proves_nonconformance(value, uncertainty, limit.min, limit.max, coverage)
    if proved and limit.measure not in SEEN_MEASURES:
        return "reject"
    return "review"
