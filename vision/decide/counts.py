"""From surface findings to counts, lengths and densities, by the counting rules of the limits.

The value reported is the plain count (sum, largest) of the marks that pass the rules. What it may be is a distribution
(`vision.decide.spreads`): each candidate kept counts with the chance that it is a mark, as the judge of marks tells it,
times the chance that it lies inside the rules. The standard uncertainty is that distribution's standard deviation.
Marks that were not reported are reckoned only where the limits hold a rate of marks
(`vision.decide.marks.unreported`).

Uncertainties speak of the same marks once more: photographed again, on another stretch of a finish of the same kind.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi
from typing import Literal

import numpy as np

from vision.decide.marks import (
    Array,
    Faces,
    FaceSeen,
    Kind,
    Marks,
    Unreported,
    Weighed,
    WeighedMarks,
    faces_of,
    least_of,
    unreported,
    weigh,
)
from vision.decide.measures import FACE_SEEN
from vision.decide.spreads import Divisor, Largest, Shares, Spread, sums_of
from vision.decide.uncertainty import size_of
from vision.records import CountRule, Detection, Finding, JudgedPiece, MarkRate, Pit, Scratch, Value

_MM2_PER_CM2 = 100.0
_DISC_PPM_CM2 = pi / 4.0 / _MM2_PER_CM2 * 1e6


@dataclass(frozen=True, slots=True)
class _Form:
    """How a measure is formed from marks of a kind: what each adds to it, and whether it is taken over the area."""

    kind: Kind
    adds: Literal["one", "size", "disc", "largest"]
    per_area: bool = False


_FORMS = {
    "scratch_count": _Form("scratch", "one"),
    "scratch_longest_mm": _Form("scratch", "largest"),
    "scratch_density_mm_per_cm2": _Form("scratch", "size", per_area=True),
    "pit_count": _Form("pit", "one"),
    "pit_largest_mm": _Form("pit", "largest"),
    "pit_density_per_cm2": _Form("pit", "one", per_area=True),
    "pit_area_ppm": _Form("pit", "disc", per_area=True),
}
# Measures formed here, all of them missing where `scored_area_cm2` is; densities too where too little was seen.
COUNTED_MEASURES = tuple(_FORMS)


def counted_measures(kind: str) -> tuple[str, ...]:
    """Names of the measures that are formed from findings of one kind.

    Parameters
    ----------
    kind
        `scratch` or `pit`.

    Returns
    -------
    tuple[str, ...]
        Names, of those in `COUNTED_MEASURES`.
    """
    return tuple(name for name, form in _FORMS.items() if form.kind == kind)


@dataclass(frozen=True, slots=True)
class Counting:
    """By what marks are counted: the rules, and the works' rate of marks where it is known."""

    rule: CountRule
    rate: MarkRate | None = None


@dataclass(frozen=True, slots=True)
class Counted:
    """Which findings count, in their order, and the measures formed from them with standard uncertainties."""

    counted: tuple[bool, ...]
    measures: Mapping[str, Value]
    uncertainties: Mapping[str, Value]


def face_of(
    findings: Sequence[Finding], area_cm2: Value, area_u_cm2: Value, detection: Detection, seen: FaceSeen | None = None
) -> Faces:
    """One piece's face; `scored_area_cm2` and its standard uncertainty may be missing, and what could have been seen
    not known.
    """
    areas = [float("nan") if isinstance(one, Mapping) or one is None else one for one in (area_cm2, area_u_cm2)]
    return faces_of([findings], np.array([areas]), (detection,), (seen,))


def seen_of(piece: JudgedPiece) -> FaceSeen | None:
    """What could have been seen of a piece's face, for its densities.

    Parameters
    ----------
    piece
        As judged.

    Returns
    -------
    FaceSeen | None
        The share seen and the map; None where the piece was filed before that was measured.
    """
    if FACE_SEEN not in piece.measures:
        return None
    share = piece.measures[FACE_SEEN]
    return FaceSeen(None if isinstance(share, Mapping) else share, piece.seen)


def count(findings: Sequence[Finding], face: Faces, by: Counting) -> Counted:
    """Apply the counting rules to one piece: its findings in their order, and its face of the same."""
    formed = {name: counted_values(face, name, by) for name in COUNTED_MEASURES}

    def said(values: Array, name: str) -> Value:
        if np.isnan(values[0]):
            return None
        return int(values[0]) if name.endswith("_count") and values[0] == int(values[0]) else float(values[0])

    return Counted(
        tuple(_passes(finding, by.rule) for finding in findings),
        {name: said(value, name) for name, (value, _) in formed.items()},
        {name: said(u, "") for name, (_, u) in formed.items()},
    )


def _passes(finding: Finding, rule: CountRule) -> bool:
    if not isinstance(finding, Scratch | Pit):
        return False
    least_mm, least_snr = least_of(finding.kind, rule)
    likely = finding.probability is None or finding.probability >= rule.least_probability
    return likely and size_of(finding) >= least_mm and finding.snr >= least_snr


