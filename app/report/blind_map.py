"""Where a face was not seen, and for marks of which direction: regions in words, and drawn over the drawing."""

from dataclasses import dataclass

import numpy as np
import shapely

from app.report.style import ACCENT
from app.report.svg import element, path
from app.report.upright import Window
from vision.records import Array, SeenMap

# A mark is told as not seen of a cell where the chance that it would have been found is below this (tenths).
_FOUND_TENTHS = 9
_HALF = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class BlindRegion:
    """A part of the face that does not count as seen: the ring about it (n, 2), drawing mm, and why, in words."""

    ring_mm: Array
    words: str


def blind_regions(seen: SeenMap | None) -> tuple[BlindRegion, ...]:
    """Regions of neighbouring cells that do not count as seen, largest first; none where that is not known.

    Parameters
    ----------
    seen
        The map of a piece, as stored.

    Returns
    -------
    tuple[BlindRegion, ...]
        With the directions and kinds of marks that would have been missed in half of a region's cells or more.
    """
    if seen is None or not seen.seen:
        return ()
    cells = seen.blind_cells()
    squares = {cell: _square(seen, cell) for cell in cells}
    parts = shapely.get_parts(shapely.union_all(list(squares.values())))
    regions = []
    for part in sorted((one for one in parts if one.area > 0.0), key=lambda one: -one.area):
        inside = [cell for cell, square in squares.items() if part.contains(square.centroid)]
        along = [
            f"{direction:.0f}°"
            for k, direction in enumerate(seen.directions_deg)
            if np.mean([_below(seen.scratch[k], cell) for cell in inside]) >= _HALF
        ]
        missed = [f"scratches along {', '.join(along)}"] if along else []
        if len(along) == len(seen.directions_deg):
            missed = ["scratches"]
        if np.mean([_below(seen.pit, cell) for cell in inside]) >= _HALF:
            missed.append("pits")
        ring = shapely.get_coordinates(part.exterior)
        what = " and ".join(missed) or "marks of the reference's size"
        regions.append(BlindRegion(np.asarray(ring), f"Not seen, {part.area:.0f} mm²: {what} would have been missed"))
    return tuple(regions)


def draw_blind(seen: SeenMap | None, window: Window) -> list[str]:
    """Cells that do not count as seen, tinted, with a stroke along each direction in which a scratch would be missed.

    Parameters
    ----------
    seen
        The map of a piece, as stored.
    window
        What of the drawing is shown.

    Returns
    -------
    list[str]
        SVG elements; none where all was seen, or that is not known.
    """
    if seen is None or not seen.seen:
        return []
    parts = []
    for cell in seen.blind_cells():
        square = _square(seen, cell)
        corners = window.to_px(shapely.get_coordinates(square)[:-1])
        parts.append(element("path", d=path(corners, closed=True), fill=ACCENT, fill_opacity=0.18))
        middle = np.array(square.centroid.coords[0])
        for k, direction in enumerate(seen.directions_deg):
            if _below(seen.scratch[k], cell):
                turn = np.radians(direction)
                along = 0.35 * seen.cell_mm * np.array([np.cos(turn), np.sin(turn)])
                ends = window.to_px(np.stack((middle - along, middle + along)))
                parts.append(element("path", d=path(ends), stroke=ACCENT, stroke_width=1))
    return parts


def _below(digits: tuple[str, ...], cell: tuple[int, int]) -> bool:
    digit = digits[cell[0]][cell[1]]
    return digit != "." and int(digit) < _FOUND_TENTHS


def _middle(seen: SeenMap, cell: tuple[int, int]) -> tuple[float, float]:
    row, column = cell
    return seen.corner_mm[0] + (column + 0.5) * seen.cell_mm, seen.corner_mm[1] - (row + 0.5) * seen.cell_mm


def _square(seen: SeenMap, cell: tuple[int, int]) -> shapely.Polygon:
    x, y = _middle(seen, cell)
    half = 0.5 * seen.cell_mm
    return shapely.box(x - half, y - half, x + half, y + half)
