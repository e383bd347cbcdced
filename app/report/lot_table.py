"""The report of a lot as data: the figures, and every tray and piece that they come from."""

from typing import Any

from app.report.limits_words import lot_limits_words
from app.report.lot_document import LotReport
from app.studies import (
    Acceptance,
    LotYield,
    MeasureSum,
    OverTime,
    Share,
    figure,
    risks_table,
)


def lot_table(report: LotReport) -> dict[str, Any]:
    """`lot.json`: the figures, and every tray and piece that they come from.

    Parameters
    ----------
    report
        What is to be said of the lot.

    Returns
    -------
    dict[str, Any]
        The table, ready for `json_text`.
    """
    state, figures = report.state, report.state.figures
    return {
        "format": 1,
        "lot": state.lot,
        "part": state.part,
        "standing": state.standing,
        "decisions": [
            {
                "decision": one.decision,
                "given_by": one.given_by,
                "identity": one.identity,
                "why": one.why,
                "given_at": one.given_at,
                "seen": one.seen,
            }
            for one in state.decisions
        ],
        "process": state.values,
        "trays": figures.trays,
        "pieces": figures.pieces,
        "fates": dict(figures.fates),
        "to_packing": figures.to_packing,
        "first_pass": figure(figures.first_pass),
        "yield": _yield_table(figures.yielded),
        "reasons": [_share_table(one) for one in figures.reasons],
        "named_by_people": [_share_table(one) for one in figures.named],
        "by": {one.name: [_share_table(group) for group in one.groups] for one in figures.groupings},
        "escapes": None
        if figures.escapes is None
        else {
            "passed_judged_blind": figures.escapes.seen,
            "bad_among_passed": figures.escapes.bad,
            "tied_among_passed": figures.escapes.tied,
            "share": figure(figures.escapes.share),
            "escaped": figure(figures.escapes.escaped),
            "per_million": None if figures.escapes.per_million is None else figure(figures.escapes.per_million),
            "of_this_lot": figures.escapes.own,
        },
        "acceptance": None if not report.series else _acceptance_table(report.series[-1], report.aql),
        "over_time": None if figures.over_time is None else _over_time_table(figures.over_time),
        "measures": [_measure_table(one) for one in state.content.measures],
        **({"risks": None, "capability": None} if report.risks is None else risks_table(report.risks)),
        "to_be_judged_again": [tray.tray for tray in state.suspect],
        "filed_after_the_decision": list(state.late_trays),
        "shots": [
            {
                "tray": tray.tray,
                "station": tray.station,
                "taken_at": tray.taken_at,
                "limits_revision": tray.limits_revision,
                "software": tray.software,
                "process": dict(tray.process),
            }
            for tray in state.content.trays
        ],
        "limits_told": lot_limits_words(state.content.limits),
        "head": None if report.stamp is None else report.stamp.head,
        "head_signature": None if report.stamp is None else report.stamp.signature or None,
        "results": [
            {
                "tray": piece.tray,
                "piece": piece.piece,
                "verdict": piece.verdict,
                "fate": state.fates[piece.key],
                "first_reason": piece.reason,
                "judgement": piece.digest,
            }
            for piece in state.content.pieces
        ],
    }


def _measure_table(one: MeasureSum) -> dict[str, Any]:
    return {
        "measure": one.measure,
        "zone": one.zone or None,
        "count": one.count,
        "mean": one.mean,
        "standard_deviation": one.deviation,
        "min": one.least,
        "max": one.most,
        "standard_uncertainty": one.uncertainty,
    }


def _yield_table(found: LotYield | None) -> dict[str, Any] | None:
    """The value is null where pieces wait: the yield is then known as a range."""
    if found is None:
        return None
    value = found.least if found.waiting == 0 else None
    return {"value": value, "least": found.least, "most": found.most, "ci": list(found.ci)}


def _share_table(one: Share) -> dict[str, Any]:
    return {"name": one.name, "count": one.count, "of": one.of, "share": figure(one.share)}


def _over_time_table(found: OverTime) -> list[dict[str, Any]]:
    names = ("first_tray", "trays", "pieces", "not_passed", "lower", "upper")
    limits = (found.chart.points.tolist(), found.chart.lower.tolist(), found.chart.upper.tolist())
    points = zip(found.first_trays, found.trays_each, found.sizes, *limits, strict=True)
    return [dict(zip(names, point, strict=True)) for point in points]


def _acceptance_table(one: Acceptance, aql: float) -> dict[str, Any]:
    return {
        "aql_percent": aql,
        "lot_size": one.size,
        "code_letter": one.plan.letter,
        "sample_size": one.plan.size,
        "acceptance_number": one.plan.accept,
        "severity": one.severity,
        "inspected": one.inspected,
        "bad": one.bad,
        "outcome": one.outcome,
        "next_severity": "stopped" if one.course.stopped else one.course.severity,
        "next_may_be_chosen": list(one.may_begin),
        "accepted_at_95_percent": one.producers_quality,
        "accepted_at_10_percent": one.consumers_quality,
    }
