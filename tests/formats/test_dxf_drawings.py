"""The drawing of a part as DXF: every kind of curve joined to closed loops, and what is no outline."""

import math
from collections.abc import Callable
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf import units
from ezdxf.document import Drawing
from ezdxf.layouts import Modelspace
from shapely import Polygon

from tests.formats.made import ONE_ZONE, area, refused_part
from vision.formats.part import read_part


def drawn(folder: Path, draw: Callable[[Modelspace], object], unit: int = units.MM) -> Path:
    """A part with a single zone whose drawing holds what `draw` puts into its model space."""
    drawing = new_drawing(unit)
    draw(drawing.modelspace())
    drawing.saveas(folder / "outline.dxf")
    path = folder / "part.toml"
    path.write_text(ONE_ZONE)
    return path


def new_drawing(unit: int = units.MM) -> Drawing:
    drawing = ezdxf.new()
    drawing.units = unit
    return drawing


def slot(space: Modelspace) -> None:
    """A slot 100 long and 20 wide of two lines and two arcs, out of order and turned every way."""
    space.add_line((90, 10), (10, 10))
    space.add_arc((10, 0), 10, 90, 270)
    space.add_line((90, -10), (10, -10))
    space.add_arc((90, 0), 10, 270, 90)


def test_lines_and_arcs_join_to_their_own_area_and_length(tmp_path: Path) -> None:
    outline = read_part(drawn(tmp_path, slot)).outline
    # The slot's area and length in closed form; chords lie inside the arcs by 0.0001 mm at most.
    assert area(outline) == pytest.approx(80 * 20 + math.pi * 100, abs=0.0001 * 2 * math.pi * 10)
    steps = np.hypot(*(np.roll(outline, -1, axis=0) - outline).T)
    assert steps.sum() == pytest.approx(160 + 2 * math.pi * 10, abs=0.01)
    assert steps.min() > 0.0


def test_chords_stay_near_every_kind_of_curve(tmp_path: Path) -> None:
    def half_ellipse_and_spline(space: Modelspace) -> None:
        space.add_ellipse((50, 0), (50, 0), 0.3, 0, math.pi)
        space.add_spline([], degree=3).control_points = [(0, 0), (10, -40), (90, -40), (100, 0)]
        space[-1].knots = [0, 0, 0, 0, 1, 1, 1, 1]

    outline = read_part(drawn(tmp_path, half_ellipse_and_spline)).outline
    half = math.pi * 50 * 15 / 2
    # The area under the lower curve, a cubic Bezier written out, by the trapezoid rule.
    t = np.linspace(0.0, 1.0, 200_001)
    x = 30 * t * (1 - t) ** 2 + 270 * t**2 * (1 - t) + 100 * t**3
    y = -120 * t * (1 - t) ** 2 - 120 * t**2 * (1 - t)
    below = float(-np.sum(0.5 * (y[1:] + y[:-1]) * np.diff(x)))
    assert area(outline) == pytest.approx(half + below, abs=0.0001 * 230)


def test_the_largest_loop_is_the_outline_and_the_others_are_holes(tmp_path: Path) -> None:
    def slot_with_holes(space: Modelspace) -> None:
        space.add_circle((90, 0), 2.5)
        space.add_lwpolyline([(20, -2, 0, 0, 1.0), (24, -2, 0, 0, 1.0)], close=True)  # bulges of 1: a circle
        slot(space)
        space.add_text("Teaspoon").set_placement((0, 30))

    part = read_part(drawn(tmp_path, slot_with_holes))
    assert sorted(area(hole) for hole in part.holes) == pytest.approx([math.pi * 4, math.pi * 6.25], abs=0.002)
    assert area(part.outline) > 1900


@pytest.mark.parametrize(
    "draw",
    [
        lambda space: space.add_polyline2d([(-10, 0, 1.0), (10, 0, 1.0)], format="xyb", close=True),
        lambda space: space.add_lwpolyline([(-10, 0, 1.0), (10, 0, 1.0)], format="xyb", close=True),
        lambda space: space.add_ellipse((0, 0), (10, 0), 1.0),
        lambda space: (space.add_ellipse((0, 0), (10, 0), 1.0, 0, 2), space.add_ellipse((0, 0), (10, 0), 1.0, 2, 0)),
        lambda space: (
            space.add_arc((0, 0), 10, 0, 180),
            # Drawn on the back of the sheet: angles and x are mirrored.
            space.add_arc((0, 0), 10, 180, 360, dxfattribs={"extrusion": (0, 0, -1)}),
        ),
        lambda space: (space.add_circle((0, 0), 10), space.add_line((3, 3), (3, 3))),
    ],
    ids=["old polyline", "polyline", "ellipse", "two halves", "mirrored arc", "a line of no length beside it"],
)
def test_a_circle_is_a_circle_however_it_is_drawn(tmp_path: Path, draw: Callable[[Modelspace], object]) -> None:
    outline = read_part(drawn(tmp_path, draw)).outline
    assert area(outline) == pytest.approx(100 * math.pi, abs=0.01)
    assert np.hypot(*outline.T) == pytest.approx(10.0, abs=1e-6)


