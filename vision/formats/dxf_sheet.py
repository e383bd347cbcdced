"""A DXF drawing as it comes: any unit, model or paper space, what is no curve counted rather than refused."""

import re
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from vision.errors import Unusable
from vision.formats.bounded import BROKEN
from vision.formats.dxf import damaged, hidden_layers, opened
from vision.formats.dxf_taking import Taking
from vision.formats.plain_lines import PlainLines
from vision.formats.sheet import UNITS, Dimension, DrawingUnit, Sheet, SheetCurve

# Codes of $INSUNITS as the format's own reference lists them.
_BY_CODE = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 9: "mil", 13: "um"}
# Dimensions that give one length: linear, aligned, diameter, radius (lowest three bits of the dimension's type).
_LENGTHS = (0, 1, 3, 4)
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_MOST_DIMENSIONS = 1000


def read_dxf(path: Path, override: DrawingUnit | None, scale: float, layout: str | None) -> Sheet:
    """Read a drawing.

    Raises
    ------
    Unusable
        It is damaged, leaves a bound, holds no curve, or has no such layout.
    """
    from ezdxf.lldxf.const import DXFError

    plain, drawing = opened(path)
    try:
        said = UNITS.get(_BY_CODE.get(int(drawing.units), ""))
        hidden, lines = hidden_layers(drawing), _lines_of_layers(drawing)
    except BROKEN:
        raise damaged(path) from None
    unit = override or said
    mm = (unit.mm if unit else 1.0) * scale
    taking = Taking(path, hidden, mm, lines, Counter())
    notes: list[str] = []
    try:
        if layout is None:
            curves = [*_of_plain_lines(taking, plain), *_of_space(taking, drawing.modelspace())]
            space = drawing.modelspace()
        if layout is not None or not curves:
            space, curves = _of_paper(taking, drawing, layout)
            notes.append(f"read from the paper space {space.name!r}")
        dimensions = _dimensions(space, hidden)
    except (DXFError, *BROKEN) as fault:
        found = str(fault) or type(fault).__name__
        raise Unusable(path, "", "a drawing that can be drawn expected; export it again", found) from None
    curves = _continuous(curves, drawing)
    if taking.left_out:
        notes.append(f"left out, since frozen or off: layer {', '.join(sorted(taking.left_out))}")
    notes += [
        f"left out: {count} of {kind}, which is no curve" for kind, count in sorted((taking.others or {}).items())
    ]
    if not curves:
        raise Unusable(path, "", "a drawing with curves expected", "; ".join(notes) or "none")
    return Sheet(path, said, unit, scale, tuple(curves), dimensions, tuple(notes))


def _lines_of_layers(drawing: Any) -> dict[str, str]:
    return {layer.dxf.name.lower(): str(layer.dxf.get("linetype", "")).lower() for layer in drawing.layers}


def _continuous(curves: list[SheetCurve], drawing: Any) -> list[SheetCurve]:
    """A line type without dashes is continuous whatever it is called."""
    dashed = {"continuous": False, "bylayer": False, "byblock": False, "": False}
    for one in drawing.linetypes:
        if one.dxf.name.lower() not in dashed:
            dashed[one.dxf.name.lower()] = any(tag.code == 49 for tag in one.pattern_tags.tags)
    return [curve if dashed.get(curve.line, True) else SheetCurve(curve.points, curve.layer) for curve in curves]


def _of_plain_lines(taking: Taking, plain: PlainLines) -> list[SheetCurve]:
    found = []
    taking.check_extent(plain.lines, "LINE")
    for ends, layer, line in zip(plain.lines, plain.layers, plain.line_types, strict=True):
        name = layer.decode("utf-8", "replace").lower()
        if name in taking.hidden:
            taking.left_out.add(name)
            continue
        own = line.decode("utf-8", "replace").lower()
        line_type = own if own and own != "bylayer" else taking.lines.get(name, "")
        found.append(SheetCurve(ends * taking.mm_per_unit, name, line_type))
    return found


def _of_space(taking: Taking, space: Any) -> list[SheetCurve]:
    return [
        SheetCurve(taking.flattened(one.entity), one.layer, one.line)
        for entity in space
        for one in taking.primitives(entity)
    ]


def _of_paper(taking: Taking, drawing: Any, layout: str | None) -> tuple[Any, list[SheetCurve]]:
    """The layout of that name and its curves; without a name the one that holds any."""
    names = [one.name for one in drawing.layouts if not one.is_modelspace]
    if layout is not None and layout not in names:
        raise Unusable(taking.path, "layout", f"one of {', '.join(names) or 'none'} expected", layout)
    found = []
    for name in names if layout is None else [layout]:
        space = drawing.layouts.get(name)
        curves = _of_space(taking, space)
        if curves or layout is not None:
            found.append((space, curves))
    if len(found) > 1:
        expected = f"one layout of the paper space, of {', '.join(one.name for one, _ in found)}, expected: --layout"
        raise Unusable(taking.path, "", expected, "no curve in the model space")
    return found[0] if found else (drawing.modelspace(), [])


def _dimensions(space: Any, hidden: dict[str, str]) -> tuple[Dimension, ...]:
    """The lengths that dimensions say, where a number is to be had of them."""
    found = []
    for entity in space.query("DIMENSION")[:_MOST_DIMENSIONS]:
        if entity.dxf.layer.lower() in hidden or entity.dimtype not in _LENGTHS:
            continue
        try:
            drawn = float(entity.get_measurement())
            factor = float(entity.override().get("dimlfac", 1.0) or 1.0)
        except BROKEN:
            continue  # a dimension that measures nothing says nothing
        text = str(entity.dxf.get("text", "") or "<>")
        number = _NUMBER.search(text.replace("<>", ""))
        if "<>" in text:
            written = drawn * abs(factor)
        elif number is not None:
            written = float(number[0].replace(",", "."))
        else:
            continue
        if drawn > 0.0 and written > 0.0 and np.isfinite([drawn, written]).all():
            found.append(Dimension(written, drawn))
    return tuple(found)
