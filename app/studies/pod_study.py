"""What a station can see: curves of detection against contrast and size, from marks planted and found or not."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from app.statistics import Detectability, Estimate, detectability, wilson
from vision.errors import Unusable

BINS = 6
PLAIN = 0.3
"""Contrast from which a mark is plain to the eye: curves against size are of such marks only."""


class Mark(Protocol):
    """What is read of a planted mark."""

    @property
    def kind(self) -> str:
        """scratch or pit."""

    @property
    def size_mm(self) -> float:
        """Length or diameter."""

    @property
    def contrast(self) -> float:
        """Under a low light straight across it."""

    @property
    def found(self) -> bool:
        """Whether the scoring found it."""


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """A group of `marks` at a `place` of the abscissa, and the share of them that was found."""

    place: float
    share: Estimate
    marks: int


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Detection of one kind against one of its properties.

    `abscissa` (n,), `found` (n,): the marks; `fitted` None where no curve could be fitted, `why` then says why.
    """

    kind: str
    against: str
    abscissa: NDArray[np.float64]
    found: NDArray[np.bool_]
    fitted: Detectability | None
    why: str

    def observed(self) -> list[Observed]:
        """Shares found in groups of as many marks, at the middle of each."""
        order = np.argsort(self.abscissa, kind="stable")
        groups = [one for one in np.array_split(order, min(BINS, len(order))) if len(one)]
        return [
            Observed(
                float(np.exp(np.log(self.abscissa[one]).mean())), wilson(int(self.found[one].sum()), len(one)), len(one)
            )
            for one in groups
        ]


@dataclass(frozen=True, slots=True, eq=False)
class PodStudy:
    """All curves, and `false_a_piece`: false findings on each of the `pieces` as they came; `planted`: marks in all."""

    curves: tuple[Curve, ...]
    false_a_piece: float
    pieces: int
    planted: int


def study_pod(marks: Sequence[Mark], false_counts: Sequence[int], pieces: Sequence[int]) -> PodStudy:
    """Fit a curve for scratches and pits: all against contrast, plain ones against size, as far as there are any.

    Parameters
    ----------
    marks
        Planted ones, each found or not.
    false_counts
        How many marks were found on each piece that has none.
    pieces
        (marks,) the piece that bears each, so that bounds allow for pieces that show their marks better or worse.

    Returns
    -------
    PodStudy
        A curve for each kind and axis, and false marks a piece.
    """
    curves = []
    for kind in ("scratch", "pit"):
        own = [pair for pair in zip(marks, pieces, strict=True) if pair[0].kind == kind]
        plain = [pair for pair in own if pair[0].contrast >= PLAIN]
        curves += [_curve(kind, against, of) for against, of in (("contrast", own), ("size_mm", plain)) if of]
    return PodStudy(tuple(curves), float(np.mean(false_counts)), len(false_counts), len(marks))


def _curve(kind: str, against: str, own: Sequence[tuple[Mark, int]]) -> Curve:
    marks = [mark for mark, _ in own]
    bears = np.array([piece for _, piece in own], dtype=np.int64)
    abscissa = np.array([getattr(mark, against) for mark in marks], dtype=np.float64)
    found = np.array([mark.found for mark in marks], dtype=np.bool_)
    try:
        fitted, why = detectability(abscissa, found.astype(np.float64), np.ones(len(found)), piece=bears), ""
    except Unusable as fault:
        fitted, why = None, str(fault)
    return Curve(kind, against, abscissa, found, fitted, why)
