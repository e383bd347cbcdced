"""The camera's forward model against closed forms and OpenCV's inverse."""

import cv2
import numpy as np
import pytest

from synthetic_images.outlines.view import lens_view, perspective_view, plain_view, to_px

GRID = np.column_stack([axis.ravel() for axis in np.meshgrid(np.linspace(5.0, 145.0, 8), np.linspace(-100.0, -5.0, 6))])


def test_a_plain_scale_turns_the_tray_upside_down():
    assert to_px(plain_view((3000, 2100), 0.05), np.array([[10.0, -4.0]]))[0] == pytest.approx((200.0, 80.0))


def test_height_moves_points_away_from_the_foot_by_z_over_z_less_h():
    view = perspective_view((3000, 2100), 0.05, 620.0)
    foot = np.array([75.0, -52.5])
    flat, high = to_px(view, GRID), to_px(view, GRID, 6.0)
    expected = (foot + (GRID - foot) * 620.0 / 614.0) / [0.05, -0.05]
    np.testing.assert_allclose(flat, GRID / [0.05, -0.05], atol=1e-9)
    np.testing.assert_allclose(high, expected, atol=1e-9)


def test_undistorting_and_the_plane_lead_back_to_the_tray():
    view = lens_view((3000, 2100), 0.05, (0.6, -0.4), np.array([-0.08, 0.02, 0.001, -0.0005, 0.0]))
    seen = to_px(view, GRID)
    straight = cv2.undistortPoints(
        seen.reshape(-1, 1, 2), view.camera_matrix, view.distortion, P=view.camera_matrix
    ).reshape(-1, 2)
    there = np.column_stack((straight, np.ones(len(straight)))) @ view.homography.T
    np.testing.assert_allclose(there[:, :2] / there[:, 2:], GRID, atol=2e-6)


def test_without_distortion_the_middle_has_the_stated_scale():
    view = lens_view((3000, 2100), 0.05, (0.0, 0.0), np.zeros(5))
    np.testing.assert_allclose(to_px(view, GRID), GRID / [0.05, -0.05] - 0.5, atol=1e-6)


@pytest.mark.parametrize("tilt", [10.0, 30.0])
def test_a_tilted_plane_images_a_disc_to_an_ellipse_of_axis_ratio_cos(tilt):
    view = lens_view((3000, 2100), 0.05, (tilt, 0.0), np.zeros(5))
    turn = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    # A small disc in the middle: the far-field limit, in which perspective adds (radius / distance)^2 = 5e-6.
    rim = np.array([75.0, -52.5]) + 1.0 * np.column_stack((np.cos(turn), np.sin(turn)))
    across, down = np.ptp(to_px(view, rim), axis=0)
    assert down / across == pytest.approx(np.cos(np.deg2rad(tilt)), rel=2e-5)
