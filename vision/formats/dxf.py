"""The curves of a DXF drawing's model space as chords, within bounds: whatever a drawing says, it can't cost more.

What lies on a layer that is frozen or off is left out, as it is on the screen, and named.
"""

import io
import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from vision.errors import Unusable
from vision.formats.bounded import BROKEN, DRAWING_BYTES, read_bytes
from vision.formats.plain_lines import PlainLines, without_plain_lines
from vision.formats.strict import LARGEST_MM
from vision.records import Array

# Largest distance between a curve and the chords that stand for it: they lie inside a convex curve, two thirds of this
# on average, and that must vanish beside the finest outline uncertainty asked for (0.0005 mm).
CHORD_MM = 0.0001
# Bounds beside plain lines. A spoon's drawing has some tens of entities; the library reads some thousand a second.
MOST_ENTITIES, MOST_TAGS, MOST_POINTS, DEEPEST_BLOCK = 10_000, 400_000, 1_000_000, 16
_BINARY, _BINARY_BYTES = b"AutoCAD Binary DXF", 1_000_000  # how a binary drawing begins, by the format's own definition
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


@dataclass(frozen=True, slots=True, eq=False)
class DxfCurves:
    """Plain lines (m, 2, 2), other curves, each (n, 2), in mm, ends included.

    `left_out`: layers that are frozen or off and hold something.
    """

    lines: Array
    curves: list[Array]
    left_out: tuple[str, ...]


def dxf_curves(path: Path) -> DxfCurves:
    """Read a drawing's curves.

    Raises
    ------
    Unusable
        It is none, not in mm, leaves a bound, or holds what is neither curve nor mark; the entity is named.
    """
    from ezdxf.lldxf.const import DXFError  # here, since it takes most of a second that nothing else needs
    from ezdxf.units import MM

    plain, drawing = _opened(path)
    try:
        unit, hidden = int(drawing.units), _hidden_layers(drawing)
    except BROKEN:
        raise _damaged(path) from None
    if unit != MM:
        found = _UNIT_NAMES.get(unit, f"unit code {unit}")
        raise Unusable(path, "$INSUNITS", "a drawing in millimetres (4) expected; set its units and scale", found)
    taking = _Taking(path, hidden, MOST_ENTITIES, MOST_POINTS)
    names = [layer.decode("utf-8", "replace").lower() for layer in plain.layers]
    taking.left_out |= {*names} & hidden.keys()
    seen = np.array([name not in hidden for name in names], bool)
    lines = plain.lines[seen]
    taking.check_extent(lines, "LINE")
    curves: list[Array] = []
    for entity in drawing.modelspace():
        try:
            curves += [taking.flattened(one) for one in taking.primitives(entity, "", 0)]
        except (DXFError, *BROKEN) as fault:
            expected, found = "an entity that can be drawn expected; remove it", str(fault) or type(fault).__name__
            raise taking.refused(entity, expected, found) from None
    if not (len(lines) or curves):
        hint = f"; the layers {', '.join(sorted(taking.left_out))} are frozen or off" if taking.left_out else ""
        raise Unusable(path, "", f"a closed outline expected{hint}", "no curve in the model space")
    return DxfCurves(lines, curves, tuple(sorted(taking.left_out)))


def _opened(path: Path) -> tuple[PlainLines, Any]:
    """The plain lines, and the rest as the library has it."""
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)  # its warnings name no file; the errors raised here do
    from ezdxf.filemanagement import dxf_stream_info, read, readfile
    from ezdxf.lldxf.const import DXFError

    data = read_bytes(path, DRAWING_BYTES)
    try:
        if data.startswith(_BINARY):
            if len(data) > _BINARY_BYTES:
                raise Unusable(path, "", "a binary drawing of at most 1 MB expected; save it as text")
            return PlainLines(np.empty((0, 2, 2)), (), b""), readfile(path)
        plain = without_plain_lines(data)
        tags, entities = plain.rest.count(b"\n") // 2, plain.rest.count(b"\n0\n") + plain.rest.count(b"\n  0\n")
        if tags > MOST_TAGS or entities > 2 * MOST_ENTITIES:
            expected = f"a drawing of at most {MOST_TAGS} pairs and {2 * MOST_ENTITIES} entities beside plain lines"
            raise Unusable(path, "", f"{expected} expected", f"{tags} and {entities}")
        encoding = dxf_stream_info(io.StringIO(plain.rest.decode("latin-1"))).encoding
        return plain, read(io.StringIO(plain.rest.decode(encoding, "surrogateescape")))
    except (OSError, DXFError, *BROKEN):
        raise _damaged(path) from None


