"""What a reason rests on: the findings that make a measure what it is, and the place where it was taken.

A finding is a reason's where the limit, held against the finding's own value, is not passed; of a measure that adds up
what there is, each finding that adds to it; of an extent, what stands at one of its ends.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vision.decide.guard import PASS, bounds_of, outcomes_of
from vision.decide.measures import FACE_SEEN, MEASURES
from vision.decide.spreads import Normal
from vision.records import (
    BendFinding,
    EdgeFinding,
    Finding,
    JudgedPiece,
    Limit,
    Mark,
    Opening,
    Pair,
    SeenMap,
    Stain,
    Stray,
)

SAME_PLACE_MM = 1.0
"""Marks of one kind so near each other are one: points of a scratch stand up to so far apart in a result."""


@dataclass(frozen=True, slots=True)
class Held:
    """A limit held against one value: its zone ("": none), its standard uncertainty (None: unknown)."""

    limit: Limit
    zone: str
    uncertainty: float | None
    coverage: float


def findings_behind(piece: JudgedPiece, held: Held) -> tuple[int, ...]:
    """The findings that a measure of the outline or a face's patches rests on, the one that weighs most first."""
    places, by = place_of(piece, held), MEASURES[held.limit.measure].by
    weights: dict[int, float] = {}
    for index, finding in enumerate(piece.findings):
        own = _own_value(finding, held.limit.measure)
        zone = getattr(finding, "zone", "")
        inside = not held.zone or zone == held.zone or _is_at(finding, places)
        if own is not None and inside and _speaks(own, held):
            weights[index] = abs(own)
        elif by == "ends" and isinstance(finding, EdgeFinding) and _is_at(finding, places):
            weights[index] = abs(finding.deviation_mm)
    return by_weight(weights)


def by_weight(weights: Mapping[int, float]) -> tuple[int, ...]:
    """Indices of findings, the one that weighs most first."""
    return tuple(sorted(weights, key=lambda index: -weights[index]))


def place_of(piece: JudgedPiece, held: Held) -> tuple[Pair, ...]:
    """Where a measure was taken, drawing mm; where it is missing, what was not seen of its zone."""
    if held.limit.measure == FACE_SEEN:
        return _not_seen(piece.seen)
    own = piece.places.get(held.limit.measure, {}).get(held.zone, ())
    return own or piece.places.get("outline_unseen_mm", {}).get(held.zone, ())


def _speaks(own: float, held: Held) -> bool:
    """Whether a finding of this value makes the measure worse: it adds to it, or it does not keep the limit itself."""
    if MEASURES[held.limit.measure].by == "sum":
        return own > 0.0
    if held.uncertainty is None:
        return False
    alone = Normal(np.array([own]), np.array([held.uncertainty]))
    return bool(outcomes_of(alone, *bounds_of(held.limit.min, held.limit.max, 1), held.coverage)[0] != PASS)


def _own_value(finding: Finding, measure: str) -> float | None:
    """What a finding alone would make of a measure; None where it says nothing of it."""
    match finding:
        case EdgeFinding():
            far = finding.deviation_mm
            own = {"outline_out_mm": far, "outline_in_mm": -far, "outline_rms_mm": abs(far)}
        case BendFinding():
            own = {"bend_deg": finding.bend_deg}
        case Stray() if finding.joins:
            own = {"outline_out_mm": finding.reach_mm}
        case Stray():
            own = dict.fromkeys(("outline_unseen_mm", "outline_seen"), finding.extent_mm)
        case Opening():
            own = {"opening_area_mm2": finding.area_mm2}
        case Mark() | Stain():
            own = {f"{finding.kind}_area_mm2": finding.area_mm2}
        case _:
            own = {}
    return own.get(measure)


def _is_at(finding: Finding, places: tuple[Pair, ...]) -> bool:
    """Whether a finding of the rim covers one of these places."""
    if not isinstance(finding, EdgeFinding | Stray):
        return False
    reach = SAME_PLACE_MM + 0.5 * finding.extent_mm
    return any(math.dist(finding.center_mm, place) <= reach for place in places)


def _not_seen(seen: SeenMap | None) -> tuple[Pair, ...]:
    """Two corners of what about the cells that do not count as seen reaches; none where that is not known."""
    cells = np.array([] if seen is None else seen.blind_cells())
    if seen is None or not len(cells):
        return ()
    (top, left), (bottom, right) = cells.min(axis=0), cells.max(axis=0) + 1
    x, y = seen.corner_mm
    return (
        (x + float(left) * seen.cell_mm, y - float(top) * seen.cell_mm),
        (x + float(right) * seen.cell_mm, y - float(bottom) * seen.cell_mm),
    )
