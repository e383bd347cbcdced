"""Uncertainty budgets after the GUM (JCGM 100:2008): contributions, combined and expanded uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isinf, sqrt

import numpy as np
from scipy import stats

from vision.records.given import Array, Station

COVERAGE = 0.95  # usual for expanded uncertainties (JCGM 100:2008, 6.2)


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of a budget.

    `standard` is the input's standard uncertainty, `sensitivity` the derivative of the result to it, `freedom` the
    degrees of freedom behind it (infinite where it is taken as known); `source` says where the number comes from.
    """

    name: str
    standard: float
    sensitivity: float = 1.0
    freedom: float = inf
    source: str = ""

    @property
    def share(self) -> float:
        """What it adds, in the result's unit: |c| u."""
        return abs(self.sensitivity) * self.standard


@dataclass(frozen=True, slots=True)
class Budget:
    """A combined standard uncertainty, its effective degrees of freedom, and the expanded one."""

    contributions: tuple[Contribution, ...]
    combined: float
    freedom: float
    coverage: float
    factor: float

    @property
    def expanded(self) -> float:
        """Half-width that covers the measurand with the probability `coverage`."""
        return self.factor * self.combined


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity known to lie within +-`half_width` (JCGM 100:2008, 4.3.7)."""
    return half_width / sqrt(3.0)


def combine(
    contributions: Sequence[Contribution], correlation: Array | None = None, coverage: float = COVERAGE
) -> Budget:
    """Law of propagation, Welch-Satterthwaite freedom, Student's factor (JCGM 100:2008, 5.1, 5.2, G.4).

    `correlation` (n, n) is between the inputs; None means none. The effective freedom is cut down to a whole number
    before the factor is looked up, as G.4.1 asks.
    """
    signed = np.array([c.sensitivity * c.standard for c in contributions])
    variance = float(np.sum(signed**2)) if correlation is None else float(signed @ correlation @ signed)
    combined = sqrt(max(variance, 0.0))
    spent = sum(c.share**4 / c.freedom for c in contributions if not isinf(c.freedom))
    freedom = combined**4 / spent if spent > 0.0 else inf
    tail = 0.5 + 0.5 * coverage
    factor = stats.norm.ppf(tail) if isinf(freedom) else stats.t.ppf(tail, max(1, int(freedom)))
    return Budget(tuple(contributions), combined, freedom, coverage, float(factor))


@dataclass(frozen=True, slots=True)
class PieceDoubt:
    """What a measured piece adds to the station's uncertainty, standard, mm.

    `pose_mm` of the registration at the place measured; `edge_mm` of the outline found there; `form_mm`, what the
    drawing's chords and the piece's rounded edge leave open; `repeat_mm` from `repeats` measurements of one piece laid
    anew.
    """

    pose_mm: float
    edge_mm: float
    form_mm: float
    repeat_mm: float
    repeats: int


def piece_budget(
    station: Station, piece: PieceDoubt, length_mm: float, ends: int, coverage: float = COVERAGE
) -> Budget:
    """Budget of one measure: `ends` outline points bound it (1 a deviation, 2 a length or width of `length_mm`)."""
    root = sqrt(ends)
    freedom = float(piece.repeats - 1) if piece.repeats > 1 else inf
    return combine(
        (
            Contribution("station: scale", station.scale_relative, length_mm, source="calibration"),
            Contribution("station: place in the field", station.outline_mm, root, source="calibration"),
            Contribution("pose", piece.pose_mm, root, source="covariance of the fit"),
            Contribution("edge", piece.edge_mm, root, source="noise and level of the frame"),
            Contribution("form", piece.form_mm, root, source="drawing and rim"),
            Contribution(
                "repeatability", piece.repeat_mm, 1.0, freedom, source=f"{piece.repeats} placings of one piece"
            ),
        ),
        coverage=coverage,
    )
