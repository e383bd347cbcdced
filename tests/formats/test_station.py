"""station.toml: a plain scale or a plane, with or without lens, camera and sensor."""

from pathlib import Path

import numpy as np
import pytest

from tests.formats.made import STATION, one_line
from vision.errors import Unusable
from vision.formats.station import read_station
from vision.formats.station_update import update_station
from vision.records.inputs import HalfAngle, LightLimits

PLANE = """
[plane]
homography = [[0.05, 0.001, -0.1], [0.0005, -0.05, -0.9], [-1.5e-06, -2e-06, 1.0]]
"""
LENS = """
[lens]
camera_matrix = [[9200.0, 0.0, 1499.5], [0.0, 9200.0, 1049.5], [0.0, 0.0, 1.0]]
distortion = [-0.08, 0.02, 0.0, 0.0, 0.0]
"""
CAMERA = """
[camera]
height_mm = 620.0
foot_mm = [75.0, -52.5]
"""
SENSOR = """
[sensor]
full_scale = 4095
"""
LIGHT = """
[light]
level_min = 0.7
level_max = 0.95
full_max = 0.001
darkest_min = 0.6
blur_max_px = 1.4
"""
BACKLIGHT = """
[backlight]
half_angle_deg = 10.0
half_angle_u_deg = 1.0
"""
SCALE = "[scale]\nmm_per_px = 0.05\n"


def written(folder: Path, text: str) -> Path:
    path = folder / "station.toml"
    path.write_text(text)
    return path


def test_a_plain_scale_is_a_plane_with_y_up(tmp_path: Path) -> None:
    station = read_station(written(tmp_path, STATION))
    assert station.station == "ST-1"
    assert np.array_equal(station.homography, np.diag([0.05, -0.05, 1.0]))
    assert (station.lens, station.camera, station.full_scale) == (None, None, None)
    assert (station.outline_mm, station.scale_relative) == (0.010, 0.0002)


def test_everything_a_station_can_have(tmp_path: Path) -> None:
    station = read_station(
        written(tmp_path, STATION.replace(SCALE, PLANE) + LENS + CAMERA + SENSOR + LIGHT + BACKLIGHT)
    )
    assert station.homography[1].tolist() == [0.0005, -0.05, -0.9]
    assert station.lens is not None
    assert station.lens.camera_matrix[0].tolist() == [9200.0, 0.0, 1499.5]
    assert station.lens.distortion.tolist() == [-0.08, 0.02, 0.0, 0.0, 0.0]
    assert station.camera is not None
    assert (station.camera.height_mm, station.camera.foot_mm) == (620.0, (75.0, -52.5))
    assert station.full_scale == 4095.0
    assert station.light == LightLimits(0.7, 0.95, 0.001, 0.6, 1.4)
    assert station.backlight == HalfAngle(10.0, 1.0)


