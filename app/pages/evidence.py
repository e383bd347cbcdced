"""What each reason is shown by: the place on the piece, the light or view that shows it best, and words for that place.

A groove shines under light that comes across it; the outline is seen against the backlight; what lies on the polish
without a direction of its own, a film or a drop, is seen under light from all sides.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from app.pages.piece_words import short_words, where_on
from app.pages.upright_frames import UprightFrame
from app.store import PicturePath
from vision.decide import MEASURES
from vision.geometry import centroid
from vision.records import (
    Array,
    BendFinding,
    EdgeFinding,
    Finding,
    JudgedPiece,
    Limits,
    Mark,
    Opening,
    Pair,
    Part,
    Pit,
    Reason,
    Scratch,
    Speck,
    Stain,
    Stray,
)

LEAST_BOX_MM = 1.5  # a place without a size of its own is shown as one so wide
QUESTION = "A question: is this a mark?"


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A piece with what it is shown by: its drawing, its limits, its upright picture and the frames of its shot."""

    judged: JudgedPiece
    limits: Limits | None
    part: Part | None
    upright: UprightFrame | None
    frames: Sequence[PicturePath]


def evidence(reason: Reason, scene: Scene) -> dict[str, Any]:
    """Where a reason is shown, by what, and in what words; without a box where nothing of it has a place.

    Of several findings the one that weighs most is shown; the others are named in the list beside it.
    """
    first = scene.judged.findings[reason.findings[0]] if reason.findings else None
    return {
        "short": short_words(reason, scene.limits, where_on(first, reason, scene.part)),
        "box": _box(first, reason, scene),
        "light": _best_light(first, reason, scene.frames),
        "deviations": _is_deviation(first, reason),
        "drawing": _says_seen(reason) and MEASURES[reason.measure].on == "outline",
        "blind": _says_seen(reason) and MEASURES[reason.measure].on == "face",
    }


def question(mark: Finding, scene: Scene) -> dict[str, Any]:
    """What a finding is shown by of which a person is asked whether it is a mark: as a reason is, without values."""
    upright = scene.upright
    points = _points_px(mark)
    return {
        "outcome": "",
        "words": QUESTION,
        "short": QUESTION,
        "findings": [],
        "deviations": False,
        "drawing": False,
        "blind": False,
        "points": [] if upright is None else np.round(upright.to_upright_px(np.asarray(points)), 1).tolist(),
        "box": None if upright is None else _box_of(mark, points, upright),
        "light": _face_light(mark, scene.frames),
    }


def _says_seen(reason: Reason) -> bool:
    return reason.measure in MEASURES and MEASURES[reason.measure].says_seen


def _is_deviation(first: Finding | None, reason: Reason) -> bool:
    """Whether the view of deviations shows it: what departs from the drawing, rather than what lies beside it."""
    if first is not None:
        return isinstance(first, EdgeFinding | BendFinding)
    known = MEASURES.get(reason.measure)
    return known is not None and known.on == "outline" and not known.says_seen


def _box(first: Finding | None, reason: Reason, scene: Scene) -> list[float] | None:
    """Left, top, right, bottom in px of the upright picture, at least `LEAST_BOX_MM` wide and high."""
    upright = scene.upright
    if upright is None:
        return None
    if first is not None and not isinstance(first, BendFinding):
        return _box_of(first, _points_px(first), upright)
    if not reason.place_mm or scene.part is None:
        return None
    points, half_px = upright.window.to_px(_shown_mm(reason, scene.part)), 0.0
    if _says_seen(reason):  # where nothing could be seen nothing is to be seen: what bounds it is
        half_px = 0.5 * float(np.ptp(points, axis=0).max())
    return _around(points, half_px, upright)


def _box_of(finding: Finding, points_px: Sequence[Pair], upright: UprightFrame) -> list[float]:
    half_px = 0.5 * _across_mm(finding) * _per_mm(upright)
    return _around(upright.to_upright_px(np.asarray(points_px)), half_px, upright)


def _per_mm(upright: UprightFrame) -> float:
    return upright.window.px_per_mm if upright.known_scale else 1.0


def _around(points: Array, half_px: float, upright: UprightFrame) -> list[float]:
    """The box of points (n, 2) and of what reaches so far about them, no smaller than what can be seen."""
    low, high = points.min(axis=0) - half_px, points.max(axis=0) + half_px
    short = np.maximum(LEAST_BOX_MM * _per_mm(upright) - (high - low), 0.0) / 2
    sides: Array = np.concatenate([low - short, high + short])
    return [round(float(side), 1) for side in sides]


def _shown_mm(reason: Reason, part: Part) -> Array:
    """Where a measure was taken, drawing mm, (n, 2): a hole's is its middle, but what shows it is its rim."""
    places = np.asarray(reason.place_mm)
    known = MEASURES.get(reason.measure)
    if known is None or known.needs != "hole" or not part.holes:
        return places
    return min(part.holes, key=lambda rim: math.dist(centroid(rim), places[0]))


def _points_px(finding: Finding) -> tuple[Pair, ...]:
    match finding:
        case Scratch():
            return finding.points_px
        case Mark() | Stain():
            return finding.outline_px or (finding.center_px,)
        case BendFinding():
            return ()
        case _:
            return (finding.center_px,)


def _across_mm(finding: Finding) -> float:
    """How far a finding reaches about its points."""
    match finding:
        case EdgeFinding():
            return max(finding.extent_mm, abs(finding.deviation_mm))
        case Stray():
            return max(finding.extent_mm, finding.reach_mm)
        case Opening():
            return finding.length_mm
        case Pit() | Speck():
            return finding.diameter_mm
        case _:
            return 0.0


def _best_light(first: Finding | None, reason: Reason, frames: Sequence[PicturePath]) -> int:
    """Index of the frame that shows a reason best; 0 where there is no choice."""
    known = MEASURES.get(reason.measure)
    return 0 if known is None or known.on == "outline" else _face_light(first, frames)


def _face_light(first: Finding | None, frames: Sequence[PicturePath]) -> int:
    """Index of the frame that shows something on the face best."""
    low = [k for k, one in enumerate(frames) if one.light == "low"]
    dome = [k for k, one in enumerate(frames) if one.light == "dome"]
    if isinstance(first, Scratch) and low:
        (u0, v0), (u1, v1) = first.points_px[0], first.points_px[-1]
        along = math.atan2(v0 - v1, u1 - u0)  # counter-clockwise from the frame's right, as azimuths are
        across = [abs(math.sin(math.radians(frames[k].azimuth_deg or 0.0) - along)) for k in low]
        return low[int(np.argmax(across))]
    every = [*low, *dome] if isinstance(first, Pit | Mark) else [*dome, *low]
    return every[0] if every else 0
