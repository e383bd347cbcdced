"""Marks and faces for the tests of counting."""

from collections.abc import Sequence

from vision.decide.counts import Counted, Counting, count, face_of
from vision.records.inputs import CountRule
from vision.records.marks import Detection, MarkRate
from vision.records.measured import Finding, Pit, Scratch


def scratch(length_mm: float, snr: float = 20.0) -> Scratch:
    """A scratch of a length and snr."""
    return Scratch(((0.0, 0.0), (1.0, 0.0)), ((0.0, 0.0), (1.0, 0.0)), length_mm, 0.1, snr)


def pit(diameter_mm: float, snr: float = 20.0) -> Pit:
    """A pit of a diameter and snr."""
    return Pit((0.0, 0.0), (0.0, 0.0), diameter_mm, snr)


def counted(
    findings: Sequence[Finding],
    rule: CountRule,
    area_cm2: float | None,
    area_u_cm2: float | None,
    rate: MarkRate | None = None,
) -> Counted:
    """One piece's findings counted."""
    return count(findings, face_of(findings, area_cm2, area_u_cm2, Detection()), Counting(rule, rate))