@pytest.mark.parametrize(
    "text", [STATION, STATION.replace(SCALE, PLANE) + LENS + CAMERA + SENSOR + LIGHT + BACKLIGHT], ids=["plain", "full"]
)
def test_what_is_written_reads_back_equal(tmp_path: Path, text: str) -> None:
    first = read_station(written(tmp_path, text))
    update_station(first, tmp_path / "again.toml", ())
    again = read_station(tmp_path / "again.toml")
    assert np.array_equal(first.homography, again.homography)
    assert (first.lens is None) == (again.lens is None)
    if first.lens and again.lens:
        assert np.array_equal(first.lens.camera_matrix, again.lens.camera_matrix)
        assert np.array_equal(first.lens.distortion, again.lens.distortion)
    assert first.camera == again.camera
    plain = ("station", "outline_mm", "scale_relative", "full_scale", "light", "backlight")
    assert [getattr(first, name) for name in plain] == [getattr(again, name) for name in plain]
    assert ("[scale]" in (tmp_path / "again.toml").read_text()) == ("[scale]" in text)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", "format = 9", ["format", "format 1 expected", "found 9"]),
        ("mm_per_px = 0.05", "mm_per_px = 0.0", ["scale.mm_per_px", "greater than or equal to 0.0001", "0.0"]),
        ("mm_per_px = 0.05", "mm_per_px = nan", ["scale.mm_per_px", "finite", "nan"]),
        ("mm_per_px = 0.05", "mm_per_px = inf", ["scale.mm_per_px", "finite", "inf"]),
        ("mm_per_px = 0.05", 'mm_per_px = "0.05"', ["scale.mm_per_px", "a number expected", "'0.05'"]),
        ("mm_per_px = 0.05", "mm_per_px = true", ["scale.mm_per_px", "a number expected", "True"]),
        ("mm_per_px = 0.05", "mm_per_pixel = 0.05", ["scale.mm_per_px", "missing"]),
        (SCALE, "", ["[scale] or [plane]", "neither"]),
        (SCALE, SCALE + PLANE, ["[scale] or [plane]", "both"]),
        (SCALE, "[plane]\nhomography = [[1.0, 0.0], [0.0, 1.0]]\n", ["plane.homography", "at least 3 items"]),
        (SCALE, PLANE.replace("-0.9]", "-0.9, 1.0]"), ["plane.homography[2]", "at most 3 items"]),
        (SCALE, PLANE.replace("1.0]]", "0.0]]"), ["plane.homography", "invertible"]),
        (SCALE, "[plane]\nhomography = [[1.0, 2.0, 3.0], [2.0, 4.0, 6.0], [0.0, 0.0, 1.0]]\n", ["invertible"]),
        ("outline_mm = 0.010", "outline_mm = -0.010", ["uncertainty.outline_mm", "greater than or equal to 0"]),
        ("scale_relative = 0.0002", "", ["uncertainty.scale_relative", "missing"]),
        ("scale_relative = 0.0002", "scale_relative = 0.0002\nscale = 1", ["uncertainty.scale", "unknown key"]),
        ("scale_relative = 0.0002", "scale_relative = 0.0002" + SENSOR.replace("4095", "0"), ["sensor.full_scale"]),
        ("scale_relative = 0.0002", "scale_relative = 0.0002" + SENSOR.replace("4095", "70000"), ["sensor.full_scale"]),
        (
            "scale_relative = 0.0002",
            "scale_relative = 0.0002" + LENS.replace(", 0.0, 0.0, 0.0]", ", 0.0]"),
            ["lens.distortion", "4, 5, 8, 12, 14 numbers"],
        ),
        (
            "scale_relative = 0.0002",
            "scale_relative = 0.0002" + LENS.replace("[[9200.0", "[[-9200.0"),
            ["lens.camera_matrix", "fx and fy above 0"],
        ),
        (
            "scale_relative = 0.0002",
            "scale_relative = 0.0002" + CAMERA.replace("620.0", "0.0"),
            ["camera.height_mm", "greater than or equal to 1"],
        ),
        (
            "scale_relative = 0.0002",
            "scale_relative = 0.0002\n[light]\nlevel_min = 70.0",
            ["light.level_min", "less than or equal to 1"],
        ),
        (
            "scale_relative = 0.0002",
            "scale_relative = 0.0002\n[light]\nlevel_min = 0.9\nlevel_max = 0.8",
            ["light", "level_min below level_max"],
        ),
        (
            "scale_relative = 0.0002",
            "scale_relative = 0.0002\n[backlight]\nhalf_angle_deg = 95.0\nhalf_angle_u_deg = 1.0",
            ["backlight.half_angle_deg", "less than 90"],
        ),
        (
            "scale_relative = 0.0002",
            "scale_relative = 0.0002\n[backlight]\nhalf_angle_deg = 9.0",
            ["backlight.half_angle_u_deg", "missing"],
        ),
        ("scale_relative = 0.0002", "scale_relative = 0.0002\n[light]\nblur_max = 1.0", ["light.blur_max", "unknown"]),
        ('station = "ST-1"', "station = ", ["a TOML file expected", "line 3"]),
        ('station = "ST-1"', 'station = "ST-1"\nstation = "ST-2"', ["a TOML file expected", "line 4"]),
    ],
)
def test_a_wrong_key_is_named(tmp_path: Path, old: str, new: str, said: list[str]) -> None:
    assert old in STATION
    with pytest.raises(Unusable) as caught:
        read_station(written(tmp_path, STATION.replace(old, new)))
    one_line(caught.value, "station.toml", *said)


def test_a_missing_station_is_told(tmp_path: Path) -> None:
    with pytest.raises(Unusable) as caught:
        read_station(tmp_path / "station.toml")
    one_line(caught.value, "station.toml", "this file is missing")


def test_the_day_of_calibration_is_read_and_written_back(tmp_path: Path) -> None:
    station = read_station(written(tmp_path, STATION + '[calibrated]\nat = "2026-11-02T06:00:00+00:00"\n'))
    assert (station.calibrated_at, station.valid_days) == ("2026-11-02T06:00:00+00:00", 365.0)
    update_station(station, tmp_path / "again.toml", ())
    assert read_station(tmp_path / "again.toml").calibrated_at == station.calibrated_at


def test_a_day_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Unusable) as caught:
        read_station(written(tmp_path, STATION + '[calibrated]\nat = "yesterday"\n'))
    one_line(caught.value, "station.toml", "calibrated.at", "ISO 8601")
