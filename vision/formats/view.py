"""Whether a station's camera can see a tray in a frame of some size: asked before any frame is decoded."""

from pathlib import Path

import numpy as np

from vision.errors import Unusable
from vision.formats.station import LEAST_MM_PER_PX, MOST_MM_PER_PX
from vision.formats.strict import LARGEST_MM
from vision.geometry import CameraMapping
from vision.records import Array, Part, Station

_AT = 7  # places along each side of the frame
# Towards a horizon a pixel covers more and more; no camera that sees outlines to hundredths of a mm is so slanted.
_MOST_SLANT = 20.0
_BACK_AGAIN_PX = 1.0


def check_view(station: Station, columns: int, rows: int) -> None:
    """Hold a station against the size of its frames.

    Raises
    ------
    Unusable
        The tray's plane has its horizon in view or is seen from within, a pixel covers what none can, or the lens can't
        be undone; the key is named.
    """
    points = _grid(columns, rows)
    mapping = CameraMapping(station, 0.0)
    with np.errstate(all="ignore"):
        tray = mapping.to_tray(points)
        beside = [mapping.to_tray(points + step) - tray for step in ([1.0, 0.0], [0.0, 1.0])]
        areas = beside[0][:, 0] * beside[1][:, 1] - beside[0][:, 1] * beside[1][:, 0]
        scales = np.sqrt(np.abs(areas))
        back = mapping.to_px(tray)
    where = f"station {station.station}"
    if station.lens is not None and not np.abs(back - points).max() < _BACK_AGAIN_PX:
        raise Unusable(where, "lens", "a lens that can be undone all over the frame expected; calibrate the station")
    one_side = np.isfinite(areas).all() and ((areas > 0).all() or (areas < 0).all())
    if not one_side or scales.max() > _MOST_SLANT * scales.min():
        expected = "a plane without its horizon in view expected; calibrate the station"
        key = "plane.homography" if station.lens is None else "plane.homography or lens"
        raise Unusable(where, key, expected, f"a frame of {columns} x {rows} px that sees it")
    if scales.min() < LEAST_MM_PER_PX or scales.max() > MOST_MM_PER_PX or np.abs(tray).max() > LARGEST_MM:
        expected = f"{LEAST_MM_PER_PX:g} to {MOST_MM_PER_PX:g} mm a pixel, within {LARGEST_MM:g} mm, expected"
        found = f"{scales.min():g} to {scales.max():g} mm, out to {np.abs(tray).max():g} mm"
        raise Unusable(where, "scale.mm_per_px or plane.homography", expected, found)


def check_height(part: Part, station: Station, station_file: Path) -> None:
    """Hold a camera's height against the part's edge above the tray.

    Parameters
    ----------
    part
        Its `edge_height_mm` counts.
    station
        One without a camera's place is always high enough.
    station_file
        What the error names.

    Raises
    ------
    Unusable
        The camera would stand within twice the edge's height.
    """
    if station.camera is not None and station.camera.height_mm < 2.0 * part.edge_height_mm:
        expected = f"a camera well above the edge of {part.part}, at {part.edge_height_mm:g} mm, expected"
        raise Unusable(station_file, "camera.height_mm", expected, f"{station.camera.height_mm:g} mm")


def _grid(columns: int, rows: int) -> Array:
    u, v = np.meshgrid(np.linspace(0.0, columns - 1.0, _AT), np.linspace(0.0, rows - 1.0, _AT))
    return np.column_stack((u.ravel(), v.ravel()))
