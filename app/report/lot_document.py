"""The report of a lot: what a customer or an auditor reads, and the same as data."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from app.report.die_report import same_place_html
from app.report.limits_words import lot_limits_words
from app.report.lot_charts import over_time_chart, shares_chart
from app.report.lot_words import (
    NAMED,
    decision_words,
    escapes_words,
    first_reason_words,
    next_words,
    sample_words,
    yield_words,
)
from app.report.risk_charts import risks_html
from app.report.stamp import Stamp, stamp_of
from app.report.study_page import ReportFolders, pictured, render
from app.report.words import measure_words, number_words, whose_words
from app.statistics import same_place
from app.store import LotState, Store, Which, history_of, part_of, recall_results, revisions
from app.studies import (
    Acceptance,
    Lot,
    LotPiece,
    LotRisks,
    MeasureSum,
    Share,
    columns_of,
    study_lot_risks,
)

PICTURED = 6
COVERAGE_FACTOR = 2.0
"""k of the expanded uncertainty, for about 95 % (JCGM 100:2008, 6.3.3)."""


@dataclass(frozen=True, slots=True, eq=False)
class LotReport:
    """What the report is made of.

    `series`: the part's lots inspected by sample at `aql` (%), this one last; empty where every piece was inspected.
    `same_place`: what is told of marks at one place, as HTML; empty where the part's drawing is not known.
    `risks`: by the newest revision of limits that judged the lot; None where the store holds it no more.
    `stamp`: the head of the chain over all that was filed.
    """

    state: LotState
    series: Sequence[Acceptance]
    aql: float
    same_place: str = ""
    risks: LotRisks | None = None
    stamp: Stamp | None = None


def lot_report(
    store: Store, state: LotState, series: Sequence[Acceptance], aql: float, works: Path | None = None
) -> LotReport:
    """Everything of a lot, marks at one place included.

    Parameters
    ----------
    store
        An open store.
    state
        The lot's.
    series
        Lots by sample, this one the last; empty where it is none.
    aql
        Acceptable quality limit, in percent nonconforming.
    works
        Folder of the store's works; none where it has none.

    Returns
    -------
    LotReport
        What `lot_page` and `lot_table` take.
    """
    text = ""
    if part_of(store, state.part) is not None:
        found = history_of(store, state.part, state.lot)
        text = same_place_html(same_place(found.marks, found.pieces_by_die, found.ground), found.part)
    return LotReport(state, series, aql, text, _risks(store, state), stamp_of(store, works))


def _risks(store: Store, state: LotState) -> LotRisks | None:
    newest = max((tray.limits_revision for tray in state.content.trays), default=None)
    limits = next((one.limits for one in revisions(store, state.part) if one.limits.revision == newest), None)
    if limits is None:
        return None
    lot = Lot(tuple(recall_results(store, Which(lot=state.lot, part=state.part))))
    return study_lot_risks(columns_of(lot.pieces()), limits)


def lot_page(report: LotReport, report_folders: ReportFolders) -> str:
    """The report as HTML that stands alone, but for its stamp; nothing of it depends on when it is made.

    Parameters
    ----------
    report
        What is to be said of the lot.
    report_folders
        Where pictures lie and what links to them.

    Returns
    -------
    str
        HTML.
    """
    state, figures = report.state, report.state.figures
    reasons = [(first_reason_words(one.name), one) for one in figures.reasons]
    return render(
        "lot.html",
        {
            "state": state,
            "told": lot_limits_words(state.content.limits),
            "figures": figures,
            "parts": sorted({str(tray.station) for tray in state.content.trays}),
            "revisions": sorted({tray.limits_revision for tray in state.content.trays}),
            "software": sorted({tray.software for tray in state.content.trays}),
            "times": sorted(tray.taken_at for tray in state.content.trays if tray.taken_at),
            "values": sorted(state.values.items()),
            "reasons": reasons,
            "pareto": shares_chart([_worded(one) for one in figures.reasons], "First reasons") if reasons else "",
            "named": shares_chart(figures.named, NAMED) if figures.named else "",
            "groupings": [
                (one.name, shares_chart(one.groups, f"Pieces not passed by {one.name}")) for one in figures.groupings
            ],
            "over_time": "" if figures.over_time is None else over_time_chart(figures.over_time),
            "outside": [] if figures.over_time is None else _outside(report),
            "measures": [measure_row(one) for one in state.content.measures],
            "escapes": escapes_words(figures.escapes),
            "yielded": yield_words(figures.yielded),
            "decisions": [(decision_words(one), one) for one in state.decisions],
            "whose": whose_words,
            "acceptance": report.series[-1] if report.series else None,
            "sample": sample_words(report.series[-1], report.aql) if report.series else "",
            "next": next_words(report.series[-1]) if report.series else "",
            "series": report.series,
            "examples": [
                (piece, first_reason_words(piece.reason or ""), pictured(report_folders, piece.key, embed=True))
                for piece in examples(state)
            ],
            "not_packed": [
                (piece, state.fates[piece.key], first_reason_words(piece.reason) if piece.reason else "")
                for piece in state.content.pieces
                if state.fates[piece.key] not in ("passed", "accepted")
            ],
            "same_place": report.same_place,
            "risks": "" if report.risks is None else risks_html(report.risks),
        },
    )  # fmt: skip


def examples(state: LotState) -> list[LotPiece]:
    """Of each of the commonest reasons the worst piece: the rejected one that lies farthest beyond its limit."""
    chosen = []
    for reason in state.figures.reasons[:PICTURED]:
        with_it = [piece for piece in state.content.pieces if piece.reason == reason.name and piece.verdict != "pass"]
        chosen.append(min(with_it, key=lambda piece: (piece.verdict != "reject", -piece.beyond)))
    return chosen


def _worded(one: Share) -> Share:
    return Share(first_reason_words(one.name), one.count, one.of, one.share)


def _outside(report: LotReport) -> list[str]:
    found = report.state.figures.over_time
    assert found is not None
    return [tray for tray, out in zip(found.first_trays, found.chart.outside, strict=True) if out]


def measure_row(one: MeasureSum) -> dict[str, str]:
    """One measure over the lot in words, as a line of a table.

    Parameters
    ----------
    one
        The measure over the lot.

    Returns
    -------
    dict[str, str]
        Texts by column, in the measure's unit; the uncertainty expanded (k = 2).
    """
    words = measure_words(one.measure)
    finer = min(1, words.decimals)

    def text(value: float | None) -> str:
        return "–" if value is None else number_words(one.measure, value, finer)

    expanded = None if one.uncertainty is None else COVERAGE_FACTOR * one.uncertainty
    return {
        "title": words.title,
        "zone": one.zone,
        "count": str(one.count),
        "mean": text(one.mean),
        "deviation": text(one.deviation),
        "least": text(one.least),
        "most": text(one.most),
        "expanded": text(expanded),
    }
