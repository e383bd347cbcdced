"""How a part's drawing is laid: long axis along x, the bowl's tip at x = 0, as seen from above."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.geometry import moments, resample
from vision.records import Array, Pair

# A long axis within this of the drawing's x or y was drawn along it: turned by quarters alone, no digit is lost.
# Of a symmetric outline the axis is known to the chords' own error; of another it lies beside the drawn one.
_SAME_DEG, _NEAR_AXIS_DEG = 0.005, 5.0
# An outline nearer to its own mirror image than this is symmetric: nobody need say from which side it was drawn.
SYMMETRIC_MM = 0.05
_COMPARED = 400  # points of an outline that are held against its mirror image


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """An outline and its holes as they are laid, each (n, 2) mm, and what was done to them, in this order.

    Mirrored about x or not, turned by `turn_deg` (counter-clockwise), then moved by `moved_mm`. `asymmetric_mm`: how
    far the outline lies from its mirror image about its long axis, at most.
    """

    outline: Array
    holes: tuple[Array, ...]
    turn_deg: float
    moved_mm: Pair
    mirrored: bool
    asymmetric_mm: float


def lay(outline: Array, holes: Sequence[Array], mirrored: bool = False, turn_deg: float | None = None) -> Laid:
    """Lay a drawing's outline as a part's.

    Parameters
    ----------
    outline
        Closed loop (n, 2) mm, first vertex not repeated.
    holes
        Loops inside it, each (n, 2) mm.
    mirrored
        It was drawn as seen from below: mirror it.
    turn_deg
        By how many degrees to turn it; None: so that its long axis lies along x, its wider end at the left.

    Returns
    -------
    Laid
        Outline and holes as laid.
    """
    flip = np.array([1.0, -1.0]) if mirrored else np.ones(2)
    ring, inner = outline * flip, [hole * flip for hole in holes]
    axis = float(np.degrees(moments(ring).axis_rad))
    asymmetric = _asymmetric_mm(_turned(ring, -axis))
    turn = _turn(axis, asymmetric) if turn_deg is None else turn_deg
    ring, inner = _turned(ring, turn), [_turned(hole, turn) for hole in inner]
    if turn_deg is None and _wider_end_right(ring):
        turn = (turn + 360.0) % 360.0 - 180.0
        ring, inner = -ring, [-hole for hole in inner]
    middle = moments(ring).centroid[1] if asymmetric <= SYMMETRIC_MM else 0.0
    moved = np.array([-ring[:, 0].min(), -middle])
    holes_laid = tuple(hole + moved for hole in inner)
    return Laid(ring + moved, holes_laid, turn, (float(moved[0]), float(moved[1])), mirrored, asymmetric)


def _turn(axis_deg: float, asymmetric_mm: float) -> float:
    """Degrees that bring the long axis to x.

    It is that of the area's larger second moment: exactly the axis of what is symmetric, and near the drawn one else.
    """
    quarter = 90.0 * round(axis_deg / 90.0)
    near = _SAME_DEG if asymmetric_mm <= SYMMETRIC_MM else _NEAR_AXIS_DEG
    if abs(axis_deg - quarter) <= near:
        return -90.0 if quarter == 90.0 else 0.0
    return -axis_deg if axis_deg <= 90.0 else 180.0 - axis_deg


def _turned(points: Array, degrees: float) -> Array:
    quarters = degrees / 90.0
    if quarters == round(quarters):  # exactly, without a sine's rounding
        c, s = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][round(quarters) % 4]
    else:
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turned: Array = points @ np.array([[c, s], [-s, c]])
    return turned


def _wider_end_right(ring: Array) -> bool:
    """Whether the widest place lies right of the middle."""
    x = ring[:, 0]
    places = np.linspace(x.min(), x.max(), 401)[1:-1]
    widths = widths_at(ring, places)
    return bool(places[int(widths.argmax())] > 0.5 * (x.min() + x.max()))


def widths_at(ring: Array, places_mm: Array) -> Array:
    """How wide a closed loop is at some places.

    Parameters
    ----------
    ring
        Its vertices (m, 2) mm, first vertex not repeated.
    places_mm
        Where along x, (n,).

    Returns
    -------
    Array
        From its least to its largest y there, (n,) mm; 0 beside it.
    """
    import shapely

    low, high = float(ring[:, 1].min()) - 1.0, float(ring[:, 1].max()) + 1.0
    lines = shapely.linestrings([[(x, low), (x, high)] for x in places_mm.tolist()])
    polygon = shapely.Polygon(ring)
    shapely.prepare(polygon)
    bounds = shapely.bounds(shapely.intersection(polygon, lines))
    return np.asarray(np.nan_to_num(bounds[:, 3] - bounds[:, 1]), np.float64)


def _asymmetric_mm(ring: Array) -> float:
    """How far an outline whose long axis lies along x lies from its mirror image about that axis, at most."""
    import shapely

    middle = np.array(moments(ring).centroid)
    image = (ring - middle) * np.array([1.0, -1.0]) + middle
    length = float(np.hypot(*(ring - np.roll(ring, 1, axis=0)).T).sum())
    line = shapely.LinearRing(ring)
    shapely.prepare(line)
    return float(shapely.distance(line, shapely.points(resample(image, length / _COMPARED))).max())