def test_a_closed_spline_is_a_loop(tmp_path: Path) -> None:
    through = [(0, 0, 0), (40, -12, 0), (100, -6, 0), (100, 6, 0), (40, 12, 0), (0, 0, 0)]
    outline = read_part(drawn(tmp_path, lambda space: space.add_spline(through))).outline
    spline = new_drawing().modelspace().add_spline(through)
    assert area(outline) == pytest.approx(Polygon([(v.x, v.y) for v in spline.flattening(1e-5)]).area, rel=1e-5)


def test_blocks_are_taken_apart_however_deep_turned_and_mirrored(tmp_path: Path) -> None:
    drawing = new_drawing()
    inner = drawing.blocks.new("inner")
    slot(inner)  # type: ignore[arg-type]
    drawing.blocks.new("outer").add_blockref("inner", (5, 5), {"xscale": -1})
    drawing.modelspace().add_blockref("outer", (0, 0), {"rotation": 30})
    drawing.saveas(tmp_path / "outline.dxf")
    (tmp_path / "part.toml").write_text(ONE_ZONE)
    outline = read_part(tmp_path / "part.toml").outline
    assert area(outline) == pytest.approx(80 * 20 + math.pi * 100, abs=0.01)


def test_ezdxf_and_shapely_measure_the_same(tmp_path: Path) -> None:
    """Areas against those that shapely finds for ezdxf's own flattening of the same closed polyline with bulges."""
    drawing = new_drawing()
    spoon = [(0, 0, 0.4), (40, -8, 0.05), (130, -5, 0.9), (130, 5, 0.05), (40, 8, 0.4)]
    polyline = drawing.modelspace().add_lwpolyline(spoon, format="xyb", close=True)
    drawing.saveas(tmp_path / "outline.dxf")
    (tmp_path / "part.toml").write_text(ONE_ZONE)
    vertices = [
        (point.x, point.y)
        for curve in polyline.virtual_entities()
        for point in (curve.flattening(1e-5) if curve.dxftype() == "ARC" else (curve.dxf.start, curve.dxf.end))
    ]
    outline = read_part(tmp_path / "part.toml").outline
    assert area(outline) == pytest.approx(abs(Polygon(vertices).area), rel=1e-5)


@pytest.mark.parametrize(
    ("draw", "said"),
    [
        (lambda space: space.add_line((0, 0), (1, 0)), ["closed contours", "open end at (1.000, 0.000)"]),
        (
            lambda space: space.add_lwpolyline([(0, 0), (100, 0), (100, 20), (0, 20), (0, 0.5)]),
            ["closed contours", "0.500 mm from the next"],
        ),
        (
            lambda space: (slot(space), space.add_line((10, 10), (10, 30))),
            ["closed contours", "open end at (10.000, 30.000)"],
        ),
        (
            lambda space: (slot(space), space.add_line((10, 10), (90, -10))),
            ["closed contours", "more than two curves"],
        ),
        (lambda space: (slot(space), space.add_line((90, 10), (10, 10))), ["closed contours"]),
        (lambda space: (space.add_circle((0, 0), 9), space.add_circle((0, 0), 9)), ["holes inside the outline"]),
        (
            lambda space: space.add_lwpolyline([(0, 0), (100, 20), (100, 0), (0, 20)], close=True),
            ["don't cross themselves", "50 10"],
        ),
        (
            lambda space: (space.add_circle((0, 0), 10), space.add_circle((50, 0), 9)),
            ["one outline", "a second outline round (50.000, 0.000)"],
        ),
        (
            lambda space: (space.add_circle((0, 0), 10), space.add_circle((10, 0), 3)),
            ["holes inside the outline", "crosses it"],
        ),
        (
            lambda space: (space.add_circle((0, 0), 10), space.add_circle((0, 0), 5), space.add_circle((0, 0), 2)),
            ["holes apart from each other"],
        ),
        (lambda space: space.add_text("nothing"), ["a closed outline expected", "no curve"]),
        (lambda space: space.add_3dface([(0, 0), (1, 0), (1, 1)]), ["3DFACE", "on layer 0", "explode"]),
        (lambda space: space.add_circle((0, math.nan), 5), ["finite"]),
        (lambda space: space.add_lwpolyline([(0, 0), (1, 0), (1, math.inf)], close=True), ["finite"]),
    ],
)
def test_a_drawing_that_is_no_outline_is_told(
    tmp_path: Path, draw: Callable[[Modelspace], object], said: list[str]
) -> None:
    refused_part(drawn(tmp_path, draw), "outline.dxf", *said)


@pytest.mark.parametrize(("unit", "name"), [(units.IN, "inches"), (0, "no units"), (units.CM, "centimetres")])
def test_units_other_than_mm_are_refused(tmp_path: Path, unit: int, name: str) -> None:
    refused_part(drawn(tmp_path, slot, unit), "outline.dxf", "$INSUNITS", "millimetres", name)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.5, 0.9, 0.999])
def test_a_truncated_dxf_is_told(tmp_path: Path, share: float) -> None:
    path = drawn(tmp_path, slot)
    data = (tmp_path / "outline.dxf").read_bytes()
    (tmp_path / "outline.dxf").write_bytes(data[: int(share * len(data))])
    refused_part(path, "outline.dxf", "expected")


def test_something_else_named_dxf_is_told(tmp_path: Path) -> None:
    path = drawn(tmp_path, slot)
    (tmp_path / "outline.dxf").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20)
    refused_part(path, "outline.dxf", "a whole DXF drawing")