def _damaged(path: Path) -> Unusable:
    return Unusable(path, "", "a whole DXF drawing expected; export it again")


def _hidden_layers(drawing: Any) -> dict[str, str]:
    """The layers that are not shown, in lower case, and why: frozen or off."""
    found = {}
    for layer in drawing.layers:
        if layer.is_frozen():
            found[layer.dxf.name.lower()] = "frozen"
        elif layer.is_off():
            found[layer.dxf.name.lower()] = "off"
    return found


@dataclass(slots=True, eq=False)
class _Taking:
    """A drawing being taken apart: what of its bounds is left, and what was left out."""

    path: Path
    hidden: dict[str, str]
    entities: int
    points: int
    left_out: set[str] = field(default_factory=set)

    def primitives(self, entity: Any, outer_layer: str, depth: int) -> Iterator[Any]:
        """An entity's curves: block references taken apart, all of an array's, polylines with bulges too."""
        kind, named = entity.dxftype(), _layer_of(entity)
        layer = outer_layer if outer_layer and named == "0" else named.lower()  # "0" in a block is the reference's own
        self.entities -= 1
        if self.entities < 0:
            raise Unusable(
                self.path, "", f"at most {MOST_ENTITIES} entities beside plain lines, blocks opened, expected"
            )
        if kind in _MARKS:
            return
        why = self.hidden.get(layer)
        if why == "frozen" or (why == "off" and kind != "INSERT"):
            self.left_out.add(layer)
        elif kind == "INSERT":
            yield from self._of_block(entity, layer, depth)
        elif kind in _POLYLINES and self._has_arc(entity):
            yield from entity.virtual_entities()
        elif kind in _CURVES and not (kind == "POLYLINE" and (entity.is_poly_face_mesh or entity.is_polygon_mesh)):
            yield entity
        else:
            raise self.refused(entity, f"only {', '.join(_CURVES)} and INSERT of them expected; remove or explode it")

    def _of_block(self, insert: Any, layer: str, depth: int) -> Iterator[Any]:
        if depth == DEEPEST_BLOCK:
            raise self.refused(insert, f"blocks nested at most {DEEPEST_BLOCK} deep, none in itself, expected")
        if insert.block() is None:
            raise self.refused(insert, "a block that the drawing holds expected", str(insert.dxf.name))
        self._check_numbers(insert)
        if insert.mcount > 1:
            if insert.mcount > self.entities:
                raise self.refused(insert, "a smaller array expected; explode it", f"{insert.mcount} instances")
            for one in insert.multi_insert():
                yield from self.primitives(one, layer, depth + 1)
            return

        def lost(entity: Any, why: str) -> None:
            raise self.refused(entity, "an entity that can be placed as its block is expected; explode it", why)

        for inner in insert.virtual_entities(skipped_entity_callback=lost):
            yield from self.primitives(inner, layer, depth + 1)

    def _has_arc(self, polyline: Any) -> bool:
        if polyline.dxftype() == "LWPOLYLINE":
            self.check_extent(np.asarray(polyline.get_points("xyb")), "LWPOLYLINE")
        return bool(polyline.has_arc)

    def flattened(self, entity: Any) -> Array:
        """A curve as chords, (n, 2) drawing mm, ends included, a closed one with its first vertex repeated."""
        kind = entity.dxftype()
        self._check_numbers(entity)
        if kind == "LINE":
            vertices: Iterable[Any] = (entity.dxf.start, entity.dxf.end)
        elif kind == "LWPOLYLINE":
            vertices = entity.vertices_in_wcs()
        elif kind == "POLYLINE":
            vertices = entity.points_in_wcs()
        elif kind == "SPLINE":
            vertices = self._spline(entity)
        else:
            if kind in ("ARC", "CIRCLE") and entity.dxf.radius <= 0.0:
                raise self.refused(entity, "a radius above 0 expected", f"{entity.dxf.radius:g}")
            vertices = entity.flattening(CHORD_MM)
        points = np.array([(vertex.x, vertex.y) for vertex in vertices]).reshape(-1, 2)
        if kind in _POLYLINES and entity.is_closed:
            points = np.vstack([points, points[:1]])
        if len(points) < 2:
            raise self.refused(entity, "two points or more expected", f"{len(points)}")
        self.check_extent(points, kind)
        self.points -= len(points)
        if self.points < 0:
            raise Unusable(
                self.path, "", f"curves of at most {MOST_POINTS} chords expected; leave out what is no outline"
            )
        return points

    def _spline(self, spline: Any) -> Iterable[Any]:
        control, fit = np.asarray(spline.control_points), np.asarray(spline.fit_points)
        for points in (control, fit):
            self.check_extent(points, "SPLINE")
        order = int(spline.dxf.degree) + 1
        if not (len(control) >= order >= 2) and len(fit) < 2:
            found = f"{len(control)} control points at degree {order - 1}, {len(fit)} fit points"
            raise self.refused(spline, "a spline with enough points expected", found)
        if order > 12:
            raise self.refused(spline, "a spline of degree 11 at most expected", f"{order - 1}")
        # Chords that a span takes: its second difference over eight times the chord's distance, times the degree's own.
        bends = np.abs(np.diff(control if len(control) else fit, 2, axis=0)).sum(axis=1)
        if (np.sqrt(order**2 * bends / (8.0 * CHORD_MM)) + 8.0).sum() > self.points:
            raise self.refused(spline, f"a spline of at most {MOST_POINTS} chords expected")
        vertices: Iterable[Any] = spline.flattening(CHORD_MM)
        return vertices

    def _check_numbers(self, entity: Any) -> None:
        """Every number that an entity says of itself: none so large that chords would not end."""
        for value in entity.dxfattribs().values():
            numbers = [value] if isinstance(value, float) else list(value) if hasattr(value, "xyz") else []
            self.check_extent(np.array(numbers), entity.dxftype())

    def check_extent(self, numbers: Array, kind: str) -> None:
        """Refuse what is not finite, or lies further out than any drawing of a piece."""
        if numbers.size and not np.isfinite(numbers).all():
            raise Unusable(self.path, kind, "finite coordinates expected", "NaN or infinity")
        if numbers.size and (most := float(np.abs(numbers).max())) > LARGEST_MM:
            expected = f"a drawing in millimetres within {LARGEST_MM:g} mm of its origin expected; check its units"
            raise Unusable(self.path, kind, expected, f"{most:g} mm")

    def refused(self, entity: Any, expected: str, found: str = "") -> Unusable:
        """An entity that can't be read, named with its layer."""
        return Unusable(self.path, f"entity {entity.dxftype()} on layer {_layer_of(entity)}", expected, found)


def _layer_of(entity: Any) -> str:
    """The layer's name; "0" for an entity of a kind that the library does not know, and so knows no layer of."""
    return str(entity.dxf.layer) if entity.is_supported_dxf_attrib("layer") else "0"


def left_out_words(path: Path, layers: Iterable[str]) -> str:
    """What to tell a person of layers that were left out.

    Parameters
    ----------
    path
        The part's file.
    layers
        Their names, as `Part.left_out` has them.

    Returns
    -------
    str
        One line.
    """
    return f"{path}: left out, since frozen or off: layer {', '.join(layers)}"
