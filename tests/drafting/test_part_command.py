"""`brightbowl part` beside its drawings: what is written, a master piece traced, sizes that can't be right."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from app.cli.part import command as part_command
from synthetic_images.spoons import TEASPOON, outline
from synthetic_images.trays.shots import Order, render_shots
from tests.drafting.drawings import DRAWINGS, blank, lines, new, tapered
from tests.drafting.test_drawings import Ring, call, laid_onto
from vision.errors import Unusable
from vision.formats.part import read_part


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A tray of three teaspoons, with their drawing and the station that took it."""
    folder = tmp_path_factory.mktemp("rendered")
    list(render_shots(folder, Order("plain", TEASPOON, 1, 2611)))
    return folder


def test_each_line_of_part_toml_says_what_it_is_for(tmp_path: Path) -> None:
    tapered_drawing = new("R2010", 4)
    tapered(tapered_drawing)
    tapered_drawing.saveas(tmp_path / "d.dxf")
    assert call(tmp_path / "d.dxf", tmp_path / "out", "--name", 'Blank "A"')[0] == 0
    text = (tmp_path / "out" / "part.toml").read_text()
    assert tomllib.loads(text)["name"] == 'Blank "A"'
    assert [line for line in text.splitlines() if line and "#" not in line] == []
    assert (tmp_path / "out" / "part-sheet.svg").read_text().count("<path") >= 1
    code, said = call(tmp_path / "d.dxf", tmp_path / "out")
    assert code == 2
    assert "nothing is overwritten" in said


def test_zones_follow_from_the_outline_s_own_widths(rendered: Path, tmp_path: Path) -> None:
    assert call(rendered / "outline.dxf", tmp_path / "out")[0] == 0
    bowl, neck, handle = read_part(tmp_path / "out" / "part.toml").zones
    assert (bowl.name, neck.name, handle.name) == ("bowl", "neck", "handle")
    assert bowl.datum
    assert handle.bend
    # The pattern's own zones, chosen by hand: 46 and 58.
    assert bowl.x_mm[1] == pytest.approx(46.0, abs=3.0)
    assert neck.x_mm[1] == pytest.approx(58.0, abs=5.0)


def test_a_master_piece_is_traced_and_told_as_such(rendered: Path, tmp_path: Path) -> None:
    (shot,) = rendered.glob("plain-*")
    code, said = call(shot, tmp_path / "out", "--station", str(rendered / "station.toml"))
    assert code == 2
    assert "--view" in said  # three pieces lie there
    options = ("--station", str(rendered / "station.toml"), "--view", "3", "--seen", "above")
    code, said = call(shot, tmp_path / "out", *options)
    assert code == 0, said
    assert "traced from the photograph" in (tmp_path / "out" / "part.toml").read_text()
    part = read_part(tmp_path / "out" / "part.toml")
    assert part.traced_from == f"{shot.name}, station ST-1"
    truth, _ = laid_onto(outline(TEASPOON).points_mm[::10], part.outline)
    # Pieces carry rendered flaws of some tenths: the bulk of the outline is the pattern's.
    assert np.median(Ring(part.outline).off_mm(truth)) < 0.05


def test_a_drawing_of_another_size_than_the_camera_sees_is_refused(rendered: Path, tmp_path: Path) -> None:
    (shot,) = rendered.glob("plain-*")
    against = ("--against", str(shot), "--station", str(rendered / "station.toml"))
    drawing = new("R2010", 4)
    small = blank(length=135.0 / 1.4)
    lines(drawing, small[::200])
    drawing.saveas(tmp_path / "small.dxf")
    code, said = call(tmp_path / "small.dxf", tmp_path / "small", *against)
    assert code == 2
    assert "1.4 times as large as drawn" in said
    assert "another station?" in said
    assert not (tmp_path / "small").exists()
    assert call(rendered / "outline.dxf", tmp_path / "right", *against)[0] == 0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("<svg", "a whole SVG"),
        ('<!DOCTYPE svg [<!ENTITY a "b">]><svg/>', "without entities"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0 L1e999 0 0 5z"/></svg>', "expected"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0 L nonsense"/></svg>', "path data"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><g id="a"><use href="#a"/></g></svg>', "none in itself"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><g transform="spin(3)"/></svg>', "matrix, translate"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><text>Spoon</text></svg>', "curves expected"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><circle r="1cm"/></svg>', "plain number"),
    ],
)
def test_an_svg_that_is_wrong_is_refused_in_a_line(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "d.svg").write_text(text)
    code, told = call(tmp_path / "d.svg", tmp_path / "out")
    assert code == 2
    assert said in told
    assert "\n" not in told


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--layer", "nowhere"), "a layer that holds a curve"),
        (("--view", "7"), "a view of 1 to 2"),
        (("--view", "1", "--holes", "3"), "numbers of 1 to 0"),
        (("--view", "1", "--unit", "furlong"), "one of mm"),
        (("--layout", "Nowhere"), "one of Layout1"),
    ],
)
def test_a_choice_that_is_not_there_is_told(tmp_path: Path, options: tuple[str, ...], said: str) -> None:
    DRAWINGS["two views in a frame, R2018"](tmp_path / "d.dxf")
    code, told = call(tmp_path / "d.dxf", tmp_path / "out", *options)
    assert code == 2
    assert said in told


def test_a_side_view_is_not_taken_where_the_outline_does_not_close(tmp_path: Path) -> None:
    drawing = new("R2000", 4)
    tapered(drawing, skip=0.5)
    drawing.modelspace().add_lwpolyline([(0, -60), (150, -60), (150, -62), (75, -64), (0, -62)], close=True)
    drawing.saveas(tmp_path / "d.dxf")
    code, told = call(tmp_path / "d.dxf", tmp_path / "out")
    assert code == 2
    assert "does not close" in told


@pytest.mark.parametrize("words", ["--scale nan", "--scale inf", "--scale 0", "--turn-deg nan", "--gap-mm nan"])
def test_a_number_that_is_none_is_refused_in_a_line(tmp_path: Path, words: str) -> None:
    ring = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    rows = [f"{65.0 * np.cos(t)},{20.0 * np.sin(t)}" for t in ring]
    (tmp_path / "oval.csv").write_text("\n".join(["x_mm,y_mm", *rows]))
    asked = [str(tmp_path / "oval.csv"), "--part", "X", "--out", str(tmp_path / "x"), *words.split()]
    ran = CliRunner().invoke(part_command, asked)
    assert isinstance(ran.exception, SystemExit | Unusable)
    assert not (tmp_path / "x").exists()
