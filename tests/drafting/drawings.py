"""Twenty drawings of spoons, forks and blanks and their truth, made with ezdxf's writer and formulas of their own.

Nothing of the reader is used. A truth is a dense closed curve in mm, as the piece lies on its own sheet; how a drawing
turns, mirrors, converts and crowds it is the drawing's own affair.
"""

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.drafting.shapes import Made, arc, blank, centre_line, fork, frame, lines, moved, new, splines, spoon, tapered


def _inch_splines(path: Path) -> Made:
    drawing = new("R2013", 1)
    truth = splines(drawing, spoon(), 3, 25.4)
    drawing.saveas(path)
    return Made(truth, told=("converted from inches",))


def _feet(path: Path) -> Made:
    drawing = new("R2000", 2)
    truth = tapered(drawing, 304.8)
    drawing.saveas(path)
    return Made(truth, told=("converted from feet",))


def _old_polyline(path: Path) -> Made:
    """R12 has neither units nor light polylines: an old POLYLINE with bulges."""
    drawing = new("R12", None)
    truth = blank()
    bulges = []
    lean = math.asin(6.5 / 136.5)
    for (x, y), turn in (
        (truth[0], math.pi + 2 * lean),
        (truth[4000], 0.0),
        (truth[4001], math.pi - 2 * lean),
        (truth[-1], 0.0),
    ):
        bulges.append((x, y, math.tan(turn / 4)))
    drawing.modelspace().add_polyline2d(bulges, format="xyb", close=True)
    drawing.saveas(path)
    return Made(truth, ("--unit", "mm"), ("names its unit", "--unit"))


def _two_views(path: Path) -> Made:
    drawing = new("R2018", 4)
    truth = splines(drawing, spoon(), 3)
    drawing.modelspace().add_lwpolyline([(0, -60, 0, 0, 0.2), (140, -60), (140, -62, 0, 0, -0.2), (0, -62)], close=True)
    frame(drawing)
    centre_line(drawing, (-10, 0), (150, 0))
    drawing.saveas(path)
    return Made(truth, ("--view", "1"), ("--view", "view 1", "view 2"))


def _frame_and_dimensions(path: Path) -> Made:
    drawing = new("R2007", 4)
    truth = splines(drawing, spoon(), 2)
    frame(drawing)
    centre_line(drawing, (-10, 0), (150, 0))
    space = drawing.modelspace()
    space.add_linear_dim(base=(0, 30), p1=(0, 0), p2=(140, 0), override={"dimlfac": 1.0}).render()
    space.add_linear_dim(base=(-20, 0), p1=(24, -17), p2=(24, 17), angle=90, override={"dimlfac": 1.0}).render()
    space.add_hatch().paths.add_polyline_path([tuple(p) for p in truth[::2000]])
    drawing.saveas(path)
    return Made(truth, told=("not continuous", "frames"))


def _centre_line_off(path: Path) -> Made:
    """A centre line on a layer that is off, drawn as lines of any type; the outline lies along y."""
    drawing = new("R2010", 4)
    layer = drawing.layers.add("CL")
    layer.off()
    truth = tapered(drawing)
    for entity in list(drawing.modelspace()):
        entity.rotate_z(math.radians(90))
    drawing.modelspace().add_line((0, -10), (0, 170), {"layer": "CL"})
    drawing.saveas(path)
    return Made(truth, told=("frozen or off: layer cl", "turned by"))


def _in_blocks(path: Path) -> Made:
    """In a block within a block, scaled from inches there, turned and mirrored on the sheet."""
    drawing = new("R2004", 4)
    inner = drawing.blocks.new("piece")
    truth = tapered(drawing, 25.4)
    for entity in list(drawing.modelspace()):
        drawing.modelspace().move_to_layout(entity, inner)
    drawing.blocks.new("sheet").add_blockref("piece", (3, 4), {"xscale": 25.4, "yscale": 25.4, "zscale": 25.4})
    drawing.modelspace().add_blockref("sheet", (100, 50), {"rotation": 33.0, "xscale": -1})
    drawing.saveas(path)
    return Made(truth, told=("turned by",))


