"""The backlight's levels under uneven light, and frames that show none."""

import numpy as np
import pytest

from tests.outline.scene import backlit, grid, shade
from vision.backlight.field import NoBacklight, model_backlight
from vision.outline.regions import find_regions


def disc(rows: int = 800, columns: int = 1200, radius: float = 180.0) -> np.ndarray:
    u, v = grid(rows, columns)
    return np.asarray(np.hypot(u - 600.3, v - 400.7) - radius)


def test_levels_beside_a_piece_are_known_to_three_tenths_of_a_percent() -> None:
    u, v = grid(800, 1200)
    fall = 1 - 0.5 * (((u - 600) / 720) ** 2 + ((v - 400) / 720) ** 2)
    frame = np.rint(shade(disc(), 0.8) * fall).astype(np.uint8)
    light = model_backlight(backlit(frame))
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    around = np.column_stack((600.3 + 184 * np.cos(angle), 400.7 + 184 * np.sin(angle)))
    bright, dark = light.at(around)
    truth = 215.0 * (1 - 0.5 * (((around[:, 0] - 600) / 720) ** 2 + ((around[:, 1] - 400) / 720) ** 2))
    assert bright == pytest.approx(truth, rel=0.003)
    assert dark == pytest.approx(8.0, abs=1.5)
    assert light.saturated == 0.0


@pytest.mark.parametrize(
    ("frame", "says"),
    [
        (np.zeros((600, 800), np.uint8), "dark"),
        (np.full((600, 800), 255, np.uint8), "full scale"),
        (255 - shade(disc(), 0.8), "inverted"),
        (np.full((40, 40), 9, np.uint8), "small"),
    ],
)
def test_a_frame_without_backlight_says_what_is_wrong(frame: np.ndarray, says: str) -> None:
    with pytest.raises(NoBacklight, match=says):
        model_backlight(backlit(frame))


def test_an_empty_tray_is_no_fault() -> None:
    empty = backlit(np.full((600, 800), 205, np.uint8))
    light = model_backlight(empty)
    assert light.bright == pytest.approx(205.0)
    assert find_regions(empty, light, 50.0) == ()


def test_a_saturated_backlight_is_told() -> None:
    frame = np.where(disc() > 0, 255, 9).astype(np.uint8)
    assert model_backlight(backlit(frame)).saturated > 0.9
