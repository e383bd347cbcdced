"""What a measure can be at all, and what it is on a piece just as drawn: what limits are held against."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.decide.measures import MEASURES, SCORED_AREA
from vision.records import Part

_LACKING = {"bend": "a zone with bend = true", "hole": "a punched hole"}
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
    one = MEASURES[measure]
    if measure == "length_mm":
        return Possible(one.least, one.most, float(np.ptp(part.outline[:, 0])))
    if measure == "width_mm":
        return Possible(one.least, one.most, _width_mm(part, zone))
    if measure == SCORED_AREA:
        return Possible(one.least, _drawn_area_cm2(part), one.as_drawn)
    return Possible(one.least, one.most, one.as_drawn)


def _lacks(measure: str, part: Part) -> str | None:
    one = MEASURES[measure]
    has = {"bend": any(zone.bend for zone in part.zones), "hole": bool(part.holes)}
    if one.needs is not None and not has[one.needs]:
        return _LACKING[one.needs]
    if one.on == "face" and part.surface is None:
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