def _small_gaps(path: Path) -> Made:
    drawing = new("R2000", 4)
    truth = tapered(drawing, skip=0.015)
    drawing.saveas(path)
    return Made(truth, told=("gap of 0.015",))


def _wide_gap(path: Path) -> Made:
    drawing = new("R2000", 4)
    truth = tapered(drawing, skip=0.3)
    drawing.saveas(path)
    return Made(truth, ("--gap-mm", "0.4"), ("0.3 mm", "--gap-mm"))


def _turned(degree: int, turn: float, version: str) -> Callable[[Path], Made]:
    def write(path: Path) -> Made:
        drawing = new(version, 4)
        splines(drawing, moved(spoon(), turn, (80, -40)), degree)
        fitted = splines(new(version, 4), moved(spoon(), turn, (80, -40)), degree)
        drawing.saveas(path)
        return Made(fitted, told=("turned by",))

    return write


def _ellipses(path: Path) -> Made:
    """A blank of two half ellipses with a punched hole: which loops are holes only a person knows."""
    drawing = new("R2010", 4)
    space = drawing.modelspace()
    space.add_ellipse((50, 0), (-50, 0), 0.2, math.pi / 2, 3 * math.pi / 2)
    space.add_ellipse((50, 0), (-80, 0), 0.125, -math.pi / 2, math.pi / 2)
    space.add_circle((90, 0), 2.0)
    a = np.linspace(math.pi / 2, 3 * math.pi / 2, 8001)
    # In the first ellipse's own frame x runs left: its half from 90 to 270 degrees is the right one.
    right = np.column_stack([50 - 50 * np.cos(a), -10 * np.sin(a)])
    b = np.linspace(-math.pi / 2, math.pi / 2, 8001)
    left = np.column_stack([50 - 80 * np.cos(b), -10 * np.sin(b)])
    drawing.saveas(path)
    return Made(
        np.vstack([right, left]), ("--holes", "all"), ("--holes", "4 x 4 mm"), holes=(arc((90, 0), 2.0, 0, 360),)
    )


def _fork(path: Path) -> Made:
    drawing = new("R12", None)
    lines(drawing, fork() / 25.4)
    drawing.saveas(path)
    return Made(fork(), ("--unit", "in", "--seen", "above"), ("--unit",))


def _fork_from_below(path: Path) -> Made:
    drawing = new("R2018", 4)
    lines(drawing, moved(fork(), 0.0, (10, 20), mirror=True))
    drawing.saveas(path)
    return Made(fork(), ("--seen", "below"), ("--seen", "mirror image"))


def _layers(path: Path) -> Made:
    """The same layer set holds an older revision beside the piece; the right layer must be chosen."""
    drawing = new("R2013", 4)
    truth = tapered(drawing)
    drawing.layers.add("OLD")
    old = new("R2013", 4)
    tapered(old, by=(0.0, 80.0))
    for entity in old.modelspace():
        copy = entity.copy()
        copy.dxf.layer = "OLD"
        drawing.modelspace().add_foreign_entity(copy)
    drawing.saveas(path)
    return Made(truth, ("--layer", "0"), ("--view",))


def _paper(path: Path) -> Made:
    drawing = new("R2010", 4)
    truth = tapered(drawing)
    for entity in list(drawing.modelspace()):
        drawing.modelspace().move_to_layout(entity, drawing.layouts.get("Layout1"))
    drawing.saveas(path)
    return Made(truth, told=("paper space 'Layout1'",))


def _inches_called_mm(path: Path) -> Made:
    """The numbers are inches, the header says millimetres."""
    drawing = new("R2000", 4)
    truth = tapered(drawing, 25.4)
    drawing.saveas(path)
    return Made(truth, ("--unit", "in"), ("60 to 450 mm", "150 mm if it is drawn in inches"))


