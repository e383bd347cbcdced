"""Drawings that are broken, endless or enormous: refused in a line, or read whole; never a traceback, never a hang."""

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from ezdxf.document import Drawing

from tests.formats.made import ONE_ZONE, area, refused_part
from tests.formats.test_dxf_drawings import new_drawing, slot
from vision.formats import dxf_taking
from vision.formats.part import read_part

SLOT_MM2 = 80 * 20 + math.pi * 100


def part_of(folder: Path, drawing: Drawing) -> Path:
    drawing.saveas(folder / "outline.dxf")
    (folder / "part.toml").write_text(ONE_ZONE)
    return folder / "part.toml"


def in_itself(drawing: Drawing) -> None:
    drawing.blocks.new("A").add_blockref("B", (1, 0))
    drawing.blocks.new("B").add_blockref("A", (1, 0))
    drawing.modelspace().add_blockref("A", (0, 0))


def growing(drawing: Drawing) -> None:
    """Twelve blocks, each of ten of the next: a million million circles."""
    slot(drawing.blocks.new("0-12"))  # type: ignore[arg-type]
    for depth in range(12):
        block = drawing.blocks.new(f"0-{depth}")
        for place in range(10):
            block.add_blockref(f"0-{depth + 1}", (place, 0))
    drawing.modelspace().add_blockref("0-0", (0, 0))


def array(rows: int, columns: int) -> Callable[[Drawing], object]:
    def draw(drawing: Drawing) -> None:
        drawing.blocks.new("hole").add_circle((0, 0), 1)
        slot(drawing.modelspace())
        many = {"row_count": rows, "column_count": columns, "row_spacing": 4, "column_spacing": 4}
        drawing.modelspace().add_blockref("hole", (30, -4), many)

    return draw


def spline(**attributes: object) -> Callable[[Drawing], object]:
    def draw(drawing: Drawing) -> None:
        entity = drawing.modelspace().add_spline()
        for name, value in attributes.items():
            setattr(entity if name != "degree" else entity.dxf, name, value)

    return draw


@pytest.mark.parametrize(
    ("draw", "said"),
    [
        (in_itself, ["nested", "INSERT"]),
        (growing, ["entities"]),
        (array(1000, 1000), ["array", "1000000"]),
        (array(30_000, 30_000), ["array"]),
        (lambda drawing: drawing.modelspace().add_blockref("nowhere", (0, 0)), ["block", "nowhere"]),
        (spline(), ["SPLINE", "points"]),
        (spline(control_points=[(0, 0), (1, 1)], degree=3), ["SPLINE", "2 control points"]),
        (spline(control_points=[(0, 0)] * 4, degree=3, knots=[0, 0, 1]), ["expected"]),
        (spline(control_points=[(0, 0), (1, math.nan), (2, 0), (3, 0)], degree=3), ["finite"]),
        (spline(fit_points=[(0, 0)]), ["SPLINE"]),
        (lambda drawing: drawing.modelspace().add_lwpolyline([]), ["expected"]),
        (lambda drawing: drawing.modelspace().add_lwpolyline([(1, 1)], close=True), ["expected"]),
        (lambda drawing: drawing.modelspace().add_polyline2d([]), ["POLYLINE", "two points"]),
        (lambda drawing: drawing.modelspace().add_circle((0, 0), 1e12), ["CIRCLE", "millimetres", "1e+12"]),
        (lambda drawing: drawing.modelspace().add_circle((0, 0), 0.0), ["CIRCLE", "radius"]),
        (lambda drawing: drawing.modelspace().add_circle((0, 0), -3.0), ["CIRCLE", "radius"]),
        (lambda drawing: drawing.modelspace().add_circle((1e9, 0), 10), ["CIRCLE", "millimetres"]),
        (lambda drawing: drawing.modelspace().add_ellipse((0, 0), (1e7, 0), 0.5), ["ELLIPSE"]),
        (lambda drawing: drawing.modelspace().add_lwpolyline([(0, 0, 0, 0, 1e300), (1, 0)], close=True), ["expected"]),
        (lambda drawing: drawing.modelspace().add_line((0, 0), (1e12, 0)), ["LINE", "millimetres"]),
        (lambda drawing: drawing.modelspace().add_circle((0, 0), 5000), ["0.1 to 2000 mm"]),
        (lambda drawing: drawing.modelspace().add_circle((0, 0), 0.01), ["0.1 to 2000 mm"]),
        (lambda drawing: [drawing.modelspace().add_circle((x, 0), 1) for x in range(0, 900, 3)], ["200 loops"]),
    ],
)
def test_a_drawing_without_end_or_measure_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, draw: Callable[[Drawing], object], said: list[str]
) -> None:
    monkeypatch.setattr(dxf_taking, "MOST_ENTITIES", 1000)  # a test's own time; the bound itself takes seconds to reach
    drawing = new_drawing()
    draw(drawing)
    refused_part(part_of(tmp_path, drawing), "outline.dxf", *said)


def test_every_instance_of_an_array_is_read(tmp_path: Path) -> None:
    drawing = new_drawing()
    array(3, 5)(drawing)
    part = read_part(part_of(tmp_path, drawing))
    assert len(part.holes) == 15
    centres = np.array([hole.mean(axis=0) for hole in part.holes])
    assert sorted({round(float(x), 3) for x in centres[:, 0]}) == [30, 34, 38, 42, 46]
    assert sorted({round(float(y), 3) for y in centres[:, 1]}) == [-4, 0, 4]


