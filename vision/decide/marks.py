"""The marks on the faces of many pieces as arrays, and each weighed by the counting rules.

One piece and a whole lot are counted by the same functions; a mark counts with the chance that it is one, times the
chance that it lies inside the rules.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.decide.measures import LEAST_SEEN
from vision.decide.uncertainty import SURE, finding_uncertainty, size_of, uncertainty_at
from vision.records import CountRule, Detection, Finding, MarkRate, Pit, Scratch, SeenMap

Array = NDArray[np.float64]
Kind = Literal["scratch", "pit"]
_KINDS: dict[Kind, type[Scratch | Pit]] = {"scratch": Scratch, "pit": Pit}
_DENSITY_FLOOR = 1e-300


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Scratches or pits of many pieces, largest first within a piece; all arrays (marks,).

    `piece` is the index of the piece, rising, `finding` the mark's own among its findings; `size_u_mm` and `snr_u` are
    the standard uncertainties of each size and snr, `real` the chance that it is a mark, `told` whether its result says
    so (1 or 0; where not, it is the chance that the mark would be found again); `seen`: whether it lies in the area
    that counts as seen (1 or 0).
    """

    kind: Kind
    piece: NDArray[np.int64]
    finding: NDArray[np.int64]
    size_mm: Array
    snr: Array
    size_u_mm: Array
    snr_u: Array
    real: Array
    told: Array
    seen: Array


@dataclass(frozen=True, slots=True)
class FaceSeen:
    """What could have been seen of a face: its share of the scored area (None: nobody knows), and the map."""

    share: float | None
    map: SeenMap | None


@dataclass(frozen=True, slots=True, eq=False)
class Faces:
    """What is counted of many pieces.

    `area_cm2`, `area_u_cm2` (pieces,): the scored area, nan where there is none, and its standard uncertainty;
    `seen` (pieces,): the share of it that counts as seen, over which densities are taken, nan where too little does;
    `detection` (pieces,): the fits that each piece's marks are doubted by.
    """

    area_cm2: Array
    area_u_cm2: Array
    seen: Array
    scratches: Marks
    pits: Marks
    detection: tuple[Detection, ...]

    def __len__(self) -> int:
        return len(self.area_cm2)

    def marks(self, kind: Kind) -> Marks:
        """The scratches or the pits."""
        return self.scratches if kind == "scratch" else self.pits


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """Marks under counting rules, all arrays (marks,).

    `counts`: whether each passes the rules as it was seen (1 or 0); `chance` that it counts; `snr_chance`: that it is a
    mark with the least snr, whatever its size; `mean_mm`, `u_mm`: its size and its standard deviation where it counts
    (a normal distribution cut at the least size).
    """

    counts: Array
    chance: Array
    snr_chance: Array
    mean_mm: Array
    u_mm: Array
    least_mm: float


def faces_of(
    findings: Sequence[Sequence[Finding]],
    areas: Array,
    detection: tuple[Detection, ...],
    seen: Sequence[FaceSeen | None],
) -> Faces:
    """Gather the marks of pieces.

    Parameters
    ----------
    findings
        Of each piece.
    areas
        Scored areas (cm2) and their standard uncertainties, (pieces, 2).
    detection
        The fits that each piece's marks are doubted by.
    seen
        What could have been seen of each face; None for a piece filed before that was known: all counts as seen.

    Returns
    -------
    Faces
        Marks of all pieces as arrays.
    """
    area = np.where(areas[:, 0] > 0.0, areas[:, 0], np.nan)
    area_u = np.where(np.isnan(areas[:, 1]), 0.0, areas[:, 1])
    gathered = {kind: _gather(findings, kind, detection, seen) for kind in _KINDS}
    shares = np.array([_share(one) for one in seen], dtype=np.float64)
    return Faces(area, area_u, shares, gathered["scratch"], gathered["pit"], detection)


def _share(seen: FaceSeen | None) -> float:
    """The share that counts as seen; nan where it is unknown or below the default limit."""
    if seen is None:
        return 1.0
    return seen.share if seen.share is not None and seen.share >= LEAST_SEEN else float("nan")


