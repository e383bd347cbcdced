"""An outline traced from a photograph of a master piece, as a sheet like any other; and how large pieces are seen."""

import numpy as np

from vision.backlight import NoBacklight
from vision.errors import Unusable
from vision.formats import UNITS, Sheet, SheetCurve, read_frames
from vision.geometry import length_and_width
from vision.outline import Silhouette, find_silhouettes, size_doubt
from vision.records import Array, Shot, Station

# What is smaller than this is dust or a chip: no spoon, fork or blank is.
_LEAST_MM2 = 100.0


def trace_master(shot: Shot, station: Station) -> Sheet:
    """Trace what lies on a tray as if it had been drawn.

    Parameters
    ----------
    shot
        A tray with the master piece.
    station
        The calibrated camera that took it.

    Returns
    -------
    Sheet
        Its silhouettes in mm, seen from above, told as traced.

    Raises
    ------
    Unusable
        The frame can't be read, shows no usable light, or nothing whole lies on the tray.
    """
    note = (
        f"traced from the photograph {shot.folder.name} by station {station.station}: no drawing; the master's own "
        f"errors are in it, and the station's (an outline to {station.outline_mm:g} mm, lengths to "
        f"{100 * station.scale_relative:g} %, k = 1)"
    )
    curves = [
        SheetCurve(np.vstack([ring, ring[:1]]), "0")
        for one in _seen(shot, station)
        for ring in (one.outline, *one.holes)
    ]
    by = f"{shot.folder.name}, station {station.station}"
    return Sheet(shot.folder, UNITS["mm"], UNITS["mm"], 1.0, tuple(curves), (), (note,), by)


def length_doubt(outline: Array, shot: Shot, station: Station) -> str:
    """Whether a camera sees pieces as large as they are drawn.

    Parameters
    ----------
    outline
        The part's outline, (n, 2) mm.
    shot
        A tray of pieces.
    station
        The calibrated camera that took it.

    Returns
    -------
    str
        What to say where no piece is as large; empty where one is.

    Raises
    ------
    Unusable
        As `trace_master`.
    """
    drawn, _ = length_and_width(outline)
    doubts = [size_doubt(drawn, one.length_mm) for one in _seen(shot, station)]
    return doubts[0] if all(doubts) else ""


def _seen(shot: Shot, station: Station) -> tuple[Silhouette, ...]:
    back = read_frames(shot, station).back
    try:
        found = find_silhouettes(back, station, _LEAST_MM2)
    except NoBacklight as fault:
        raise Unusable(shot.folder, back.name, "a backlit frame with usable light expected", str(fault)) from None
    if not found:
        raise Unusable(shot.folder, back.name, "a piece that lies whole within the frame expected", "none")
    return found
