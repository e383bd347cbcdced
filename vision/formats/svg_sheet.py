"""An SVG drawing as it comes: paths and shapes with their transforms, y turned up, within bounds.

By SVG 1.1 (W3C, 2011): the viewport's width and height with the viewBox say how long a user unit is; arcs by the
centre parametrisation of its implementation notes, F.6.5.
"""

import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np

from vision.errors import Unusable
from vision.formats.bounded import BROKEN, DRAWING_BYTES, read_text
from vision.formats.sheet import UNITS, DrawingUnit, Sheet, SheetCurve
from vision.formats.svg_curves import NUMBER, PathCurves, numbers, shape_path
from vision.records import Array

_MOST_ELEMENTS, _DEEPEST = 10_000, 32
_SHAPES = ("path", "rect", "circle", "ellipse", "line", "polyline", "polygon")
_GROUPS = ("svg", "g", "a", "switch")
# What draws nothing where it stands, or is no curve and says so by its name.
_NO_DRAWING = ("defs", "symbol", "clipPath", "mask", "marker", "pattern", "metadata", "title", "desc", "style", "text")
_LENGTH = re.compile(rf"\s*({NUMBER})\s*(mm|cm|m|in|px|pt|pc|%)?\s*")
_STEP = re.compile(r"\s*(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^()]*)\)[\s,]*")
_LABEL = "{http://www.inkscape.org/namespaces/inkscape}label"
_HREF = "{http://www.w3.org/1999/xlink}href"


@dataclass(slots=True, eq=False)
class _Reading:
    path: Path
    elements: int = _MOST_ELEMENTS
    by_id: dict[str, Any] = field(default_factory=dict)
    others: Counter[str] = field(default_factory=Counter)
    hidden: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class _Inherited:
    """What an element has from those around it: `matrix` (2, 3) to mm, its layer, and whether it is dashed."""

    matrix: Array
    layer: str
    dashed: bool


def read_svg(path: Path, override: DrawingUnit | None, scale: float) -> Sheet:
    """Read a drawing.

    Raises
    ------
    Unusable
        It is no SVG, leaves a bound, or holds no curve.
    """
    text = read_text(path, DRAWING_BYTES)
    if "<!ENTITY" in text:
        raise Unusable(path, "", "an SVG without entities of its own expected; save it as plain SVG")
    try:
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, *BROKEN):
        raise Unusable(path, "", "a whole SVG drawing expected; export it again") from None
    if _kind(root) != "svg":
        raise Unusable(path, "", "an SVG drawing expected", _kind(root))
    reading = _Reading(path)
    reading.by_id = {name: one for one in root.iter() if (name := one.get("id"))}
    said, mm = _unit(path, root)
    if override is not None:
        mm = override.mm
    mm *= scale
    outermost = _Inherited(np.array([[mm, 0.0, 0.0], [0.0, -mm, 0.0]]), "0", False)
    try:
        curves = tuple(_of_group(reading, root, outermost, 0))
    except BROKEN as fault:
        raise Unusable(path, "", "paths and shapes that can be drawn expected; export it again", str(fault)) from None
    notes = [f"left out: {count} of {kind}, which is no curve" for kind, count in sorted(reading.others.items())]
    if reading.hidden:
        notes.append(f"left out, since not shown: {reading.hidden} elements")
    if not curves:
        raise Unusable(path, "", "a drawing with curves expected", "; ".join(notes) or "none")
    return Sheet(path, said, override or said, scale, curves, (), tuple(notes))


def _kind(element: Any) -> str:
    return str(element.tag).rpartition("}")[2] if isinstance(element.tag, str) else ""


def _unit(path: Path, root: Any) -> tuple[DrawingUnit | None, float]:
    """The unit that the drawing names and the length of one user unit, 1 mm where it names none."""
    box = numbers(path, "viewBox", root.get("viewBox", ""))
    sizes = []
    for key in ("width", "height"):
        found = _LENGTH.fullmatch(root.get(key, ""))
        if found is None or found[2] in (None, "%", "px"):
            return None, 1.0  # pixels are no length on a drawing: programs differ in how many go to the inch
        (size,) = numbers(path, key, found[1])
        sizes.append((size, UNITS[found[2]]))
    (width, unit), (height, other) = sizes
    if len(box) != 4:
        return unit, UNITS["px"].mm
    if box[2] <= 0.0 or box[3] <= 0.0 or width <= 0.0 or height <= 0.0:
        raise Unusable(path, "viewBox", "a width and a height above 0 expected", root.get("viewBox"))
    across, down = width * unit.mm / box[2], height * other.mm / box[3]
    if abs(across / down - 1.0) > 1e-4 and root.get("preserveAspectRatio", "").strip() == "none":
        raise Unusable(path, "viewBox", "one scale along x and y expected", f"{across:g} and {down:g} mm a unit")
    return unit, min(across, down)