def _half_size(path: Path) -> Made:
    """Drawn 1:2; the dimensions say the true length."""
    drawing = new("R2000", 4)
    truth = tapered(drawing, 2.0)
    drawing.modelspace().add_linear_dim(base=(0, 20), p1=(0, 0), p2=(75, 0), override={"dimlfac": 2.0}).render()
    drawing.saveas(path)
    return Made(truth, ("--scale", "2"), ("2 times as much", "--scale 2"))


def _svg(path: Path) -> Made:
    """The spoon's formula as cubic curves would lose it: lines of 0.02 mm; in a turned group, with a unit."""
    truth = spoon(count=3001)
    turned = moved(truth, 0.0, (20, 40))
    data = "M" + "L".join(f"{x:.5f},{-y + 100:.5f}" for x, y in turned) + "Z"
    path.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="150mm" viewBox="0 0 200 150">'
        f'<g transform="rotate(25 100 75)"><path d="{data}"/></g><rect x="1" y="1" width="198" height="148"/></svg>'
    )
    return Made(truth, told=("turned by", "frames"))


def _svg_arcs(path: Path) -> Made:
    """Arcs and lines of the blank in an SVG without a unit, y down, in tenths of an inch by its scale."""
    t = blank()
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = (t[i] * [1, -1] / 25.4 for i in (0, 4000, 4001, -1))
    path.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 4"><g transform="matrix(1 0 0 1 1 2)">'
        f'<path d="M{ax:.9f} {ay:.9f}a{10 / 25.4:.9f},{10 / 25.4:.9f} 0 1 0 '
        f"{bx - ax:.9f},{by - ay:.9f}L{cx:.9f},{cy:.9f}"
        f'A{3.5 / 25.4:.9f} {3.5 / 25.4:.9f} 0 0 0 {dx:.9f} {dy:.9f}z"/>'
        f'<line x1="-1" y1="0" x2="7" y2="0" stroke-dasharray="3 1"/></g></svg>'
    )
    return Made(t, ("--unit", "in"), ("--unit", "150 mm if it is drawn in inches"))


def _open(path: Path) -> Made:
    """A spoon's outline without its end: nothing closes it."""
    drawing = new("R2000", 4)
    drawing.modelspace().add_lwpolyline(spoon(count=401)[:700].tolist())
    drawing.saveas(path)
    return Made(spoon(), refused=("closed outline",))


DRAWINGS: dict[str, Callable[[Path], Made]] = {
    "inches as cubic splines, R2013": _inch_splines,
    "feet, arcs and lines, R2000": _feet,
    "no unit, old polyline with bulges, R12": _old_polyline,
    "two views in a frame, R2018": _two_views,
    "frame, dimensions, hatch, splines of degree 2, R2007": _frame_and_dimensions,
    "along y, centre line on a layer that is off, R2010": _centre_line_off,
    "blocks in blocks, turned and mirrored, R2004": _in_blocks,
    "gaps of 0.015 mm": _small_gaps,
    "a gap of 0.3 mm": _wide_gap,
    "turned by 37 degrees, splines of degree 4": _turned(4, 37.0, "R2018"),
    "turned by 3 degrees, splines of degree 5": _turned(5, 3.0, "R2010"),
    "turned by 200 degrees, splines of degree 3": _turned(3, 200.0, "R2000"),
    "ellipses and a hole": _ellipses,
    "a fork in inches without a unit, R12": _fork,
    "a fork as seen from below, R2018": _fork_from_below,
    "an older revision on another layer": _layers,
    "in the paper space": _paper,
    "inches called millimetres": _inches_called_mm,
    "drawn to half its size": _half_size,
    "SVG in millimetres, turned": _svg,
    "SVG with arcs, no unit": _svg_arcs,
    "an outline that is open": _open,
}
