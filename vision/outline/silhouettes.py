"""Outlines of what lies on a tray, without a drawing: to trace a master piece, or to ask how large a piece is seen."""

from dataclasses import dataclass

import numpy as np

from vision.backlight import model_backlight
from vision.geometry import CameraMapping, length_and_width
from vision.outline.edges import trace_edge
from vision.outline.regions import find_regions
from vision.records import Array, Picture, Station


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """An outline and the holes inside it, each (n, 2) mm of the tray, counter-clockwise and clockwise.

    `length_mm`: along its long axis.
    """

    outline: Array
    holes: tuple[Array, ...]
    length_mm: float


def find_silhouettes(back: Picture, station: Station, least_mm2: float) -> tuple[Silhouette, ...]:
    """Trace everything on a tray that the frame's edge does not cut.

    Parameters
    ----------
    back
        The backlit frame, (rows, columns), silhouettes dark.
    station
        The camera that took it.
    least_mm2
        What is smaller is dust or a chip.

    Returns
    -------
    tuple[Silhouette, ...]
        In mm of the tray, in the order in which they are met.

    Raises
    ------
    NoBacklight
        Where the frame shows no usable light.
    """
    light, camera = model_backlight(back), CameraMapping(station, 0.0)
    rows, columns = back.pixels.shape
    scale = camera.mm_per_px(np.array([columns / 2, rows / 2]))
    found = []
    for region in find_regions(back, light, least_mm2 / scale**2):
        if region.at_border:
            continue
        edges = [trace_edge(back.pixels, light, rough) for rough in (region.outer, *region.holes)]
        outline, *holes = (camera.to_tray(edge.points_px) for edge in edges)
        length, _ = length_and_width(outline)
        found.append(Silhouette(outline, tuple(holes), length))
    return tuple(found)
