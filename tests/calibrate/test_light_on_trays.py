"""A station's own limits on light and sharpness, held against every tray."""

import re
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest

from synthetic_images.spoons import TEASPOON
from synthetic_images.trays.shots import Order, render_shots
from vision.backlight.lamp import lamp_state
from vision.backlight.limits import proposed_limits
from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station
from vision.pipeline import measure_tray
from vision.records.inputs import Part, Station, TrayPictures
from vision.records.measured import MeasuredTray

Tray = tuple[TrayPictures, Part, Station]


@pytest.fixture(scope="module")
def tray(tmp_path_factory: pytest.TempPathFactory) -> Tray:
    """A rendered tray and its station with the limits that its own light proposes."""
    folder = tmp_path_factory.mktemp("tray")
    list(render_shots(folder, Order("plain", TEASPOON, 1, 5)))
    station = read_station(folder / "station.toml")
    pictures = read_frames(read_shot(folder / "plain-5-00"), station)
    lamp = lamp_state(pictures.back.pixels, pictures.back.full_scale, "back.png")
    # The optics and the pixel blur an edge of this family by 0.76 px together.
    return pictures, read_part(folder / "part.toml"), replace(station, light=proposed_limits(lamp, 0.76))


def measured(tray: Tray, change: Callable[[np.ndarray], np.ndarray] = np.asarray) -> MeasuredTray:
    """The tray as measured under changed light; the light, not counts already rounded, is what changes."""
    pictures, part, station = tray
    light = pictures.back.pixels + np.random.default_rng(6).uniform(-0.5, 0.5, pictures.back.pixels.shape)
    back = replace(pictures.back, pixels=np.clip(np.rint(change(light)), 0, 255).astype(np.uint8))
    return measure_tray(replace(pictures, back=back), part, station)


def test_a_tray_of_a_good_day_is_within_its_own_limits(tray: Tray) -> None:
    found = measured(tray)
    assert found.findings == ()
    assert {piece.fault for piece in found.pieces} == {None}


@pytest.mark.parametrize(
    ("change", "kind", "said"),
    [
        (lambda pixels: 0.7 * pixels, "exposure", r"back.png: backlight at \d\d.\d\d%, under the limit"),
        (
            lambda pixels: 1.17 * pixels,
            "exposure",
            r"back.png: backlight at \d\d\d?.\d\d%, over the limit",
        ),
        (
            lambda pixels: 1.5 * pixels,
            "exposure",
            r"back.png: share of pixels at full scale \d\d.\d\d%, over the limit",
        ),
        (lambda pixels: cv2.GaussianBlur(pixels, (0, 0), 0.8), "focus", r"back.png: edges blurred by 1.\d\d px"),
        (
            lambda pixels: pixels * np.linspace(1.0, 0.6, pixels.shape[1]),
            "exposure",
            r"back.png: backlight's darkest part at \d\d.\d\d%, under the limit",
        ),
    ],
    ids=["dim", "bright", "saturated", "soft", "uneven"],
)
def test_what_left_the_limits_is_told_with_numbers_and_no_piece_passes(
    tray: Tray, change: Callable[[np.ndarray], np.ndarray], kind: str, said: str
) -> None:
    found = measured(tray, change)
    assert kind in {finding.kind for finding in found.findings}
    assert any(re.match(said, finding.detail) for finding in found.findings)
    assert len(found.pieces) == 3
    assert kind in {piece.fault for piece in found.pieces}


def test_without_limits_of_its_own_a_station_takes_a_dim_tray(tray: Tray) -> None:
    pictures, part, station = tray
    plain = (pictures, part, replace(station, light=type(station.light)()))
    assert measured(plain, lambda pixels: 0.7 * pixels).findings == ()
