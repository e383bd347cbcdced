"""Every file that the renderer writes can be read by others, and says what was rendered."""

import json
import tomllib

import cv2
import ezdxf
import numpy as np
import pytest
import shapely
import tifffile
from ezdxf import path, units

from synthetic_images.outlines.view import lens_view, perspective_view, plain_view
from synthetic_images.sensor import Sensor
from synthetic_images.spoons import DESSERT_SPOON, PATTERNS, TEASPOON, outline
from synthetic_images.trays.write import FrameImage, ShotName, write_drawing, write_part, write_shot, write_station
from vision.errors import Unusable

NAME = ShotName("T-1", "L-1", "TS-135", "ST-1", process={"die": "D4", "strokes": 182400})


@pytest.mark.parametrize("pattern", PATTERNS.values(), ids=PATTERNS.keys())
def test_the_drawing_is_the_formula_within_a_ten_thousandth(tmp_path, pattern):
    write_drawing(tmp_path / "outline.dxf", pattern)
    drawing = ezdxf.readfile(tmp_path / "outline.dxf")
    assert drawing.units == units.MM
    splines = drawing.modelspace().query("SPLINE")
    halves = [np.array([(v.x, v.y) for v in path.make_path(spline).flattening(1e-5)]) for spline in splines]
    ring = shapely.LinearRing(np.vstack((halves[0], halves[1][1:-1])))
    points = shapely.points(outline(pattern, 0.5).points_mm)
    # 1e-5 for the flattening, the rest for the spline.
    assert shapely.distance(points, ring).max() < 1.1e-4
    circles = [
        (circle.dxf.center.x, circle.dxf.center.y, circle.dxf.radius) for circle in drawing.modelspace().query("CIRCLE")
    ]
    assert circles == [(*hole.center_mm, hole.diameter_mm / 2.0) for hole in pattern.holes]


def test_the_part_names_its_zones_and_its_drawing(tmp_path):
    part = tomllib.loads(write_part(tmp_path, DESSERT_SPOON, 6.0).read_text())
    assert (part["format"], part["part"], part["edge_height_mm"]) == (1, "DS-182", 6.0)
    assert (tmp_path / part["nominal"]).exists()
    assert [zone["name"] for zone in part["zone"]] == ["bowl", "neck", "handle"]
    assert part["zone"][0]["datum"] is True
    assert part["zone"][2]["bend"] is True


def test_the_station_says_how_the_view_was_made(tmp_path):
    plain = tomllib.loads(write_station(tmp_path / "a", "ST-1", plain_view((9, 9), 0.05), Sensor()).read_text())
    assert plain["scale"] == {"mm_per_px": 0.05}
    assert plain.keys().isdisjoint({"plane", "lens", "camera", "sensor"})
    view = lens_view((300, 200), 0.05, (0.5, 0.2), np.array([-0.08, 0.02, 0.0, 0.0, 0.0]))
    lens = tomllib.loads(write_station(tmp_path / "b", "ST-1", view, Sensor(top=4095)).read_text())
    np.testing.assert_array_equal(lens["plane"]["homography"], view.homography)
    np.testing.assert_array_equal(lens["lens"]["camera_matrix"], view.camera_matrix)
    assert lens["sensor"] == {"full_scale": 4095}
    high = tomllib.loads(
        write_station(tmp_path / "c", "ST-1", perspective_view((300, 200), 0.05, 620.0), Sensor()).read_text()
    )
    assert high["camera"] == {"height_mm": 620.0, "foot_mm": [7.5, -5.0]}


@pytest.mark.parametrize(
    ("file", "read"), [("back.png", lambda p: cv2.imread(str(p), -1)), ("back.tif", tifffile.imread)]
)
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_frames_come_back_bit_for_bit(tmp_path, file, read, kind):
    pixels = np.random.default_rng(0).integers(0, np.iinfo(kind).max, (20, 30)).astype(kind)
    write_shot(tmp_path / "T-1", NAME, [FrameImage(file, "back", pixels)], {})
    back = read(tmp_path / "T-1" / file)
    assert back.dtype == kind
    np.testing.assert_array_equal(back, pixels)


def test_the_shot_lists_its_frames_and_their_lights(tmp_path):
    pixels = np.zeros((4, 5), np.uint8)
    frames = [FrameImage("back.png", "back", pixels), FrameImage("low-090.png", "low", pixels, 90.0)]
    shot = json.loads((write_shot(tmp_path / "T-1", NAME, frames, {"tray": "T-1"}) / "shot.json").read_text())
    assert shot["frames"] == [
        {"file": "back.png", "light": "back"},
        {"file": "low-090.png", "light": "low", "azimuth_deg": 90.0},
    ]
    assert shot["process"] == {"die": "D4", "strokes": 182400}
    assert json.loads((tmp_path / "T-1" / "truth.json").read_text()) == {"tray": "T-1"}


def test_a_frame_that_can_not_be_written_is_named(tmp_path):
    (tmp_path / "T-1" / "back.png").mkdir(parents=True)
    with pytest.raises(Unusable, match=r"back\.png.*writable"):
        write_shot(tmp_path / "T-1", NAME, [FrameImage("back.png", "back", np.zeros((4, 5), np.uint8))], {})
    assert not (tmp_path / "T-1" / "shot.json").exists()


def test_not_a_number_never_reaches_a_file(tmp_path):
    with pytest.raises(ValueError, match="JSON compliant"):
        write_shot(tmp_path / "T-1", NAME, [], {"value": float("nan")})


def test_teaspoon_and_dessert_spoon_have_the_agreed_names():
    assert (TEASPOON.length_mm, DESSERT_SPOON.length_mm) == (135.0, 182.0)
    assert list(PATTERNS) == ["TS-135", "DS-182"]
