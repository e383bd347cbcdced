"""A DXF drawing's entities taken apart into chords, within bounds: blocks, arrays, polylines with arcs, splines."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from vision.errors import Unusable
from vision.formats.strict import LARGEST_MM
from vision.records import Array

# Largest distance between a curve and the chords that stand for it: they lie inside a convex curve, two thirds of this
# on average, and that must vanish beside the finest outline uncertainty asked for (0.0005 mm).
CHORD_MM = 0.0001
# Bounds beside plain lines. A spoon's drawing has some tens of entities; the library reads some thousand a second.
MOST_ENTITIES, MOST_POINTS, DEEPEST_BLOCK = 10_000, 1_000_000, 16
_CURVES = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE")
_POLYLINES = ("LWPOLYLINE", "POLYLINE")
# Marks on a drawing that are no part of a contour; anything else that is no curve is told, so that nothing is lost.
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
_FROM_OUTSIDE = {"bylayer", "byblock", ""}


class Drawn(NamedTuple):
    """A curve as the library has it, its layer in lower case, and its line type's name in lower case."""

    entity: Any
    layer: str
    line: str


@dataclass(slots=True, eq=False)
class Taking:
    """A drawing being taken apart: how large its unit is, what of its bounds is left, and what was left out.

    `hidden`: layers that are not shown, and why. `lines`: the line type of each layer. `others`: entities that are
    neither curve nor mark are counted here where it is not None, else they are an error.
    """

    path: Path
    hidden: dict[str, str]
    mm_per_unit: float = 1.0
    lines: dict[str, str] = field(default_factory=dict)
    others: Counter[str] | None = None
    entities: int = field(default_factory=lambda: MOST_ENTITIES)
    points: int = MOST_POINTS
    left_out: set[str] = field(default_factory=set)

    def primitives(self, entity: Any, outer: Drawn | None = None, depth: int = 0) -> Iterator[Drawn]:
        """An entity's curves: block references taken apart, all of an array's, polylines with bulges too."""
        kind = entity.dxftype()
        layer, line = self._layer_and_line(entity, outer)
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
            yield from self._of_block(Drawn(entity, layer, line), depth)
        elif kind in _POLYLINES and self._has_arc(entity):
            yield from (Drawn(one, layer, line) for one in entity.virtual_entities())
        elif kind in _CURVES and not (kind == "POLYLINE" and (entity.is_poly_face_mesh or entity.is_polygon_mesh)):
            yield Drawn(entity, layer, line)
        elif self.others is not None:
            self.others[kind] += 1
        else:
            raise self.refused(entity, f"only {', '.join(_CURVES)} and INSERT of them expected; remove or explode it")

    def _layer_and_line(self, entity: Any, outer: Drawn | None) -> tuple[str, str]:
        """What an entity lies on and is drawn with: what is on "0" in a block is on the reference's own layer."""
        layer = layer_of(entity).lower()
        line = str(entity.dxf.get("linetype", "")).lower() if entity.is_supported_dxf_attrib("linetype") else ""
        if outer is not None and layer == "0":
            layer = outer.layer
        if line in _FROM_OUTSIDE:
            line = outer.line if outer is not None and line == "byblock" else self.lines.get(layer, "")
        return layer, line

    def _of_block(self, drawn: Drawn, depth: int) -> Iterator[Drawn]:
        insert = drawn.entity
        if depth == DEEPEST_BLOCK:
            raise self.refused(insert, f"blocks nested at most {DEEPEST_BLOCK} deep, none in itself, expected")
        if insert.block() is None:
            raise self.refused(insert, "a block that the drawing holds expected", str(insert.dxf.name))
        self._check_numbers(insert)
        if insert.mcount > 1:
            if insert.mcount > self.entities:
                raise self.refused(insert, "a smaller array expected; explode it", f"{insert.mcount} instances")
            for one in insert.multi_insert():
                yield from self.primitives(one, drawn, depth + 1)
            return

        def lost(entity: Any, why: str) -> None:
            if self.others is not None:
                self.others[entity.dxftype()] += 1
                return
            raise self.refused(entity, "an entity that can be placed as its block is expected; explode it", why)

        for inner in insert.virtual_entities(skipped_entity_callback=lost):
            yield from self.primitives(inner, drawn, depth + 1)

    def _has_arc(self, polyline: Any) -> bool:
        if polyline.dxftype() == "LWPOLYLINE":
            self.check_extent(np.asarray(polyline.get_points("xyb")), "LWPOLYLINE")
        return bool(polyline.has_arc)

    def flattened(self, entity: Any) -> Array:
        """A curve as chords, (n, 2) mm, ends included, a closed one with its first vertex repeated."""
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
            vertices = entity.flattening(CHORD_MM / self.mm_per_unit)
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
        return points * self.mm_per_unit

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
        chord = CHORD_MM / self.mm_per_unit
        bends = np.abs(np.diff(control if len(control) else fit, 2, axis=0)).sum(axis=1)
        if (np.sqrt(order**2 * bends / (8.0 * chord)) + 8.0).sum() > self.points:
            raise self.refused(spline, f"a spline of at most {MOST_POINTS} chords expected")
        vertices: Iterable[Any] = spline.flattening(chord)
        return vertices

    def _check_numbers(self, entity: Any) -> None:
        """Every number that an entity says of itself: none so large that chords would not end."""
        for name, value in entity.dxfattribs().items():
            if hasattr(value, "xyz") or name == "radius":
                self.check_extent(np.array([*value] if hasattr(value, "xyz") else [value]), entity.dxftype())
            elif isinstance(value, float):  # an angle or a share, which has no unit
                self.check_extent(np.array([value / self.mm_per_unit]), entity.dxftype())

    def check_extent(self, numbers: Array, kind: str) -> None:
        """Refuse what is not finite, or lies further out than any drawing of a piece."""
        if numbers.size and not np.isfinite(numbers).all():
            raise Unusable(self.path, kind, "finite coordinates expected", "NaN or infinity")
        if numbers.size and (most := float(np.abs(numbers).max()) * self.mm_per_unit) > LARGEST_MM:
            expected = f"a drawing in millimetres within {LARGEST_MM:g} mm of its origin expected; check its units"
            raise Unusable(self.path, kind, expected, f"{most:g} mm")

    def refused(self, entity: Any, expected: str, found: str = "") -> Unusable:
        """An entity that can't be read, named with its layer."""
        return Unusable(self.path, f"entity {entity.dxftype()} on layer {layer_of(entity)}", expected, found)


def layer_of(entity: Any) -> str:
    """The layer's name; "0" for an entity of a kind that the library does not know, and so knows no layer of."""
    return str(entity.dxf.layer) if entity.is_supported_dxf_attrib("layer") else "0"