def _of_group(reading: _Reading, group: Any, around: _Inherited, depth: int) -> Iterator[SheetCurve]:
    if depth == _DEEPEST:
        raise Unusable(reading.path, "", f"groups nested at most {_DEEPEST} deep expected")
    for element in group:
        yield from _of_element(reading, element, around, depth)


def _of_element(reading: _Reading, element: Any, around: _Inherited, depth: int) -> Iterator[SheetCurve]:
    kind = _kind(element)
    reading.elements -= 1
    if reading.elements < 0:
        raise Unusable(reading.path, "", f"a drawing of at most {_MOST_ELEMENTS} elements expected")
    if kind in ("", *_NO_DRAWING):
        return
    style = dict(re.findall(r"([\w-]+)\s*:\s*([^;]+)", element.get("style", "")))
    look = {key: style.get(key, element.get(key, "")).strip() for key in ("display", "visibility", "stroke-dasharray")}
    if look["display"] == "none" or look["visibility"] in ("hidden", "collapse"):
        reading.hidden += 1
        return
    dashes = look["stroke-dasharray"]
    inside = _Inherited(
        _times(around.matrix, _matrix(reading.path, element.get("transform", ""))),
        (element.get(_LABEL) or element.get("id") or around.layer) if kind == "g" and depth == 0 else around.layer,
        around.dashed if not dashes else dashes not in ("none", "0"),
    )
    if kind in _SHAPES:
        curves = PathCurves(reading.path, inside.matrix)
        curves.draw(shape_path(kind, element.attrib))
        line = "dashed" if inside.dashed else ""
        yield from (SheetCurve(points, inside.layer, line) for points in curves.found)
    elif kind == "use":
        named = (element.get("href") or element.get(_HREF) or "").removeprefix("#")
        if named not in reading.by_id or depth >= _DEEPEST:
            raise Unusable(reading.path, "use", "an element of this drawing, none in itself, expected", named)
        x, y = (sum(numbers(reading.path, "use", element.get(key, "0"))) for key in ("x", "y"))
        to = np.array([[1.0, 0.0, x], [0.0, 1.0, y]])
        moved = _Inherited(_times(inside.matrix, to), inside.layer, inside.dashed)
        of = reading.by_id[named]
        yield from (_of_group if _kind(of) == "symbol" else _of_element)(reading, of, moved, depth + 1)
    elif kind in _GROUPS:
        if kind == "svg" and (element.get("viewBox") or element.get("width")):
            raise Unusable(reading.path, "svg", "no drawing with its own scale within another expected; ungroup it")
        yield from _of_group(reading, element, inside, depth + 1)
    else:
        reading.others[kind] += 1


def _times(outer: Array, inner: Array) -> Array:
    """One affine map after another, each (2, 3)."""
    both: Array = outer @ np.vstack([inner, [0.0, 0.0, 1.0]])
    return both


def _matrix(path: Path, text: str) -> Array:
    """A list of transforms as one map (2, 3)."""
    found, at = np.eye(2, 3), 0
    while at < len(text.rstrip()):
        step = _STEP.match(text, at)
        if step is None:
            raise Unusable(path, "transform", "matrix, translate, scale, rotate or skew expected", text[at : at + 40])
        at = step.end()
        found = _times(found, _one_step(step[1], numbers(path, "transform", step[2])))
    return found


def _one_step(name: str, said: list[float]) -> Array:
    if name == "matrix":
        a, b, c, d, e, f = said
        return np.array([[a, c, e], [b, d, f]])
    if name == "translate":
        return np.array([[1.0, 0.0, said[0]], [0.0, 1.0, said[1] if len(said) > 1 else 0.0]])
    if name == "scale":
        return np.array([[said[0], 0.0, 0.0], [0.0, said[1] if len(said) > 1 else said[0], 0.0]])
    if name == "rotate":
        turn = math.radians(said[0])
        x, y = said[1:3] if len(said) > 2 else (0.0, 0.0)
        c, s = math.cos(turn), math.sin(turn)
        return np.array([[c, -s, x - c * x + s * y], [s, c, y - s * x - c * y]])
    lean = math.tan(math.radians(said[0]))
    return np.array([[1.0, lean if name == "skewX" else 0.0, 0.0], [lean if name == "skewY" else 0.0, 1.0, 0.0]])
