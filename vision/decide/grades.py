"""A face's marks as ISO 10110-7 writes surface imperfections, and their total area.

`5/N × A; L N″ × A″`: N localized imperfections of grade A, the square root of an imperfection's area in mm; and N″
long scratches, longer than 2 mm, of width A″. More and smaller imperfections may stand for those of grade A as long as
the sum of their areas is not larger. Second-hand from public descriptions of ISO 10110-7:2008, which also list the
grades up to 0.400; the coarser ones go on in the same five steps to a decade (from memory). The standard is made for
lenses: only its way of writing is borrowed.
"""

from dataclasses import dataclass
from math import ceil, pi, sqrt

from vision.decide.measures import SCORED_AREA
from vision.records import JudgedPiece, Pit, Scratch

GRADES_MM = (0.004, 0.006, 0.010, 0.016, 0.025, 0.040, 0.060, 0.100, 0.160, 0.250, 0.400, 0.630, 1.0, 1.6, 2.5, 4.0)
LONG_MM = 2.0
# A sum of areas is not pushed to the next whole number by its rounding.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class FaceGrades:
    """The tightest statement that a face keeps: `spots` of `grade_mm` and `long_scratches` of `long_grade_mm`.

    `area_mm2`: summed area of everything counted, long scratches too; ISO 8785's total area of surface imperfections,
    the counting rules being the limits of discrimination.
    """

    spots: int
    grade_mm: float
    long_scratches: int
    long_grade_mm: float
    area_mm2: float

    @property
    def text(self) -> str:
        """As it is written on a drawing; `5/0` where nothing counts."""
        spots = f"5/{self.spots} × {self.grade_mm:.3f}" if self.spots else "5/0"
        return spots + (f"; L{self.long_scratches} × {self.long_grade_mm:.3f}" if self.long_scratches else "")


def grade_mm(size_mm: float) -> float:
    """The smallest grade that holds a size: root of an area, or a long scratch's width; the coarsest holds the rest.

    Examples
    --------
    >>> grade_mm(0.17)
    0.25
    """
    return next((grade for grade in GRADES_MM if grade >= size_mm - _ROUNDING), GRADES_MM[-1])


def face_grades(piece: JudgedPiece) -> FaceGrades | None:
    """State the scratches and pits of a piece that count; None where its face was not scored.

    Parameters
    ----------
    piece
        A piece as judged.

    Returns
    -------
    FaceGrades | None
        Grades of scratches and pits in the notation of ISO 10110-7, as marks that count.
    """
    if piece.measures.get(SCORED_AREA) is None:
        return None
    counted = [finding for finding, counts in zip(piece.findings, piece.counted, strict=True) if counts]
    scratches = [finding for finding in counted if isinstance(finding, Scratch)]
    long = [scratch for scratch in scratches if scratch.length_mm > LONG_MM]
    areas = [_area_mm2(scratch) for scratch in scratches if scratch.length_mm <= LONG_MM]
    areas += [pi / 4.0 * finding.diameter_mm**2 for finding in counted if isinstance(finding, Pit)]
    grade = grade_mm(sqrt(max(areas, default=0.0)))
    return FaceGrades(
        spots=ceil(sum(areas) / grade**2 - _ROUNDING),
        grade_mm=grade,
        long_scratches=len(long),
        long_grade_mm=grade_mm(max((scratch.width_mm for scratch in long), default=0.0)),
        area_mm2=sum(areas) + sum(_area_mm2(scratch) for scratch in long),
    )


def _area_mm2(scratch: Scratch) -> float:
    return scratch.length_mm * scratch.width_mm
