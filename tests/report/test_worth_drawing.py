"""Findings too small to matter don't crowd pictures, and none on which a reason rests is left out."""

from dataclasses import replace

import pytest

from app.report.finding_tags import worth_drawing
from vision.records.inputs import Limit, Limits
from vision.records.judged import JudgedPiece, Reason
from vision.records.measured import BendFinding, EdgeFinding

LIMITS = Limits(
    "TS-135",
    1,
    "released",
    0.95,
    (Limit("outline_out_mm", "major", "bowl", max=0.2), Limit("outline_in_mm", "major", max=0.3)),
)


def edge(height_mm: float, deviation_mm: float) -> EdgeFinding:
    return EdgeFinding("burr", "bowl", (0.0, 0.0), (0.0, 0.0), height_mm, deviation_mm, 1.0)


LOW, HIGH, DEEP, SHIFTED = edge(0.09, 0.05), edge(0.11, 0.0), edge(-0.12, -0.1), edge(0.02, 0.15)
BEND = BendFinding("handle", 0.01)
PIECE = JudgedPiece(1, "review", (), None, None, {}, {}, (LOW, HIGH, DEEP, SHIFTED, BEND), ())


@pytest.mark.parametrize(
    ("limits", "drawn"),
    [
        (LIMITS, (HIGH, DEEP, SHIFTED, BEND)),  # half of 0.2 mm, the narrowest limit
        (replace(LIMITS, drawn_from_mm=0.13), (SHIFTED, BEND)),
        (replace(LIMITS, drawn_from_mm=0.0), PIECE.findings),
        (replace(LIMITS, limits=(Limit("length_mm", "minor", max=135.2),)), PIECE.findings),
    ],
)
def test_small_findings_are_left_out_of_pictures(limits: Limits, drawn: tuple[EdgeFinding, ...]) -> None:
    assert worth_drawing(PIECE, limits) == drawn


def test_a_finding_that_a_reason_rests_on_is_drawn() -> None:
    reason = Reason("outline_out_mm", "bowl", 0.05, 0.01, None, 0.2, "major", "review", findings=(0,))
    assert LOW in worth_drawing(replace(PIECE, reasons=(reason,)), LIMITS)
