"""Closed loops from a drawing: DXF curves, or one loop of points as CSV."""

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vision.errors import Unusable
from vision.formats.bounded import DRAWING_BYTES, read_text
from vision.formats.dxf import dxf_curves
from vision.formats.joining import joined
from vision.records import Array

_CSV_COLUMNS = ["x_mm", "y_mm"]
# A loop of points is closed by a last chord from end to start; one so much longer than its others is a gap.
_CSV_GAP_RATIO = 5.0
_MOST_POINTS, _MOST_LOOPS = 1_000_000, 200
# What a camera above a tray can see at once, and a loop within it that is no hatching.
_LEAST_MM, _MOST_MM, _LONGEST_MM = 0.1, 2_000.0, 20_000.0


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """Closed loops, each (n, 2) in mm as drawn; `left_out`: layers that are frozen or off and hold something."""

    loops: tuple[Array, ...]
    left_out: tuple[str, ...] = ()


def read_drawing(path: Path) -> Drawing:
    """All closed loops of a drawing, the first vertex of each not repeated.

    Raises
    ------
    Unusable
        Where the file is neither a DXF nor a CSV drawing, is not in mm, leaves a bound, or a contour is not closed.
    """
    kind = path.suffix.lower()
    if kind not in (".dxf", ".csv"):
        raise Unusable(path, "", "a drawing named .dxf or .csv expected", path.suffix or "no suffix")
    if kind == ".csv":
        drawn = Drawing((_csv_loop(path),))
    else:
        found = dxf_curves(path)
        drawn = Drawing(joined(path, found.lines, found.curves), found.left_out)
    kept = tuple(_without_repeats(loop) for loop in drawn.loops)
    _check_size(path, kept)
    return Drawing(kept, drawn.left_out)


def _check_size(path: Path, loops: tuple[Array, ...]) -> None:
    """Refuse what no tray could hold, before anything is made of it."""
    if len(loops) > _MOST_LOOPS:
        raise Unusable(path, "", f"an outline and its holes, at most {_MOST_LOOPS} loops, expected", f"{len(loops)}")
    corners = np.concatenate([loop for loop in loops if len(loop)] or [np.zeros((1, 2))])
    extent_mm = float((corners.max(axis=0) - corners.min(axis=0)).max())
    if not _LEAST_MM <= extent_mm <= _MOST_MM:
        expected = f"a piece of {_LEAST_MM:g} to {_MOST_MM:g} mm expected; check the drawing's units"
        raise Unusable(path, "", expected, f"{extent_mm:g} mm")
    length_mm = sum(float(np.hypot(*(loop - np.roll(loop, 1, axis=0)).T).sum()) for loop in loops)
    if length_mm > _LONGEST_MM:
        raise Unusable(path, "", f"contours of {_LONGEST_MM:g} mm in all at most expected", f"{length_mm:.0f} mm")


def _csv_loop(path: Path) -> Array:
    try:
        rows = [row for row in csv.reader(read_text(path, DRAWING_BYTES).splitlines()) if row]
    except csv.Error as fault:
        raise Unusable(path, "", "a table of two columns expected", str(fault)) from None
    if not rows or [name.strip() for name in rows[0]] != _CSV_COLUMNS:
        raise Unusable(path, "line 1", "the header x_mm,y_mm expected", ",".join(rows[0]) if rows else "nothing")
    points = []
    for line, row in enumerate(rows[1:], start=2):
        try:
            x, y = map(float, row)
        except ValueError:
            raise Unusable(path, f"line {line}", "two numbers x,y expected", ",".join(row)) from None
        if not (math.isfinite(x) and math.isfinite(y)):
            raise Unusable(path, f"line {line}", "finite numbers expected", ",".join(row))
        points.append((x, y))
    if not 3 <= len(points) <= _MOST_POINTS:
        raise Unusable(path, "", f"three points or more, at most {_MOST_POINTS}, expected", f"{len(points)}")
    loop = np.array(points)
    steps = np.hypot(*(np.roll(loop, -1, axis=0) - loop).T)
    if steps[-1] > _CSV_GAP_RATIO * steps[:-1].max():
        raise Unusable(
            path,
            "",
            "a closed outline expected; repeat the first point at the end if it is",
            f"a gap of {steps[-1]:.3f} mm between last and first point",
        )
    return loop


def _without_repeats(loop: Array) -> Array:
    """Drop a vertex equal to the one before it, the last against the first too."""
    steps = np.hypot(*(loop - np.roll(loop, 1, axis=0)).T)
    kept: Array = loop[steps > 1e-9]
    return kept
