"""Which of a drawing's contours may be the piece: views, the frames around them, the loops inside them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vision.drafting.contours import Contours, Gap, join_contours
from vision.geometry import length_and_width
from vision.records import Array, Pair

if TYPE_CHECKING:
    from shapely import Polygon

# A ring that fills its least upright rectangle to this share is a frame or a field of one; a piece has rounded ends.
_FRAME_SHARE = 0.9999
# What is smaller than this share of the largest view's length is a mark: an arrowhead, a letter, a balloon.
_MARK_SHARE = 0.15
# A contour that can't be used might have been the piece where it is so large against the one view that can be; one as
# flat as this is a line.
_AS_LARGE, _FLAT = 0.5, 0.02
# What is less than so many times as long as wide is no spoon, fork or blank of one.
_LEAST_SLENDER = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A contour that may be the piece: `ring` (n, 2) mm, the loops inside it, and its size in the drawing.

    `inner` are numbered from 1 as pictures and messages have it, largest first.
    """

    number: int
    ring: Array
    inner: tuple[Array, ...]
    length_mm: float
    width_mm: float
    center_mm: Pair
    gaps: tuple[Gap, ...]

    @property
    def words(self) -> str:
        """How it is told to a person who must choose."""
        x, y = (round(one, 3) + 0.0 for one in self.center_mm)  # no -0
        return f"view {self.number}: {self.length_mm:.4g} x {self.width_mm:.4g} mm round ({x:.4g}, {y:.4g})"


@dataclass(frozen=True, slots=True, eq=False)
class Views:
    """What a drawing shows: contours that may be the piece, largest first; frames (k, 2), marks.

    `notes`: what was left out and why.

    `doubt`: why none may be taken without a person's word, empty where there is one view alone and no doubt of it.
    """

    views: tuple[View, ...]
    frames: tuple[Array, ...]
    contours: Contours
    notes: tuple[str, ...]
    doubt: str


def find_views(curves: Sequence[Array], gap_mm: float) -> Views:
    """Find what may be the piece among a drawing's curves.

    Parameters
    ----------
    curves
        Curves, each (n, 2) mm, ends included.
    gap_mm
        Ends of curves that nothing meets are joined where they are so far apart at most.

    Returns
    -------
    Views
        The views, numbered from 1, the largest first.
    """
    from shapely import Polygon

    contours = join_contours(curves, gap_mm)
    every = [one for one in map(Polygon, contours.rings) if one.area > 0.0]
    polygons = [one for one in every if one.is_valid]
    crossing = tuple(np.array(one.exterior.coords) for one in every if not one.is_valid)
    notes = [f"drawn twice, or of no length, and left out: curves, {contours.twice} in all"] if contours.twice else []
    if crossing:
        notes.append(f"left out, since they cross themselves: closed contours, {len(crossing)} in all")
    frames, pieces = _without_frames(polygons)
    if frames:
        notes.append(f"taken for frames and tables: rectangles, {len(frames)} in all")
    outer = [one for one in pieces if not any(_inside(one, other) for other in pieces)]
    outer.sort(key=lambda one: -float(one.area))
    longest = max((_size(one)[0] for one in outer), default=0.0)
    kept = [one for one in outer if _size(one)[0] >= _MARK_SHARE * longest]
    if len(kept) < len(outer):
        notes.append(f"taken for marks, far smaller than the largest: closed contours, {len(outer) - len(kept)} in all")
    views = tuple(_view(number, one, pieces, contours.gaps) for number, one in enumerate(kept, 1))
    return Views(
        views,
        tuple(np.array(one.exterior.coords) for one in frames),
        contours,
        tuple(notes),
        _doubt(views, contours, crossing),
    )


def _without_frames(polygons: list["Polygon"]) -> tuple[list["Polygon"], list["Polygon"]]:
    """Rectangles, and the rest; where nothing slender is left of the rest, a rectangle may be the piece itself."""
    frames = [one for one in polygons if one.area >= _FRAME_SHARE * one.envelope.area]
    rest = [one for one in polygons if one.area < _FRAME_SHARE * one.envelope.area]
    lengths = [_size(one) for one in rest]
    if any(length >= _LEAST_SLENDER * width for length, width in lengths):
        return frames, rest
    return [], polygons


def _inside(one: "Polygon", other: "Polygon") -> bool:
    return one is not other and bool(other.area > one.area and other.contains(one))


def _size(polygon: "Polygon") -> tuple[float, float]:
    return length_and_width(np.array(polygon.exterior.coords[:-1]))


def _view(number: int, polygon: "Polygon", pieces: list["Polygon"], gaps: Sequence[Gap]) -> View:
    from shapely import Point

    within = [one for one in pieces if _inside(one, polygon)]
    within.sort(key=lambda one: -float(one.area))
    length, width = _size(polygon)
    middle = polygon.envelope.centroid
    own = tuple(gap for gap in gaps if polygon.exterior.distance(Point(gap.at_mm)) <= gap.mm)
    inner = tuple(np.array(one.exterior.coords[:-1]) for one in within)
    ring = np.array(polygon.exterior.coords[:-1])
    return View(number, ring, inner, length, width, (middle.x, middle.y), own)


def _doubt(views: Sequence[View], contours: Contours, crossing: Sequence[Array]) -> str:
    if len(views) > 1:
        return "; ".join(view.words for view in views)
    wrong = [(one.points, f"does not close: its ends are {one.gap_mm:.3g} mm apart") for one in contours.opens]
    for points, why in [*wrong, *((one, "crosses itself") for one in crossing)]:
        extent = np.ptp(points, axis=0)
        if views and extent.max() >= _AS_LARGE * views[0].length_mm and extent.min() > _FLAT * extent.max():
            x, y = points.mean(axis=0)
            return f"a contour of {extent.max():.4g} x {extent.min():.4g} mm round ({x:.4g}, {y:.4g}) that {why}"
    if views and views[0].length_mm < _LEAST_SLENDER * views[0].width_mm:
        return f"{views[0].words}, which is no spoon's, fork's or blank's shape"
    return ""