@pytest.mark.parametrize("plain", [True, False])
@pytest.mark.parametrize("how", ["freeze", "off"])
def test_a_layer_that_is_not_shown_is_left_out_and_said(tmp_path: Path, how: str, plain: bool) -> None:
    drawing = new_drawing()
    layer = drawing.layers.add("Aids")
    getattr(layer, how)()
    slot(drawing.modelspace())
    if plain:
        drawing.modelspace().add_line((0, 0), (500, 500), {"layer": "Aids"})
    else:
        drawing.modelspace().add_circle((50, 0), 3, {"layer": "AIDS"})
    part = read_part(part_of(tmp_path, drawing))
    assert area(part.outline) == pytest.approx(SLOT_MM2, abs=0.01)
    assert part.holes == ()
    assert part.left_out == ("aids",)


def test_a_block_on_a_layer_that_is_off_shows_what_lies_on_another(tmp_path: Path) -> None:
    drawing = new_drawing()
    drawing.layers.add("Aids").off()
    drawing.layers.add("Outline")
    block = drawing.blocks.new("piece")
    block.add_circle((0, 0), 20, {"layer": "Outline"})
    block.add_circle((0, 0), 5, {"layer": "0"})
    drawing.modelspace().add_blockref("piece", (0, 0), {"layer": "Aids"})
    part = read_part(part_of(tmp_path, drawing))
    assert (len(part.holes), part.left_out) == (0, ("aids",))
    drawing.layers.get("Aids").freeze()
    refused_part(part_of(tmp_path, drawing), "aids", "frozen or off")


@pytest.mark.parametrize("short_mm", [0.0008, 0.0003, 1e-5])
def test_edges_shorter_than_the_gap_join_like_any_other(tmp_path: Path, short_mm: float) -> None:
    """A square whose corners are cut by edges shorter than the tolerance within which ends meet, its ends rounded."""
    half, s = 20.0, short_mm
    corners = [(-half, -half + s), (-half + s, -half), (half - s, -half), (half, -half + s)]
    corners += [(half, half - s), (half - s, half), (-half + s, half), (-half, half - s)]
    drawing = new_drawing()
    for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True):
        drawing.modelspace().add_line((round(x0, 5), round(y0, 5)), (round(x1, 5), round(y1, 5)))
    part = read_part(part_of(tmp_path, drawing))
    assert area(part.outline) == pytest.approx(1600.0, abs=0.01)
    assert len(part.outline) >= 4


def test_ends_a_little_apart_meet_across_an_edge_that_is_shorter_still(tmp_path: Path) -> None:
    drawing, g = new_drawing(), 0.0003
    space = drawing.modelspace()
    space.add_lwpolyline([(20, 20), (-20, 20), (-20, -20), (20, -20), (20, -g)])
    space.add_line((20, 0), (20, 0.0005))
    space.add_line((20, 0.0005 + g), (20, 20))
    assert area(read_part(part_of(tmp_path, drawing)).outline) == pytest.approx(1600.0, abs=0.1)


def many_lines(count: int) -> str:
    """A round outline of so many lines, as a CAD program's older format has it."""
    angles = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    points = [f"{60 * math.cos(a):.6f} {20 * math.sin(a):.6f}".split() for a in angles]
    out = ["0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nENTITIES"]
    for (x0, y0), (x1, y1) in zip(points, points[1:] + points[:1], strict=True):
        out.append(f"0\nLINE\n8\n0\n10\n{x0}\n20\n{y0}\n11\n{x1}\n21\n{y1}")
    return "\n".join([*out, "0\nENDSEC\n0\nEOF\n"])


def test_many_lines_are_read_as_a_few_are(tmp_path: Path) -> None:
    (tmp_path / "outline.dxf").write_text(many_lines(5000))
    (tmp_path / "part.toml").write_text(ONE_ZONE)
    outline = read_part(tmp_path / "part.toml").outline
    assert len(outline) == 5000
    assert area(outline) == pytest.approx(math.pi * 1200, rel=1e-5)


def test_plain_lines_and_those_of_the_library_are_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawing = new_drawing()
    slot(drawing.modelspace())
    path = part_of(tmp_path, drawing)
    ours = read_part(path).outline
    monkeypatch.setattr("vision.formats.plain_lines._places", lambda _said: None)
    assert np.array_equal(read_part(path).outline, ours)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("$INSUNITS\n 70\n4", "$INSUNITS\n 70\nmillimetres"),
        ("$INSUNITS\n 70\n4", "$INSUNITS\n 70\n99999999999999999999999"),
        ("$INSUNITS", "$INSUN\x00ITS"),
        ("AC1", "ZZ9"),
        ("HEADER", "HEADER\n  0\nSECTION"),
        ("  2\nTABLES", "  2\nTABL"),
        ("  0\nENDSEC", "  0\nENDS"),
        ("  0\nTABLE", "xx\nTABLE"),
    ],
)
def test_a_broken_header_is_told_or_changes_nothing(tmp_path: Path, old: str, new: str) -> None:
    drawing = new_drawing()
    slot(drawing.modelspace())
    path = part_of(tmp_path, drawing)
    text = (tmp_path / "outline.dxf").read_text()
    assert old in text
    (tmp_path / "outline.dxf").write_text(text.replace(old, new, 1))
    try:
        assert area(read_part(path).outline) == pytest.approx(SLOT_MM2, abs=0.01)
    except AssertionError:
        raise
    except Exception:  # noqa: BLE001 - told, as any refused part is
        refused_part(path, "outline.dxf", "expected")


@pytest.mark.parametrize("kind", ["ARc", "0"])
def test_an_entity_of_a_kind_that_nobody_knows_is_named(tmp_path: Path, kind: str) -> None:
    drawing = new_drawing()
    slot(drawing.modelspace())
    path = part_of(tmp_path, drawing)
    text = (tmp_path / "outline.dxf").read_text()
    (tmp_path / "outline.dxf").write_text(text.replace("\nARC\n", f"\n{kind}\n", 1))
    refused_part(path, "outline.dxf", kind, "expected")
