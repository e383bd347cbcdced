"""Whole tray shots: the same seed gives the same bytes, every family renders, the command says what it did."""

import json

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from app.cli.commands import cli
from app.cli.render import command
from synthetic_images.outlines.families import FAMILIES, back_frame, scene
from synthetic_images.outlines.scene import piece_rings_mm, polygon
from synthetic_images.spoons import DESSERT_SPOON, PATTERNS, TEASPOON, outline
from synthetic_images.trays.shots import Order, render_shots
from vision.errors import Unusable
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station


def everything(folder):
    """Relative path to content of all files below a folder, the drawing apart: it carries its date."""
    files = [path for path in sorted(folder.rglob("*")) if path.is_file() and path.suffix != ".dxf"]
    return {path.relative_to(folder): path.read_bytes() for path in files}


def test_one_seed_gives_the_same_bytes_another_seed_others(tmp_path):
    for name, seed in (("a", 3), ("b", 3), ("c", 4)):
        list(render_shots(tmp_path / name, Order("plain", TEASPOON, 1, seed)))
    first, again = everything(tmp_path / "a"), everything(tmp_path / "b")
    assert first == again
    other = cv2.imread(str(tmp_path / "c" / "plain-4-00" / "back.png"), -1)
    assert not np.array_equal(other, cv2.imread(str(tmp_path / "a" / "plain-3-00" / "back.png"), -1))


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("part", PATTERNS)
def test_every_family_draws_a_tray_that_fills_its_frame(family, part):
    if family == "punched" and part == "TS-135":
        with pytest.raises(ValueError, match="TS-135 has none"):
            scene(family, PATTERNS[part], np.random.default_rng(0))
        return
    tray = scene(family, PATTERNS[part], np.random.default_rng(0), 2)
    assert sum(piece.state in ("whole", "touching") for piece in tray.pieces) == 2


def test_the_frame_shows_the_light_and_the_dark_that_were_asked_for():
    rng = np.random.default_rng(1)
    tray = scene("noisy", TEASPOON, rng, 1)
    frame = back_frame(tray, rng)
    assert frame.shape == tray.view.size_px[::-1]
    # Bright in the middle above the piece, at the corner 45 % less; dark inside the bowl.
    assert np.median(frame[:30, 1400:1600]) == pytest.approx(0.8 * 255 * 0.93, rel=0.08)
    assert np.median(frame[:30, :60]) == pytest.approx(0.8 * 255 * 0.55, rel=0.08)
    assert np.percentile(frame, 10) == pytest.approx(0.08 * 255, rel=0.15)


def test_the_command_renders_and_says_where(tmp_path):
    arguments = ["render", "--out", str(tmp_path / "out"), "--part", "DS-182", "--family", "punched", "--seed", "9"]
    done = CliRunner().invoke(cli, [*arguments, "--format", "tif"])
    assert done.exit_code == 0, done.output
    assert f"rendered {tmp_path / 'out' / 'punched-9-00'}" in done.output
    shot = read_shot(tmp_path / "out" / "punched-9-00")
    assert (shot.part, shot.station, shot.frames[0].path.name) == ("DS-182", "ST-1", "back.tif")
    assert len(read_part(tmp_path / "out" / "part.toml").holes) == 1
    assert read_station(tmp_path / "out" / "station.toml").homography[0, 0] == 0.05
    truth = json.loads((tmp_path / "out" / "punched-9-00" / "truth.json").read_text())
    assert len(truth["pieces"]) == 3


def test_a_part_without_a_hole_can_not_be_punched(tmp_path):
    with pytest.raises(Unusable, match="--part DS-182"):
        CliRunner().invoke(cli, ["render", "--out", str(tmp_path / "x"), "--family", "punched"], catch_exceptions=False)
    assert not (tmp_path / "x").exists()


def test_an_output_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    done = CliRunner().invoke(cli, ["render", "--out", str(tmp_path / "file")])
    assert done.exit_code == 2


def test_a_folder_below_a_file_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(Unusable, match="can be written"):
        CliRunner().invoke(cli, ["render", "--out", str(tmp_path / "file" / "x")], catch_exceptions=False)


def test_no_hole_of_a_crowded_tray_lies_outside_its_piece():
    for piece in scene("crowd", DESSERT_SPOON, np.random.default_rng(78), 3).pieces:
        outer, *holes = piece_rings_mm(piece, outline(piece.pattern))
        assert len(holes) == 1
        assert polygon([outer]).contains(polygon([holes[0]]))


def test_dessert_spoons_fit_their_crowded_tray():
    tray = scene("crowd", DESSERT_SPOON, np.random.default_rng(2), 3)
    assert [piece.state for piece in tray.pieces] == ["touching", "touching", "whole", "unlike", "cut_off"]


def test_the_command_offers_every_family_and_part():
    offered = {option.name: option.type for option in command.params}
    assert tuple(offered["family"].choices) == FAMILIES
    assert list(offered["part"].choices) == list(PATTERNS)
