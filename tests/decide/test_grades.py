"""Marks in the notation of ISO 10110-7: published examples, and areas that add up."""

import math

import pytest

from vision.decide.grades import GRADES_MM, face_grades, grade_mm
from vision.decide.verdicts import judge
from vision.records.inputs import CountRule, Limits
from vision.records.judged import JudgedPiece
from vision.records.measured import Finding, MeasuredPiece, Pit, Scratch, Speck


def scratch(length_mm: float, width_mm: float, snr: float = 20.0) -> Scratch:
    return Scratch(((0.0, 0.0), (1.0, 0.0)), ((0.0, 0.0), (1.0, 0.0)), length_mm, width_mm, snr)


def pit(side_mm: float, snr: float = 20.0) -> Pit:
    """A pit whose disc has the area of a square of this side, which is its grade."""
    return Pit((0.0, 0.0), (0.0, 0.0), side_mm * math.sqrt(4.0 / math.pi), snr)


def judged(*findings: Finding, area_cm2: float | None = 8.0, rule: CountRule | None = None) -> JudgedPiece:
    area, area_u = {"scored_area_cm2": area_cm2}, {"scored_area_cm2": 0.01}
    piece = MeasuredPiece(1, None, None, area, area_u, findings)
    return judge(piece, Limits("TS-135", 1, "draft", 0.95, (), rule or CountRule()))


def text(*findings: Finding) -> str:
    grades = face_grades(judged(*findings))
    assert grades is not None
    return grades.text


def test_grades_are_those_published() -> None:
    """ISO 10110-7:2008 as described by a maker of optics (Honor Optics, "scratch numbers standard", 2010)."""
    published = (0.004, 0.006, 0.010, 0.016, 0.025, 0.040, 0.060, 0.100, 0.160, 0.250, 0.400)
    assert GRADES_MM[: len(published)] == published


@pytest.mark.parametrize(("size_mm", "grade"), [(0.004, 0.004), (0.0041, 0.006), (0.05, 0.06), (0.4, 0.4), (9.0, 4.0)])
def test_a_size_falls_to_the_grade_that_holds_it(size_mm: float, grade: float) -> None:
    assert grade_mm(size_mm) == grade


def test_one_dig_and_five_long_scratches() -> None:
    """The example of the same page, 5/1 × 0.05; L5 × 0.004, in listed grades: a dig of 0.05 falls to 0.06."""
    assert text(pit(0.05), *[scratch(5.0, 0.004)] * 5) == "5/1 × 0.060; L5 × 0.004"


@pytest.mark.parametrize(("grade", "number"), [(0.16, 7), (0.1, 18)])
def test_smaller_ones_may_stand_for_larger_ones_of_the_same_area(grade: float, number: int) -> None:
    """Factors 2.5 and 6.3 for one and two grades less (ISO 10110-7, from memory): 3 of 0.25 allow 7 and 18 of these."""
    allowed, too_many = (face_grades(judged(*[pit(grade)] * count)) for count in (number, number + 1))
    assert allowed is not None
    assert too_many is not None
    assert allowed.area_mm2 <= 3 * 0.25**2 < too_many.area_mm2


def test_smaller_ones_beside_the_largest_count_by_their_area() -> None:
    """Two of grade 0.25 have the area of 4.9 of grade 0.16."""
    assert text(pit(0.25), *[pit(0.16)] * 4) == "5/3 × 0.250"
    assert text(pit(0.25), *[pit(0.16)] * 5) == "5/4 × 0.250"


def test_a_scratch_up_to_two_millimetres_is_localized() -> None:
    assert text(scratch(2.0, 0.08)) == "5/1 × 0.400"
    assert text(scratch(2.01, 0.08)) == "5/0; L1 × 0.100"


def test_the_widest_long_scratch_gives_the_grade() -> None:
    assert text(scratch(3.0, 0.02), scratch(4.0, 0.11)) == "5/0; L2 × 0.160"


def test_total_area_is_of_what_counts_alone() -> None:
    """ISO 8785: imperfections below the agreed limits of discrimination are left out of the sum."""
    found = [pit(0.2), pit(0.1), scratch(3.0, 0.1), scratch(0.4, 0.1), Speck((0.0, 0.0), (0.0, 0.0), 0.5, 30.0)]
    rule = CountRule(scratch_min_length_mm=0.5, pit_min_diameter_mm=0.15)
    grades = face_grades(judged(*found, rule=rule))
    assert grades is not None
    assert grades.area_mm2 == pytest.approx(0.2**2 + 3.0 * 0.1)


def test_a_clean_face_and_one_not_scored() -> None:
    assert text() == "5/0"
    assert face_grades(judged(pit(0.2), area_cm2=None)) is None
