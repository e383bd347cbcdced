"""part.toml and its drawing: outline, punched holes, zones, scored area."""

from itertools import pairwise
from pathlib import Path
from typing import Annotated, Self

import numpy as np
from pydantic import Field, model_validator

from vision.errors import Unusable
from vision.formats.drawing import read_drawing
from vision.formats.strict import FormatOne, Length, Name, Span, Strict, Text, read_toml
from vision.records import Array, Part, RimRadius, Surface, Zone

# Zones are typed as on the drawing, the outline ends where its curves do: 0.001 mm apart is the same place.
_SAME_MM = 0.001


class _ZoneTable(Strict):
    name: Text
    x_mm: Span
    datum: bool = False
    bend: bool = False


class _SurfaceTable(Strict):
    x_mm: Span
    inset_mm: Length


class _PartFile(Strict):
    format: FormatOne
    part: Name
    name: Text
    nominal: Name
    traced_from: Text | None = None
    edge_height_mm: Length = 0.0
    edge_height_u_mm: Length = 0.0
    rim_radius_mm: Annotated[Length, Field(gt=0.0)] | None = None
    rim_radius_u_mm: Length | None = None
    zone: Annotated[list[_ZoneTable], Field(min_length=1, max_length=100)]
    surface: _SurfaceTable | None = None

    @model_validator(mode="after")
    def _radius_and_its_uncertainty(self) -> Self:
        if (self.rim_radius_mm is None) != (self.rim_radius_u_mm is None):
            raise ValueError("rim_radius_mm and rim_radius_u_mm, both or neither, expected")
        return self


def read_part(path: Path) -> Part:
    """Read a part and its drawing.

    Parameters
    ----------
    path
        `part.toml`; the drawing that it names lies relative to it.

    Returns
    -------
    Part
        The part, its outline as closed loops in drawing mm.

    Raises
    ------
    Unusable
        Naming the key or the place on the drawing at fault.

    Examples
    --------
    >>> part = read_part(Path("demo/part.toml"))
    >>> [zone.name for zone in part.zones], part.outline.shape[1]
    (['bowl', 'neck', 'handle'], 2)
    """
    table = read_toml(path, _PartFile)
    drawing = path.parent / table.nominal
    drawn = read_drawing(drawing)
    outline, holes = arranged(drawn.loops, drawing)
    zones = tuple(
        Zone(name=zone.name, x_mm=(zone.x_mm[0], zone.x_mm[1]), datum=zone.datum, bend=zone.bend) for zone in table.zone
    )
    ends = float(outline[:, 0].min()), float(outline[:, 0].max())
    _check_zones(path, zones, ends)
    surface = None
    if table.surface:
        surface = Surface((table.surface.x_mm[0], table.surface.x_mm[1]), table.surface.inset_mm)
        if surface.x_mm[1] <= ends[0] or surface.x_mm[0] >= ends[1]:
            raise Unusable(path, "surface.x_mm", f"a span on the outline's {_span(ends)} expected", _span(surface.x_mm))
    rim = None
    if table.rim_radius_mm is not None and table.rim_radius_u_mm is not None:
        rim = RimRadius(table.rim_radius_mm, table.rim_radius_u_mm)
    return Part(
        part=table.part,
        name=table.name,
        outline=outline,
        holes=holes,
        zones=zones,
        surface=surface,
        edge_height_mm=table.edge_height_mm,
        edge_height_u_mm=table.edge_height_u_mm,
        rim=rim,
        left_out=drawn.left_out,
        traced_from=table.traced_from,
    )


