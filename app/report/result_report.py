"""Pages that stand alone: one for a tray's result, one for a lot's trays."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import jinja2

from app.report import svg
from app.report.budget_table import number_text
from app.report.cautions import CAUTIONS
from app.report.finding_words import with_because
from app.report.glossary import GLOSSARY
from app.report.inspected import Inspected
from app.report.limits_words import limits_words
from app.report.sheet import jpeg_text, reason_lines
from app.report.style import SIGNS
from app.report.tray_picture import BAND_PX, Colour
from app.report.words import measure_words, number_words, per_zone
from vision.calibrate import measure_budget
from vision.decide import face_grades, told_findings
from vision.records import JudgedPiece, MeasuredPiece, TrayResult, Verdict

SIGN_PX = 14.0


@dataclass(frozen=True, slots=True)
class MeasureRow:
    """One line of a piece's table of measures, in words."""

    title: str
    zone: str
    value: str
    uncertainty: str


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One measure's uncertainty budget on one line: what adds to it, combined, and expanded."""

    title: str
    zone: str
    unit: str
    value: str
    shares: Sequence[str]
    combined: str
    expanded: str


@dataclass(frozen=True, slots=True)
class PieceBlock:
    """What a page says of one piece; `sheet` is its SVG, empty for a piece that was not flagged or not measured."""

    piece: int
    verdict: Verdict
    lines: Sequence[str]
    findings: Sequence[str]
    rows: Sequence[MeasureRow]
    budget: Sequence[BudgetRow]
    sheet: str


def result_page(inspected: Inspected, tray_picture: Colour, sheets: Mapping[int, str]) -> str:
    """A tray's result as one HTML page that stands alone; `sheets` are the flagged pieces' SVGs by number."""
    measured = {piece.piece: piece for piece in inspected.measured.pieces}
    blocks = [
        PieceBlock(
            piece.piece,
            piece.verdict,
            reason_lines(piece, inspected.limits.coverage),
            [with_because(piece.findings[index]) for index in told_findings(piece)],
            measure_rows(piece),
            budget_rows(measured[piece.piece]),
            sheets.get(piece.piece, ""),
        )
        for piece in inspected.result.pieces
    ]
    return _template("result.html").render(
        result=inspected.result,
        told=limits_words((inspected.result.limits_standing,)),
        part_name=inspected.part.name,
        traced_from=inspected.part.traced_from,
        counts=counts_by_verdict(inspected.result.pieces),
        blocks=blocks,
        tray_picture=jpeg_text(tray_picture[BAND_PX:]),
    )


def index_page(results: Sequence[TrayResult]) -> str:
    """The trays of a run, lot by lot, each linked to its own page beside this one, with counts by verdict."""
    lots: dict[str, list[tuple[TrayResult, Mapping[Verdict, int]]]] = {}
    for result in sorted(results, key=lambda r: (r.lot or "", r.tray)):
        lots.setdefault(result.lot or "no lot", []).append((result, counts_by_verdict(result.pieces)))
    pieces = [piece for result in results for piece in result.pieces]
    return _template("index.html").render(
        lots=lots,
        counts=counts_by_verdict(pieces),
        trays=len(results),
        told=limits_words(result.limits_standing for result in results),
    )


def counts_by_verdict(pieces: Sequence[JudgedPiece]) -> Mapping[Verdict, int]:
    """How many pieces got each verdict; every verdict is there."""
    counts = Counter(piece.verdict for piece in pieces)
    return {verdict: counts[verdict] for verdict in SIGNS}


def measure_rows(judged: JudgedPiece) -> list[MeasureRow]:
    """All measures of a piece, zone by zone, with their standard uncertainties."""
    rows: list[MeasureRow] = []
    for name, value in judged.measures.items():
        finer = min(1, measure_words(name).decimals)  # a count stays whole, its uncertainty does not
        sure = per_zone(judged.uncertainties.get(name))
        for zone, number in per_zone(value).items():
            own = sure.get(zone)
            uncertainty = "" if own is None or number is None else number_words(name, own, 1)
            rows.append(
                MeasureRow(measure_words(name).title, zone or "", number_words(name, number, finer), uncertainty)
            )
    if grades := face_grades(judged):
        rows.append(MeasureRow("marks as ISO 10110-7 writes them", "", grades.text, ""))
        rows.append(MeasureRow("total area of marks", "", f"{grades.area_mm2:.3f} mm²", ""))
    return rows


def budget_rows(piece: MeasuredPiece) -> list[BudgetRow]:
    """The uncertainty budget of every measure of a piece's outline (JCGM 100:2008), zone by zone."""
    rows = []
    for name, uncertainty_components in piece.uncertainty_components.items():
        words, values = measure_words(name), per_zone(piece.measures[name])
        for zone, components in uncertainty_components.items():
            budget = measure_budget(components)
            shares = [number_text(line.share) for line in budget.contributions]
            value = number_words(name, values.get(zone or None))
            totals = (number_text(budget.combined), number_text(budget.expanded))
            rows.append(BudgetRow(words.title, zone, words.unit, value, shares, *totals))
    return rows


def _sign(verdict: Verdict) -> str:
    """A verdict's sign as a small drawing of its own; the word stands beside it."""
    size = 2 * SIGN_PX + 4
    mark = svg.sign(SIGNS[verdict], (size / 2, size / 2), SIGN_PX)
    return f'<svg class="sign" viewBox="0 0 {size:.0f} {size:.0f}" aria-hidden="true">{mark}</svg>'


@cache
def _templates() -> jinja2.Environment:
    loader = jinja2.PackageLoader("app.report", "templates")
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    environment.globals.update(sign=_sign, signs=SIGNS, cautions=CAUTIONS, glossary=GLOSSARY)
    return environment


def _template(name: str) -> jinja2.Template:
    return _templates().get_template(name)