def counted_values(faces: Faces, measure: str, by: Counting) -> tuple[Array, Array]:
    """A counted measure of every piece (pieces,) and its standard uncertainty; nan without a scored area.

    Parameters
    ----------
    faces
        The marks of all pieces.
    measure
        One of `COUNTED_MEASURES`.
    by
        Which marks count, and how they are reckoned.

    Returns
    -------
    tuple[Array, Array]
        Values and standard uncertainties, (pieces,) each, in the measure's unit.
    """
    form, total = _FORMS[measure], len(faces)
    counted = _weighed(faces, form, by)
    marks, weighed, more = counted.marks, counted.weighed, counted.more
    missing = np.where(np.isnan(faces.area_cm2), np.nan, 0.0)
    if form.adds == "largest":
        value, u = _largest(marks, weighed, more, total)
        return value + missing, u + missing
    as_seen, shares = _shares(form, marks.size_mm, weighed, more)
    chance = weighed.chance
    spread = chance * (1.0 - chance) * shares.mean**2 + chance * shares.u**2
    value = np.bincount(marks.piece, weighed.counts * as_seen, total).astype(np.float64)
    variance = np.bincount(marks.piece, spread, total) + more.number @ shares.of_class**2
    u = np.sqrt(variance)
    if form.per_area:
        area = faces.area_cm2 * faces.seen
        value, u = value / area, u / area
        u = np.hypot(u, value * faces.area_u_cm2 / faces.area_cm2)
    return value + missing, u + missing


def counted_spread(faces: Faces, measure: str, by: Counting) -> Spread:
    """What a counted measure of every piece may be.

    Parameters
    ----------
    faces
        The marks of all pieces.
    measure
        One of `COUNTED_MEASURES`.
    by
        Which marks count, and how they are reckoned.

    Returns
    -------
    Spread
        The chances of its values, piece by piece.
    """
    form = _FORMS[measure]
    counted = _weighed(faces, form, by)
    if form.adds == "largest":
        return Largest(counted, faces.area_cm2)
    _, shares = _shares(form, counted.marks.size_mm, counted.weighed, counted.more)
    seen = np.where(np.isnan(faces.area_cm2), np.nan, 1.0)
    over = Divisor(seen, np.zeros(len(faces)))
    if form.per_area:
        over = Divisor(faces.area_cm2 * faces.seen, faces.area_u_cm2 * faces.seen)
    return sums_of(counted, shares, over, counts_only=form.adds == "one")


def weights_of_marks(faces: Faces, measure: str, by: Counting, most: float | None) -> dict[int, float]:
    """What each finding of one piece adds to a counted measure, as is to be expected; those that add nothing left out.

    To a largest mark each adds its chance of exceeding the limit `most`.
    """
    form = _FORMS[measure]
    counted = _weighed(faces, form, by)
    marks, weighed = counted.marks, counted.weighed
    if form.adds == "largest":
        bound = np.full(len(faces), 0.0 if most is None else most)
        adds = Largest(counted, faces.area_cm2).exceeding(bound)
    else:
        adds = weighed.chance * _shares(form, marks.size_mm, weighed, counted.more)[1].mean
    return {index: one for index, one in zip(marks.finding.tolist(), adds.tolist(), strict=True) if one > 0.0}


def _weighed(faces: Faces, form: _Form, by: Counting) -> WeighedMarks:
    """The marks of a measure, weighed; to a density only those count that lie where the face was seen."""
    marks = faces.marks(form.kind)
    weighed, more = weigh(marks, by.rule), unreported(faces, form.kind, by.rule, by.rate)
    if form.per_area:
        weighed = replace(weighed, counts=weighed.counts * marks.seen, chance=weighed.chance * marks.seen)
        more = replace(more, number=more.number * np.nan_to_num(faces.seen)[:, None])
    return WeighedMarks(marks, weighed, more)


def _shares(form: _Form, size_mm: Array, weighed: Weighed, more: Unreported) -> tuple[Array, Shares]:
    """What each mark adds as it was seen, and what it adds where it counts."""
    ones = np.ones(len(size_mm))
    match form.adds:
        case "size":
            return size_mm, Shares(weighed.mean_mm, weighed.u_mm, more.size_mm)
        case "disc":
            mean = _DISC_PPM_CM2 * (weighed.mean_mm**2 + weighed.u_mm**2)
            u = _DISC_PPM_CM2 * 2.0 * weighed.mean_mm * weighed.u_mm
            return _DISC_PPM_CM2 * size_mm**2, Shares(mean, u, _DISC_PPM_CM2 * more.size_mm**2)
        case _:
            return ones, Shares(ones, 0.0 * ones, np.ones(len(more.size_mm)))


def _largest(marks: Marks, weighed: Weighed, more: Unreported, total: int) -> tuple[Array, Array]:
    """Largest counted mark of each piece, rank by rank, and how far the largest that counts may be another one.

    The marks of a piece stand largest first; unreported ones are taken as at their chance of being there at all.
    """
    starts = np.searchsorted(marks.piece, np.arange(total + 1))
    rank = np.arange(len(marks.piece)) - starts[marks.piece]
    value, none_larger = np.zeros(total), np.ones(total)
    mean, square = np.zeros(total), np.zeros(total)
    np.maximum.at(value, marks.piece, weighed.counts * marks.size_mm)
    by_rank = np.argsort(rank, kind="stable")
    cuts = np.flatnonzero(np.diff(rank[by_rank])) + 1
    for these in np.split(by_rank, cuts):
        piece = marks.piece[these]
        weight = none_larger[piece] * weighed.chance[these]
        mean[piece] += weight * weighed.mean_mm[these]
        square[piece] += weight * (weighed.mean_mm[these] ** 2 + weighed.u_mm[these] ** 2)
        none_larger[piece] *= 1.0 - weighed.chance[these]
    for k in np.argsort(-more.size_mm):
        weight = none_larger * -np.expm1(-more.number[:, k])
        mean, square = mean + weight * more.size_mm[k], square + weight * more.size_mm[k] ** 2
        none_larger = none_larger - weight
    return value, np.sqrt(np.maximum(square - mean**2, 0.0))
