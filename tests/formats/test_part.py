"""part.toml: its keys, its zones, and its drawing as CSV."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from tests.formats.made import ONE_ZONE, PART, area, oval, refused_part, write_part
from vision.formats.part import read_part
from vision.records.inputs import RimRadius, Surface, Zone


def _from_leftmost(loop: list[tuple[float, float]]) -> list[tuple[float, float]]:
    first = loop.index(min(loop))
    return loop[first:] + loop[:first]


def test_a_part_says_what_it_is(tmp_path: Path) -> None:
    part = read_part(write_part(tmp_path))
    assert (part.part, part.name, part.edge_height_mm) == ("TS-135", "Teaspoon 135", 0.0)
    assert part.zones == (Zone("bowl", (0.0, 46.0), datum=True), Zone("handle", (46.0, 135.0), bend=True))
    assert part.surface == Surface((0.0, 44.0), 1.5)
    assert np.allclose(part.outline, _from_leftmost(oval()))
    assert part.holes == ()


def test_a_part_may_say_how_round_its_rim_is(tmp_path: Path) -> None:
    assert read_part(write_part(tmp_path)).rim is None
    keys = "rim_radius_mm = 0.3\nrim_radius_u_mm = 0.1\nedge_height_u_mm = 0.4\n\n[[zone]]"
    part = read_part(write_part(tmp_path, PART.replace("[[zone]]", keys, 1)))
    assert (part.rim, part.edge_height_u_mm) == (RimRadius(0.3, 0.1), 0.4)
    refused_part(
        write_part(tmp_path, PART.replace("[[zone]]", "rim_radius_mm = 0.3\n\n[[zone]]", 1)), "rim_radius_u_mm"
    )


def test_a_part_may_say_that_nobody_drew_its_outline(tmp_path: Path) -> None:
    assert read_part(write_part(tmp_path)).traced_from is None
    told = PART.replace("[[zone]]", 'traced_from = "MASTER, station ST-1"\n\n[[zone]]', 1)
    assert read_part(write_part(tmp_path, told)).traced_from == "MASTER, station ST-1"
    refused_part(write_part(tmp_path, PART.replace("[[zone]]", "traced_from = 3\n\n[[zone]]", 1)), "traced_from")


@pytest.mark.parametrize("rolled", [0, 1, 17, 60])
def test_an_outline_begins_at_its_leftmost_vertex_wherever_the_drawing_does(tmp_path: Path, rolled: int) -> None:
    path = write_part(tmp_path)
    points = [f"{x!r},{y!r}" for x, y in (*oval()[rolled:], *oval()[:rolled])]
    (tmp_path / "outline.csv").write_text("x_mm,y_mm\n" + "\n".join([*points, points[0]]) + "\n")
    assert np.array_equal(read_part(path).outline, _from_leftmost(oval()))


def test_an_outline_drawn_clockwise_is_turned(tmp_path: Path) -> None:
    path = write_part(tmp_path)
    points = [f"{x!r},{y!r}" for x, y in reversed(oval())]
    (tmp_path / "outline.csv").write_text("﻿x_mm,y_mm\r\n" + "\r\n".join([*points, points[0]]) + "\r\n")
    outline = read_part(path).outline
    assert area(outline) > 0.0
    assert len(outline) == len(points)


@settings(deadline=None)
@given(turn=st.integers(0, 3), mirrored=st.booleans(), start=st.integers(0, 199))
def test_neither_start_nor_direction_of_a_loop_matters(
    tmp_path_factory: pytest.TempPathFactory, turn: int, mirrored: bool, start: int
) -> None:
    folder = tmp_path_factory.mktemp("part")
    path = write_part(folder, ONE_ZONE.replace(".dxf", ".csv"))
    points = np.roll(np.array(oval()), start, axis=0) @ np.linalg.matrix_power(np.array([[0, 1], [-1, 0]]), turn)
    points = points[::-1] if mirrored else points
    rows = "\n".join(f"{x!r},{y!r}" for x, y in points.tolist())
    (folder / "outline.csv").write_text(f"x_mm,y_mm\n{rows}\n")
    assert area(read_part(path).outline) == pytest.approx(area(np.array(oval())))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ["line 1", "x_mm,y_mm"]),
        ("x,y\n0,0\n1,0\n1,1\n", ["line 1", "x_mm,y_mm", "x,y"]),
        ("x_mm,y_mm\n0,0\n1,zero\n1,1\n", ["line 3", "two numbers"]),
        ("x_mm,y_mm\n0,0\n1,0,0\n1,1\n", ["line 3", "two numbers"]),
        ("x_mm,y_mm\n0,0\n1,nan\n1,1\n", ["line 3", "finite"]),
        ("x_mm,y_mm\n0,0\ninf,0\n1,1\n", ["line 3", "finite"]),
        ("x_mm,y_mm\n0,0\n1,0\n", ["three points"]),
        ("x_mm,y_mm\n0,0\n50,0\n135,0\n60,0\n", ["don't cross themselves"]),
        ("x_mm,y_mm\n" + "\n".join(f"{x},{y}" for x, y in oval()[:-20]), ["a closed outline", "a gap of"]),
        ("x_mm,y_mm\n0,0\n135,20\n135,0\n0,20\n", ["don't cross themselves", "67.5 10"]),
    ],
)
def test_a_wrong_csv_drawing_is_told(tmp_path: Path, text: str, said: list[str]) -> None:
    path = write_part(tmp_path)
    (tmp_path / "outline.csv").write_text(text)
    refused_part(path, "outline.csv", *said)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", "format = 3", ["format 1 expected", "found 3"]),
        ('name = "Teaspoon 135"\n', "", ["name", "missing"]),
        ('"outline.csv"', '"outline.svg"', ["outline.svg", ".dxf or .csv"]),
        ('"outline.csv"', '"gone.csv"', ["gone.csv", "missing"]),
        ('"outline.csv"', '"gone.dxf"', ["gone.dxf", "missing"]),
        ("datum = true", "datum = 1", ["zone[1].datum", "true or false"]),
        ("datum = true", "datums = true", ["zone[1].datums", "unknown key"]),
        ("x_mm = [0.0, 46.0]", "x_mm = [46.0, 0.0]", ["zone[1].x_mm", "from below to"]),
        ("x_mm = [0.0, 46.0]", "x_mm = [nan, 46.0]", ["zone[1].x_mm[1]", "finite"]),
        ("x_mm = [0.0, 46.0]", "x_mm = [0.0]", ["zone[1].x_mm", "at least 2"]),
        ("x_mm = [0.0, 46.0]", "x_mm = [0.1, 46.0]", ["zone.x_mm", "whole x_mm = [0.000, 135.000]", "[0.100"]),
        ("x_mm = [0.0, 46.0]", "x_mm = [0.0, 45.0]", ["zone.x_mm", "gap of 1.000 mm between 'bowl' and 'handle'"]),
        ("x_mm = [0.0, 46.0]", "x_mm = [0.0, 47.5]", ["zone.x_mm", "overlap of 1.500 mm between 'bowl' and 'handle'"]),
        ("x_mm = [46.0, 135.0]", "x_mm = [46.0, 134.0]", ["zone.x_mm", "whole", "134.000"]),
        ('name = "handle"', 'name = "bowl"', ["zone.name", "'bowl' more than once"]),
        ("datum = true", "bend = true", ["zone.bend", "one bend zone", "bowl, handle"]),
        ("bend = true", "bend = true\ndatum = true", ["zone.bend", "no datum", "'handle'"]),
        ("x_mm = [0.0, 44.0]", "x_mm = [140.0, 144.0]", ["surface.x_mm", "on the outline's"]),
        ("inset_mm = 1.5", "inset_mm = -1.5", ["surface.inset_mm", "greater than or equal to 0"]),
        ("[surface]", "[face]", ["face", "unknown key"]),
        ("bend = true\n", 'bend = true\n[[zone]]\nname = "air"\nx_mm = [135.0, 150.0]\n', ["'air' beside it"]),
    ],
)
def test_a_wrong_key_is_named(tmp_path: Path, old: str, new: str, said: list[str]) -> None:
    assert old in PART
    refused_part(write_part(tmp_path, PART.replace(old, new)), *said)


@pytest.mark.parametrize("end", ["0.0008", "-0.0008", "-5.0"])
def test_zones_may_miss_the_outline_by_a_micrometre_or_reach_beyond(tmp_path: Path, end: str) -> None:
    assert len(read_part(write_part(tmp_path, PART.replace("x_mm = [0.0, 46.0]", f"x_mm = [{end}, 46.0]"))).zones) == 2
