"""A drawing as it comes: every curve that is shown, in mm, with its layer, and what the drawing says of itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vision.errors import Unusable
from vision.records import Array


@dataclass(frozen=True, slots=True)
class DrawingUnit:
    """A unit of length that drawings come in: the word to choose it by, its name, and how long it is."""

    key: str
    name: str
    mm: float


# The inch is 25.4 mm by definition (ISO 1000); pixels are those of CSS, 96 to the inch, and points 72.
UNITS = {
    one.key: one
    for one in (
        DrawingUnit("mm", "millimetres", 1.0),
        DrawingUnit("cm", "centimetres", 10.0),
        DrawingUnit("m", "metres", 1000.0),
        DrawingUnit("um", "micrometres", 0.001),
        DrawingUnit("in", "inches", 25.4),
        DrawingUnit("ft", "feet", 304.8),
        DrawingUnit("mil", "thousandths of an inch", 0.0254),
        DrawingUnit("px", "pixels", 25.4 / 96.0),
        DrawingUnit("pt", "points", 25.4 / 72.0),
        DrawingUnit("pc", "picas", 25.4 / 6.0),
    )
}


@dataclass(frozen=True, slots=True, eq=False)
class SheetCurve:
    """One curve: `points` (n, 2) mm, ends included; `line` is its line type where it is not continuous, else empty."""

    points: Array
    layer: str
    line: str = ""


@dataclass(frozen=True, slots=True)
class Dimension:
    """What a dimension says, as written, and how long what it stands at is, in the drawing's own unit."""

    written: float
    drawn: float


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """A drawing's curves in mm.

    `said`: the unit that the drawing names, None where it names none; `unit`: the one by which it was read, None where
    neither drawing nor person named one (the numbers are then taken as mm). `notes`: what was left out and why;
    `traced_from`: the photograph that it was traced from, None for a drawing.
    """

    path: Path
    said: DrawingUnit | None
    unit: DrawingUnit | None
    scale: float
    curves: tuple[SheetCurve, ...]
    dimensions: tuple[Dimension, ...] = ()
    notes: tuple[str, ...] = ()
    traced_from: str | None = None

    @property
    def layers(self) -> dict[str, int]:
        """How many curves lie on each layer."""
        names = [curve.layer for curve in self.curves]
        return {name: names.count(name) for name in sorted(set(names))}


def on_layers(sheet: Sheet, layers: Sequence[str]) -> tuple[SheetCurve, ...]:
    """The curves on some layers; all where none is named.

    Parameters
    ----------
    sheet
        The drawing.
    layers
        Names of layers, large or small letters.

    Returns
    -------
    tuple[SheetCurve, ...]
        The curves.

    Raises
    ------
    Unusable
        A layer holds nothing that is shown.
    """
    known = {name.lower() for name in sheet.layers}
    for name in layers:
        if name.lower() not in known:
            expected = (
                f"a layer that holds a curve that is shown expected: {', '.join(sorted(known)) or 'there is none'}"
            )
            raise Unusable(sheet.path, "layer", expected, name)
    wanted = {name.lower() for name in layers} or known
    return tuple(curve for curve in sheet.curves if curve.layer.lower() in wanted)


def read_sheet(path: Path, unit: str | None = None, scale: float = 1.0, layout: str | None = None) -> Sheet:
    """Read a drawing as it comes.

    Parameters
    ----------
    path
        A drawing, DXF (R12 to 2018) or SVG, or a table of points (CSV, mm).
    unit
        The unit it is drawn in, a key of `UNITS`; None: as it says.
    scale
        How many times as large as drawn the piece is, 1 where it is drawn full size.
    layout
        The layout of its paper space to read; None: the model space, or the one layout that holds curves.

    Returns
    -------
    Sheet
        Its curves in mm.

    Raises
    ------
    Unusable
        It is damaged, leaves a bound, or has no such unit or layout.
    """
    if unit is not None and unit not in UNITS:
        raise Unusable(path, "unit", f"one of {', '.join(UNITS)} expected", unit)
    if not 1e-4 <= scale <= 1e4:
        raise Unusable(path, "scale", "a scale of 0.0001 to 10000 expected", f"{scale:g}")
    override = None if unit is None else UNITS[unit]
    kind = path.suffix.lower()
    if kind == ".svg":
        from vision.formats.svg_sheet import read_svg

        return read_svg(path, override, scale)
    if kind == ".dxf":
        from vision.formats.dxf_sheet import read_dxf

        return read_dxf(path, override, scale, layout)
    if kind == ".csv":
        from vision.formats.drawing import read_drawing

        mm = (override.mm if override else 1.0) * scale
        (loop,) = read_drawing(path).loops
        curve = SheetCurve(np.vstack([loop, loop[:1]]) * mm, "0")
        return Sheet(path, UNITS["mm"], override or UNITS["mm"], scale, (curve,))
    raise Unusable(path, "", "a drawing named .dxf, .svg or .csv expected; export it so", path.suffix or "no suffix")
