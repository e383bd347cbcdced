"""Closed loops from a drawing: DXF curves, or one loop of points as CSV."""

import csv
import logging
import math
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from vision.errors import Unusable
from vision.formats.strict import read_text
from vision.records import Array

# Largest distance between a curve and the chords that stand for it: they lie inside a convex curve, two thirds of this
# on average, and that must vanish beside the finest outline uncertainty asked for (0.0005 mm).
CHORD_MM = 0.0001
GAP_MM = 0.001  # ends of curves nearer than this meet; CAD programs round ends to about a millionth
_UNIT_NAMES = {0: "no units", 1: "inches", 2: "feet", 5: "centimetres", 6: "metres", 13: "micrometres"}
_CURVES = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE")
_POLYLINES = ("LWPOLYLINE", "POLYLINE")
# Marks on a drawing that are no part of a contour; anything else that is no curve is an error, so that nothing is lost.
_MARKS = (
    "TEXT",
    "MTEXT",
    "DIMENSION",
    "POINT",
    "LEADER",
    "MULTILEADER",
    "MLEADER",
    "HATCH",
    "ATTRIB",
    "ATTDEF",
    "VIEWPORT",
)
_CSV_COLUMNS = ["x_mm", "y_mm"]
# A loop of points is closed by a last chord from end to start; one so much longer than its others is a gap.
_CSV_GAP_RATIO = 5.0


def read_loops(path: Path) -> tuple[Array, ...]:
    """All closed loops of a drawing, each (n, 2) in mm as drawn, the first vertex not repeated.

    Raises
    ------
    Unusable
        Where the file is neither a DXF nor a CSV drawing, is not in mm, or a contour is not closed.
    """
    kind = path.suffix.lower()
    if kind not in (".dxf", ".csv"):
        raise Unusable(path, "", "a drawing named .dxf or .csv expected", path.suffix or "no suffix")
    loops = _dxf_loops(path) if kind == ".dxf" else (_csv_loop(path),)
    return tuple(_without_repeats(loop) for loop in loops)


def _csv_loop(path: Path) -> Array:
    rows = [row for row in csv.reader(read_text(path).splitlines()) if row]
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
    if len(points) < 3:
        raise Unusable(path, "", "three points or more expected", f"{len(points)}")
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


def _dxf_loops(path: Path) -> tuple[Array, ...]:
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)  # its warnings name no file; the errors raised here do
    # Here, since they take most of a second that nothing else needs.
    from ezdxf import edgeminer
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError
    from ezdxf.units import MM

    try:
        drawing = readfile(path)
    except FileNotFoundError:
        raise Unusable(path, "", "this drawing is missing; check `nominal`") from None
    except (OSError, DXFError, ValueError, StopIteration):  # the last from a header that is cut
        raise Unusable(path, "", "a whole DXF drawing expected; export it again") from None
    if drawing.units != MM:
        found = _UNIT_NAMES.get(drawing.units, f"unit code {drawing.units}")
        raise Unusable(path, "$INSUNITS", "a drawing in millimetres (4) expected; set its units and scale", found)
    curves = [_flattened(path, curve) for entity in drawing.modelspace() for curve in _primitives(path, entity)]
    if not curves:
        raise Unusable(path, "", "a closed outline expected", "no curve in the model space")
    if not all(np.isfinite(curve).all() for curve in curves):
        raise Unusable(path, "", "finite coordinates expected", "NaN or infinity")
    closed = [curve[:-1] for curve in curves if math.dist(curve[0], curve[-1]) <= GAP_MM and len(curve) > 3]
    edges = [
        edgeminer.make_edge(curve[0], curve[-1], payload=curve)
        for curve in curves
        if math.dist(curve[0], curve[-1]) > GAP_MM
    ]
    chains = edgeminer.find_all_simple_chains(edgeminer.Deposit(edges, gap_tol=GAP_MM)) if edges else []
    return (*closed, *(_joined(path, chain, edges) for chain in chains))


def _primitives(path: Path, entity: Any) -> Iterator[Any]:
    """An entity's curves: block references taken apart however deep, polylines with bulges into lines and arcs."""
    kind = entity.dxftype()
    if kind == "INSERT":
        for inner in entity.virtual_entities():
            yield from _primitives(path, inner)
    elif kind in _POLYLINES and entity.has_arc:
        yield from entity.virtual_entities()
    elif kind in _CURVES and not (kind == "POLYLINE" and (entity.is_poly_face_mesh or entity.is_polygon_mesh)):
        yield entity
    elif kind not in _MARKS:
        raise Unusable(
            path,
            f"entity {kind} on layer {entity.dxf.layer}",
            f"only {', '.join(_CURVES)} and INSERT of them expected; remove or explode it",
        )


def _flattened(path: Path, entity: Any) -> Array:
    """A curve as chords, (n, 2) drawing mm, ends included, a closed one with its first vertex repeated."""
    kind = entity.dxftype()
    if kind == "LINE":
        vertices: Iterable[Any] = (entity.dxf.start, entity.dxf.end)
    elif kind == "LWPOLYLINE":
        vertices = list(entity.vertices_in_wcs())
    elif kind == "POLYLINE":
        vertices = list(entity.points_in_wcs())
    else:
        vertices = entity.flattening(CHORD_MM)
    points = np.array([(vertex.x, vertex.y) for vertex in vertices])
    if kind in _POLYLINES and entity.is_closed:
        points = np.vstack([points, points[:1]])
    if len(points) < 2:
        raise Unusable(
            path, f"entity {kind} on layer {entity.dxf.layer}", "two points or more expected", f"{len(points)}"
        )
    return points


def _joined(path: Path, chain: Any, edges: list[Any]) -> Array:
    """A chain of curves as one loop."""
    from ezdxf import edgeminer

    if not edgeminer.is_loop(chain, gap_tol=GAP_MM):
        raise _not_closed(path, chain, edges)
    return np.vstack([(edge.payload[::-1] if edge.is_reverse else edge.payload)[:-1] for edge in chain])


def _not_closed(path: Path, chain: Any, edges: list[Any]) -> Unusable:
    """Where a chain ends, and how far the nearest other end is: what a person needs to mend the drawing."""
    end = chain[-1].end
    ends = [point for edge in edges for point in (edge.start, edge.end)]
    distances = sorted(point.distance(end) for point in ends)
    if len([distance for distance in distances if distance <= GAP_MM]) > 2:
        found = f"more than two curves that meet at ({end.x:.3f}, {end.y:.3f})"
    else:
        gaps = [distance for distance in distances if distance > GAP_MM]
        found = f"an open end at ({end.x:.3f}, {end.y:.3f}), {min(gaps, default=0.0):.3f} mm from the next"
    return Unusable(path, "", "closed contours of curves that meet within 0.001 mm expected; close or remove it", found)


def _without_repeats(loop: Array) -> Array:
    """Drop a vertex equal to the one before it, the last against the first too."""
    steps = np.hypot(*(loop - np.roll(loop, 1, axis=0)).T)
    kept: Array = loop[steps > 1e-9]
    return kept
