"""`brightbowl sensor`: pictures in, what they tell of sensor, edge and lamp out, and limits on light into a station."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from synthetic_images.sensor import Sensor
from synthetic_images.targets import render_flat_pair, render_slanted_edge
from tests.calibrate.test_light_and_sensor import lamp_frame
from tests.formats.made import STATION
from tests.shell import Run
from vision.formats.station import read_station


def test_the_command_writes_what_it_measured(run: Run, tmp_path: Path) -> None:
    sensor = Sensor(10_000.0, 12.0, 4095)
    rng = np.random.default_rng(51)
    words: list[object] = []
    for i, level in enumerate((0.1, 0.3, 0.5)):
        files = [tmp_path / f"flat-{i}-{side}.png" for side in "ab"]
        for path, frame in zip(files, render_flat_pair(level, (128, 128), sensor, rng), strict=True):
            cv2.imwrite(str(path), frame)
        words += ["--flat", *files]
    cv2.imwrite(str(tmp_path / "edge.png"), render_slanted_edge((80, 80), 5.0, 0.8, sensor, rng))
    cv2.imwrite(str(tmp_path / "lamp.png"), lamp_frame())
    words += ["--exposures", "1,3,5", "--edge", tmp_path / "edge.png", "--lamp", tmp_path / "lamp.png"]
    words += ["--lamp-then", tmp_path / "lamp.png", "--full-scale", 4095, "--out", tmp_path / "sensor.json"]
    code, said, _ = run("sensor", *words)
    assert code == 0
    assert "note: to know the read noise better, add eight pairs or more" in said
    table = json.loads((tmp_path / "sensor.json").read_text())
    assert table["sensor"]["gain_dn_per_e"] == pytest.approx(0.4095, rel=0.05)
    assert table["sensor"]["saturation_reached"] is False
    assert table["edge"]["blur_px"] == pytest.approx(np.sqrt(0.64 + 1 / 12), rel=0.02)
    assert table["lamp"]["level_change"] == 0.0
    assert table["light_limits"]["blur_max_px"] == pytest.approx(1.25 * table["edge"]["blur_px"], abs=0.01)
    assert table["light_limits"]["level_min"] < table["lamp"]["level"] < table["light_limits"]["level_max"]


@pytest.mark.parametrize("words", [(), ("--edge", "absent.png"), ("--flat", "a.png", "b.png", "--exposures", "1,2")])
def test_the_command_refuses_in_one_line(run: Run, tmp_path: Path, words: tuple[str, ...]) -> None:
    code, _, errors = run("sensor", *words, "--out", tmp_path / "sensor.json")
    assert (code, errors.count("\n")) == (2, 1)
    assert not (tmp_path / "sensor.json").exists()


STATION_WITH_MORE = (
    STATION
    + """
[sensor]
full_scale = 4095  # of the new camera

[light]  # of the new lamp
level_min = 0.5
blur_max_px = 9.0  # by hand
"""
)


def test_limits_on_the_light_go_into_the_station_and_the_rest_stays(run: Run, tmp_path: Path) -> None:
    station = tmp_path / "ST-1.toml"
    station.write_text(STATION_WITH_MORE)
    cv2.imwrite(str(tmp_path / "lamp.png"), lamp_frame())
    words = ("--lamp", tmp_path / "lamp.png", "--full-scale", 4095, "--out", tmp_path / "sensor.json")
    code, said, _ = run("sensor", *words, "--write", station)
    assert code == 0
    limits = json.loads((tmp_path / "sensor.json").read_text())["light_limits"]
    light = read_station(station).light
    assert (light.level_min, light.darkest_min, light.blur_max_px) == (limits["level_min"], limits["darkest_min"], 9.0)
    assert f"[light] level_min = {light.level_min} (before: 0.5)" in said
    assert f"[light] darkest_min = {light.darkest_min} (before: none)" in said
    for kept in (
        "full_scale = 4095  # of the new camera",
        "[light]  # of the new lamp",
        "blur_max_px = 9.0  # by hand",
    ):
        assert kept in station.read_text()
    (old,) = tmp_path.glob("ST-1.toml.*")
    assert old.read_text() == STATION_WITH_MORE


def test_a_lamp_with_something_on_the_tray_is_refused(run: Run, tmp_path: Path) -> None:
    pixels = lamp_frame()
    pixels[100:140, 150:300] = 40
    cv2.imwrite(str(tmp_path / "lamp.png"), pixels)
    code, _, errors = run("sensor", "--lamp", tmp_path / "lamp.png", "--out", tmp_path / "sensor.json")
    assert code == 2
    assert "lamp.png: the backlit tray with nothing on it expected" in errors
    assert not (tmp_path / "sensor.json").exists()