def _gather(
    findings: Sequence[Sequence[Finding]],
    kind: Kind,
    detection: tuple[Detection, ...],
    seen: Sequence[FaceSeen | None],
) -> Marks:
    rows = []
    for piece, found in enumerate(findings):
        for index, mark in enumerate(found):
            if isinstance(mark, _KINDS[kind]):
                scatter = finding_uncertainty(mark, detection[piece])
                where = _is_seen(mark, seen[piece])
                size = (size_of(mark), mark.snr, scatter.size_u_mm, scatter.snr_u)
                told = mark.probability is not None
                real = mark.probability if told else scatter.found
                rows.append((piece, index, *size, real, told, where))
    table = np.array(rows, dtype=np.float64).reshape(-1, 9)
    # stable, so that equal sizes keep the order of the findings
    table = table[np.lexsort((-table[:, 2], table[:, 0]))]
    return Marks(kind, table[:, 0].astype(np.int64), table[:, 1].astype(np.int64), *table[:, 2:].T)


def _is_seen(mark: Scratch | Pit, seen: FaceSeen | None) -> bool:
    """Whether half of a mark or more lies where the face counts as seen."""
    if seen is None or seen.map is None or not seen.map.seen:
        return True
    points = mark.points_mm if isinstance(mark, Scratch) else (mark.center_mm,)
    return 2 * sum(seen.map.is_seen(point) for point in points) >= len(points)


def least_of(kind: Kind, rule: CountRule) -> tuple[float, float]:
    """Least size (mm) and least snr that the rules ask of a kind; 0 is none."""
    if kind == "scratch":
        return rule.scratch_min_length_mm, rule.scratch_min_snr
    return rule.pit_min_diameter_mm, rule.pit_min_snr


def weigh(marks: Marks, rule: CountRule) -> Weighed:
    """Weigh marks by the counting rules; a limit of 0 is none: whatever is likely enough lies inside it.

    Candidates below the least probability add nothing: a face has tens of them, and together they would send every
    clean piece to review.
    """
    least_mm, least_snr = least_of(marks.kind, rule)
    likely = (marks.told == 0.0) | (marks.real >= rule.least_probability)
    snr_chance = likely * marks.real * (ndtr((marks.snr - least_snr) / marks.snr_u) if least_snr > 0.0 else 1.0)
    counts = (marks.size_mm >= least_mm) & (marks.snr >= least_snr) & likely
    chance, mean, u = snr_chance, marks.size_mm, marks.size_u_mm
    if least_mm > 0.0:
        away = (least_mm - marks.size_mm) / marks.size_u_mm
        inside = ndtr(-away)
        # Mean and variance of a normal distribution cut from below (Johnson, Kotz, Balakrishnan 1994, section 13.10.1).
        ratio = np.exp(-0.5 * away**2) / np.sqrt(2.0 * np.pi) / np.maximum(inside, _DENSITY_FLOOR)
        seen = inside > SURE
        chance = snr_chance * inside
        mean = np.where(seen, marks.size_mm + marks.size_u_mm * ratio, least_mm)
        u = marks.size_u_mm * np.sqrt(np.where(seen, np.clip(1.0 + away * ratio - ratio**2, 0.0, 1.0), 0.0))
    return Weighed(counts.astype(np.float64), sure(chance), snr_chance, mean, u, least_mm)


def sure(chance: Array) -> Array:
    """Chances, next to nothing taken as nothing and next to certain as certain."""
    return np.where(chance < SURE, 0.0, np.where(chance > 1.0 - SURE, 1.0, chance))


@dataclass(frozen=True, slots=True, eq=False)
class Unreported:
    """Marks that count and were not reported: `number` (pieces, classes) expected, independent (a Poisson number).

    `size_mm` (classes,) is what each of a class measures.
    """

    number: Array
    size_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class WeighedMarks:
    """All that a counted measure is formed of: `marks`, how each is `weighed`, and `more` that were not reported."""

    marks: Marks
    weighed: Weighed
    more: Unreported


def unreported(faces: Faces, kind: Kind, rule: CountRule, rate: MarkRate | None) -> Unreported:
    """What a works' rate of marks lets expect beside those reported: rate x area x (1 - detection curve).

    Only classes that the counting rules let count; none without a rate.
    """
    least_mm, least_snr = least_of(kind, rule)
    classes = [
        one
        for one in (rate.classes if rate else ())
        if one.kind == kind and one.size_mm >= least_mm and one.snr >= least_snr
    ]
    missed = {
        by: [(1.0 - uncertainty_at(kind, one.size_mm, one.snr, by).found) * one.per_cm2 for one in classes]
        for by in set(faces.detection)
    }
    per_cm2 = np.array([missed[by] for by in faces.detection]).reshape(len(faces), len(classes))
    return Unreported(per_cm2 * np.nan_to_num(faces.area_cm2)[:, None], np.array([one.size_mm for one in classes]))
