"""Densities are those of the marks in the area that was seen, over that area."""

import pytest

from vision.decide.counts import Counting, count, face_of
from vision.decide.marks import FaceSeen
from vision.records.inputs import CountRule
from vision.records.marks import Detection
from vision.records.measured import Pit, SeenMap

# 4 x 2 cells of 2 mm: the left half was seen.
MAP = SeenMap(2.0, (0.0, 4.0), (0.0,), (("9900", "9900"),), ("9999", "9999"), ("9900", "9950"))


def densities(seen: FaceSeen | None) -> tuple[object, object]:
    findings = tuple(Pit((0.0, 0.0), (x, 1.0), 0.3, 80.0) for x in (1.0, 5.0, 7.0))
    face = face_of(findings, 8.0, 0.0, Detection(), seen)
    counted = count(findings, face, Counting(CountRule()))
    assert counted.measures["pit_count"] == 3
    return counted.measures["pit_density_per_cm2"], counted.uncertainties["pit_density_per_cm2"]


def test_marks_where_nothing_could_be_seen_have_no_part_in_a_density() -> None:
    value, u = densities(FaceSeen(0.85, MAP))
    assert value == pytest.approx(2 / (8.0 * 0.85))
    assert isinstance(u, float)


def test_below_the_default_limit_or_unknown_there_is_no_density() -> None:
    assert densities(FaceSeen(0.79, MAP)) == (None, None)
    assert densities(FaceSeen(None, None)) == (None, None)


def test_a_face_filed_before_that_was_measured_counts_as_seen() -> None:
    assert densities(None)[0] == pytest.approx(3 / 8.0)
    old = SeenMap(MAP.cell_mm, MAP.corner_mm, MAP.directions_deg, MAP.scratch, MAP.pit)
    assert densities(FaceSeen(1.0, old))[0] == pytest.approx(3 / 8.0)
