"""Pieces turned upright, and frames made ready to be looked at."""

import numpy as np
import pytest

from app.report.upright import (
    BEYOND_FRAME,
    as_grey,
    crop_upright,
    drawing_to_frame,
    outward_normals,
    roomiest_place,
    seen_outline_px,
    window_around,
)
from tests.report import made
from vision.records.inputs import Picture


def test_the_map_into_the_frame_is_the_one_that_made_it() -> None:
    to_frame = drawing_to_frame(made.profile((420.0, 350.0)))
    points = np.array([[0.0, 0.0], [60.0, 3.0], [31.0, -8.0]])
    np.testing.assert_allclose(
        points @ to_frame[:, :2].T + to_frame[:, 2], made.to_px(points, (420.0, 350.0)), atol=1e-9
    )


def test_a_crop_shows_the_piece_upright() -> None:
    inspected = made.tray()
    piece = inspected.measured.pieces[0]
    assert piece.profile is not None
    window = window_around(inspected.part.outline, 2.0, 640.0)
    crop = crop_upright(as_grey(inspected.pictures.back), drawing_to_frame(piece.profile), window)
    assert crop.shape == (200, 640)
    dark = window.to_px(np.array([[1.0, 0.0], [59.0, 0.0], [30.0, 7.0], [30.0, -7.0]]))
    bright = window.to_px(np.array([[-1.0, 0.0], [61.0, 0.0], [30.0, 9.0], [30.0, -9.0], [0.5, 7.0]]))
    assert all(crop[round(v), round(u)] < 30 for u, v in dark)
    assert all(crop[round(v), round(u)] > 200 for u, v in bright)


def test_beyond_the_frame_is_plain_grey() -> None:
    window = window_around(made.paddle(), 2.0, 320.0)
    far = drawing_to_frame(made.profile((5000.0, 5000.0)))
    assert (crop_upright(np.zeros((50, 50), np.uint8), far, window) == BEYOND_FRAME).all()


def test_the_seen_outline_lies_where_the_deviation_says_and_breaks_where_hidden() -> None:
    profile = made.profile((420.0, 350.0), made.BURR_MM)
    seen = seen_outline_px(profile)
    k = int(np.argmax(profile.deviation_mm))
    away = np.hypot(*(seen[k] - profile.nominal_px[k]))
    assert away == pytest.approx(made.BURR_MM / made.SCALE, rel=1e-6)
    middle = np.array([420.0, 350.0])
    assert np.hypot(*(seen[k] - middle)) > np.hypot(*(profile.nominal_px[k] - middle))
    profile.deviation_mm[10:20] = np.nan
    assert np.flatnonzero(np.isnan(seen_outline_px(profile)[:, 0])).tolist() == list(range(10, 20))


def test_normals_of_a_circle_point_outward() -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    np.testing.assert_allclose(outward_normals(5.0 * circle), circle, atol=1e-12)


def test_a_label_finds_the_widest_place_clear_of_the_hole() -> None:
    (x, y), radius = roomiest_place(made.part())
    assert radius == pytest.approx(made.HALF_WIDTH_MM, rel=0.07)  # 0.5 mm tolerance of the search
    assert np.hypot(x - 50.0, y) > radius


def test_deep_frames_are_shown_by_their_own_full_scale() -> None:
    pixels = np.array([[0, 2048, 4095]], np.uint16)
    assert as_grey(Picture("back", None, pixels, 4095.0)).tolist() == [[0, 128, 255]]
