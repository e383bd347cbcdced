"""The backlight's half angle from pictures of polished pins and balls, drawn by a dense sum over their bands."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.special import ndtr

from tests.shell import Run
from vision.errors import Unusable
from vision.formats.station import read_station
from vision.formats.station_update import update_station
from vision.outline.pin import PinDiameter, PinSeen, see_pin
from vision.outline.rim_light import reflectance
from vision.records import HalfAngle, Picture, Station

MM_PER_PX, BLUR_MM = 0.05, 0.043
STATION = Station("ST-1", np.diag([MM_PER_PX, -MM_PER_PX, 1.0]), None, None, 0.0005, 1e-5)


def picture(half_angle_deg: float, diameter_mm: float, rng: np.random.Generator, ball: bool = False) -> Picture:
    """A pin turned by 7 degrees, or a ball, before a light that fades to the right; noise of 12 000 electrons."""
    rows, columns = 700, 900
    y, x = np.mgrid[:rows, :columns] * MM_PER_PX
    turn = np.radians(7.0)
    along = (x - 22.3) * np.cos(turn) + (y - 17.6) * np.sin(turn)
    across = -(x - 22.3) * np.sin(turn) + (y - 17.6) * np.cos(turn)
    radius = diameter_mm / 2
    from_edge = np.hypot(along, across) - radius if ball else np.abs(across) - radius
    # A disc's edge reads blur^2 / (2 R) too far inside.
    outward = np.linspace(-3 * radius, 1.0, 2000)
    angle = (np.arange(400) + 0.5) / 400 * np.radians(half_angle_deg) / 2
    depth, area = radius * (1 - np.cos(angle)), radius * np.sin(angle) * np.radians(half_angle_deg) / 2 / 400
    share = ndtr((outward + (BLUR_MM**2 / (2 * radius) if ball else 0.0)) / BLUR_MM)
    for each, weight in zip(depth, area * reflectance(angle), strict=True):
        z = (outward + each) / BLUR_MM
        share += weight * np.exp(-0.5 * z * z) / (np.sqrt(2 * np.pi) * BLUR_MM)
    light = np.interp(from_edge, outward, share, left=0.0, right=1.0)
    if not ball:
        light = np.where(np.abs(along) < 12.0, light, 1.0)
    level = 210.0 * (1 - 0.05 * x / x.max())
    clean = 8.0 + (level - 8.0) * light
    return Picture(
        "back", None, np.clip(rng.normal(clean, 0.007 * np.sqrt(255 * clean)), 0, 255).astype(np.uint8), 255.0
    )


def seen(half_angle_deg: float, diameter_mm: float, ball: bool = False) -> PinSeen:
    rng = np.random.default_rng([round(half_angle_deg), round(10 * diameter_mm), ball])
    return see_pin(picture(half_angle_deg, diameter_mm, rng, ball), STATION, PinDiameter(diameter_mm, 0.0005))


@pytest.mark.parametrize(
    ("angle", "diameter", "ball"),
    [(10.0, 3.0, False), (20.0, 3.0, True), (40.0, 3.0, False), (60.0, 1.0, False), (75.0, 3.0, False)],
)
def test_a_pin_tells_the_half_angle(angle: float, diameter: float, ball: bool) -> None:
    found = seen(angle, diameter, ball).backlight
    assert found.half_deg == pytest.approx(angle, abs=min(3.0 * found.u_deg, 2.0))
    assert found.u_deg < 2.5


def test_a_collimated_light_is_told_as_narrow() -> None:
    found = seen(0.0, 3.0).backlight
    assert found.half_deg < 3.0 * found.u_deg + 2.0
    assert found.u_deg < 5.0


def test_what_is_no_pin_is_refused() -> None:
    rng = np.random.default_rng(5)
    frame = picture(20.0, 3.0, rng)
    with pytest.raises(Unusable, match="looks as thick"):
        see_pin(frame, STATION, PinDiameter(2.0, 0.0005))
    frame.pixels[50:110, 50:110] = 8
    with pytest.raises(Unusable, match="alone on the tray"):
        see_pin(frame, STATION, PinDiameter(3.0, 0.0005))


def test_the_result_is_what_a_station_takes() -> None:
    assert isinstance(seen(40.0, 2.0).backlight, HalfAngle)


def test_the_command_writes_what_a_pin_tells_into_a_station(tmp_path: Path, run: Run) -> None:
    update_station(STATION, tmp_path / "ST-1.toml", ())
    frame = picture(30.0, 3.0, np.random.default_rng(8))
    cv2.imwrite(str(tmp_path / "pin.png"), frame.pixels)
    words = ["calibrate", tmp_path / "pin.png", "--pin-diameter-mm", 3, "--out", tmp_path / "ST-1.toml"]
    code, said, _ = run(*words)
    assert code == 0
    told = read_station(tmp_path / "ST-1.toml")
    assert told.backlight is not None
    assert told.backlight.half_deg == pytest.approx(30.0, abs=2.0)
    assert (told.outline_mm, told.scale_relative) == (STATION.outline_mm, STATION.scale_relative)
    assert "half angle" in said