def arranged(loops: tuple[Array, ...], drawing: Path) -> tuple[Array, tuple[Array, ...]]:
    """The largest loop as the outline and those inside it as holes, all counter-clockwise.

    Parameters
    ----------
    loops
        Closed loops, each (n, 2) mm, first vertex not repeated.
    drawing
        The file that they are from.

    Returns
    -------
    tuple[Array, tuple[Array, ...]]
        The outline (n, 2) and the holes, each begun at its leftmost vertex.

    Raises
    ------
    Unusable
        Where a loop crosses itself or another, or lies neither around nor directly inside the others.
    """
    from shapely import LinearRing, Polygon
    from shapely.validation import explain_validity

    for loop in loops:
        if len(loop) < 3 or not LinearRing(loop).is_simple:
            found = explain_validity(Polygon(loop)) if len(loop) > 2 else "no area"
            raise Unusable(drawing, "", "contours that don't cross themselves expected; mend the drawing", found)
    discs = sorted((Polygon(loop) for loop in loops), key=lambda disc: float(disc.area), reverse=True)
    for hole in discs[1:]:
        x, y = round(hole.centroid.x, 3) + 0.0, round(hole.centroid.y, 3) + 0.0  # no -0.0
        if not discs[0].intersects(hole):
            expected = "one outline and the holes inside it expected; keep one part in a drawing"
            raise Unusable(drawing, "", expected, f"a second outline round ({x:.3f}, {y:.3f})")
        if not discs[0].contains_properly(hole):
            raise Unusable(
                drawing, "", "holes inside the outline expected", f"one that crosses it round ({x:.3f}, {y:.3f})"
            )
        if any(other is not hole and other.intersects(hole) for other in discs[1:]):
            raise Unusable(
                drawing, "", "holes apart from each other expected", f"two that meet round ({x:.3f}, {y:.3f})"
            )
    rings = [np.array(disc.exterior.coords[:-1]) for disc in discs]
    turned = [ring if disc.exterior.is_ccw else ring[::-1] for ring, disc in zip(rings, discs, strict=True)]
    begun = [_from_leftmost(ring) for ring in turned]
    return begun[0], tuple(begun[1:])


def _from_leftmost(ring: Array) -> Array:
    """The ring from its leftmost (then lowest) vertex on: a drawing's entities may be met in any order."""
    return np.roll(ring, -int(np.lexsort((ring[:, 1], ring[:, 0]))[0]), axis=0)


def _check_zones(path: Path, zones: tuple[Zone, ...], ends: tuple[float, float]) -> None:
    """Zones must follow each other along the whole outline, each under a name of its own."""
    names = [zone.name for zone in zones]
    for name in names:
        if names.count(name) > 1:
            raise Unusable(path, "zone.name", "each zone's name once expected", f"{name!r} more than once")
    along = sorted(zones, key=lambda zone: zone.x_mm)
    if along[0].x_mm[0] > ends[0] + _SAME_MM or along[-1].x_mm[1] < ends[1] - _SAME_MM:
        covered = _span((along[0].x_mm[0], along[-1].x_mm[1]))
        raise Unusable(path, "zone.x_mm", f"zones over the outline's whole {_span(ends)} expected", covered)
    for zone, following in pairwise(along):
        step = following.x_mm[0] - zone.x_mm[1]
        if abs(step) > _SAME_MM:
            kind = "gap" if step > 0 else "overlap"
            found = f"{kind} of {abs(step):.3f} mm between {zone.name!r} and {following.name!r}"
            raise Unusable(path, "zone.x_mm", "zones without gap or overlap expected", found)
    for zone in along:
        if zone.x_mm[1] <= ends[0] or zone.x_mm[0] >= ends[1]:
            raise Unusable(
                path, "zone.x_mm", f"spans on the outline's {_span(ends)} expected", f"{zone.name!r} beside it"
            )
    bends = [zone.name for zone in zones if zone.bend]
    if len(bends) > 1:
        raise Unusable(path, "zone.bend", "one bend zone at most expected", ", ".join(bends))
    for zone in zones:
        if zone.bend and zone.datum:
            expected = "a bend zone that is no datum expected, since its bend is taken against the datum"
            raise Unusable(path, "zone.bend", expected, repr(zone.name))


def _span(ends: tuple[float, float]) -> str:
    return f"x_mm = [{ends[0]:.3f}, {ends[1]:.3f}]"
