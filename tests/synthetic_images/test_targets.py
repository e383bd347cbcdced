"""Calibration targets: the geometry that was asked for is the geometry that is seen."""

import cv2
import numpy as np
import pytest

from synthetic_images.sensor import Sensor
from synthetic_images.targets import (
    TargetCamera,
    inner_corners_mm,
    project,
    render_chessboard,
    render_circle_grid,
    render_flat_pair,
    render_slanted_edge,
)

CAMERA = TargetCamera(
    np.array([[3000.0, 0.0, 599.5], [0.0, 3000.0, 449.5], [0.0, 0.0, 1.0]]),
    np.array([-0.2, 0.1, 0.0, 0.0, 0.0]),
    np.array([0.2, -0.15, 0.05]),
    np.array([-20.0, -12.5, 190.0]),
    (1200, 900),
)
TRUTH = project(CAMERA, inner_corners_mm((9, 6), 5.0))


def test_chessboard_corners_are_found_where_they_are():
    frame = render_chessboard(CAMERA, np.random.default_rng(5))
    found, corners = cv2.findChessboardCorners(frame, (9, 6))
    assert found
    stop = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 100, 1e-4)
    refined = cv2.cornerSubPix(frame, corners.reshape(-1, 1, 2).astype(np.float32), (8, 8), (-1, -1), stop)
    error = refined.reshape(-1, 2)[:: -1 if np.hypot(*(refined.reshape(-1, 2)[0] - TRUTH[0])) > 100 else 1] - TRUTH
    assert np.abs(error.mean(axis=0)).max() < 0.02
    assert np.abs(error).max() < 0.1


def test_disc_centres_are_the_grid():
    frame = render_circle_grid(CAMERA, np.random.default_rng(5))
    found, centers = cv2.findCirclesGrid(frame, (9, 6))
    assert found
    nearest = np.hypot(*(centers.reshape(-1, 1, 2) - TRUTH[None]).transpose(2, 0, 1)).min(axis=1)
    # The image of a tilted disc is off its centre's image by some hundredths of a pixel.
    assert nearest.max() < 0.15


def test_a_flat_pair_differs_by_noise_only():
    sensor = Sensor(10000.0, 8.0, 4095)
    first, second = render_flat_pair(0.4, (300, 200), sensor, np.random.default_rng(2))
    difference = first.astype(float) - second
    gain = sensor.gain_dn_per_e
    variance = 2.0 * (gain**2 * 64.0 + 1.0 / 12.0 + gain * 0.4 * 4095.0)
    # 60 000 pixels: relative standard error of the variance 0.6 %; five of them, chance of failing 6e-7.
    assert difference.var() == pytest.approx(variance, rel=0.03)
    assert abs(difference.mean()) < 5.0 * np.sqrt(variance / difference.size)


def test_the_slanted_edge_leans_by_its_angle():
    frame = render_slanted_edge((160, 120), 5.0, 0.7, Sensor(1e6, 1.0, 4095), np.random.default_rng(1)).astype(float)
    bright, dark = frame[:, :20].mean(), frame[:, -20:].mean()
    # Area under each row's profile gives the edge's place in that row.
    places = ((frame - dark) / (bright - dark)).sum(axis=1) - 0.5
    slope, at_middle = np.polyfit(np.arange(120) - 59.5, places, 1)
    assert np.rad2deg(np.arctan(slope)) == pytest.approx(-5.0, abs=0.02)
    assert at_middle == pytest.approx(79.5, abs=0.02)
