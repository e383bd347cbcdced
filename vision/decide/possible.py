"""What a measure can be at all, and what it is on a piece just as drawn: what limits are held against."""

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from vision.records import Part

# Every other measure is a size, a count or a share, which can't be below nought.
_SIGNED = ("bend_deg", "hole_diameter_error_mm")
_WHERE_DRAWN_NONE = {
    "bend_deg": "a zone with bend = true",
    "hole_offset_mm": "a punched hole",
    "hole_diameter_error_mm": "a punched hole",
}
_OF_THE_FACE = ("scratch_", "pit_", "mark_", "stain_", "face_", "scored_", "buffing_")
_NOUGHT_AS_DRAWN = ("outline_", "hole_", "bend_", "scratch_", "pit_", "mark_", "stain_", "opening_")
_CM2 = 0.01  # of one mm2


@dataclass(frozen=True, slots=True)
class Possible:
    """Least and most value that any piece can have, and the value of a piece just as drawn (None: not known)."""

    least: float
    most: float
    as_drawn: float | None


def possible(measure: str, zone: str | None, part: Part) -> Possible | str:
    """What a measure can be on a part; where the part never has it, what its description lacks, in words.

    Parameters
    ----------
    zone
        The zone of a measure that is taken per zone; None for others.
    """
    lacks = _lacks(measure, part)
    if lacks is not None:
        return lacks
    least = -inf if measure in _SIGNED else 0.0
    if measure == "length_mm":
        return Possible(least, inf, float(np.ptp(part.outline[:, 0])))
    if measure == "width_mm":
        return Possible(least, inf, _width_mm(part, zone))
    if measure == "scored_area_cm2":
        return Possible(least, _drawn_area_cm2(part), None)
    if measure.endswith("_seen"):
        return Possible(least, 1.0, 1.0)
    return Possible(least, inf, 0.0 if measure.startswith(_NOUGHT_AS_DRAWN) else None)


def _lacks(measure: str, part: Part) -> str | None:
    if measure.startswith("hole_") and not part.holes:
        return _WHERE_DRAWN_NONE[measure]
    if measure == "bend_deg" and not any(zone.bend for zone in part.zones):
        return _WHERE_DRAWN_NONE[measure]
    if measure.startswith(_OF_THE_FACE) and part.surface is None:
        return "a scored area, [surface]"
    return None


def _width_mm(part: Part, name: str | None) -> float:
    """Extent along y of the outline within a zone, where it is cut included."""
    low, high = next(zone.x_mm for zone in part.zones if zone.name == name)
    closed = np.vstack([part.outline, part.outline[:1]])
    inside = closed[(closed[:, 0] >= low) & (closed[:, 0] <= high), 1]
    heights = np.concatenate([inside, *(_crossings_y(closed, x) for x in (low, high))])
    return float(np.ptp(heights))


def _crossings_y(closed: NDArray[np.float64], x: float) -> NDArray[np.float64]:
    """Heights at which a closed line crosses the upright at `x`."""
    before, after = closed[:-1], closed[1:]
    crosses = (before[:, 0] - x) * (after[:, 0] - x) < 0.0
    share = (x - before[crosses, 0]) / (after[crosses, 0] - before[crosses, 0])
    heights: NDArray[np.float64] = before[crosses, 1] + share * (after[crosses, 1] - before[crosses, 1])
    return heights


def _drawn_area_cm2(part: Part) -> float:
    """Area of the outline within the scored span, of which the scored area is a part."""
    from shapely import Polygon, box  # here: judging needs no polygons

    assert part.surface is not None
    low, high = part.surface.x_mm
    bottom, top = part.outline[:, 1].min(), part.outline[:, 1].max()
    return float(Polygon(part.outline).intersection(box(low, bottom, high, top)).area) * _CM2
