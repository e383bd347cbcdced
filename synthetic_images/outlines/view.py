"""How the camera sees the tray: tray mm to px, through perspective above the plane, the plane's tilt and the lens."""

from dataclasses import dataclass

import cv2
import numpy as np

from synthetic_images.spoons import Array


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A camera above a tray.

    `homography` (3, 3) takes undistorted px to tray mm; `camera_matrix` (3, 3) and `distortion` (k,) follow OpenCV's
    pinhole model (both None without a lens); `pupil_height_mm` above the plane and `foot_mm` below the pupil are
    None where the lens is telecentric. `size_px` is (width, height).
    """

    size_px: tuple[int, int]
    mm_per_px: float
    homography: Array
    camera_matrix: Array | None = None
    distortion: Array | None = None
    pupil_height_mm: float | None = None
    foot_mm: tuple[float, float] | None = None


def plain_view(size_px: tuple[int, int], mm_per_px: float) -> View:
    """Straight from above at one scale: X = u s, Y = -v s."""
    return View(size_px, mm_per_px, np.diag([mm_per_px, -mm_per_px, 1.0]))


def perspective_view(size_px: tuple[int, int], mm_per_px: float, pupil_height_mm: float) -> View:
    """At one scale in the tray's plane; the pupil stands above the middle of the frame."""
    flat = plain_view(size_px, mm_per_px)
    foot = (0.5 * size_px[0] * mm_per_px, -0.5 * size_px[1] * mm_per_px)
    return View(size_px, mm_per_px, flat.homography, pupil_height_mm=pupil_height_mm, foot_mm=foot)


def lens_view(size_px: tuple[int, int], mm_per_px: float, tilt_deg: tuple[float, float], distortion: Array) -> View:
    """Through a lens of focal length 9200 px, the tray's plane tilted about its X and Y by `tilt_deg`."""
    focal_px = 9200.0
    width, height = size_px
    matrix = np.array([[focal_px, 0.0, 0.5 * (width - 1)], [0.0, focal_px, 0.5 * (height - 1)], [0.0, 0.0, 1.0]])
    turn = cv2.Rodrigues(np.deg2rad(np.array([tilt_deg[0], tilt_deg[1], 0.0])))[0] @ np.diag([1.0, -1.0, -1.0])
    middle = np.array([0.5 * width * mm_per_px, -0.5 * height * mm_per_px, 0.0])
    shift = np.array([0.0, 0.0, focal_px * mm_per_px]) - turn @ middle
    to_px = matrix @ np.column_stack((turn[:, 0], turn[:, 1], shift))
    homography = np.linalg.inv(to_px)
    return View(size_px, mm_per_px, homography / homography[2, 2], matrix, np.asarray(distortion, dtype=float))


def to_px(view: View, tray_mm: Array, height_mm: float | Array = 0.0) -> Array:
    """Carry points (n, 2) of the tray, `height_mm` (one or (n, 1)) above it, to px (n, 2) of the frame as taken.

    A point at height h appears where the ray from the pupil through it meets the plane: moved away from the foot by
    Z / (Z - h). The lens is OpenCV's own forward model (`cv2.projectPoints`).
    """
    points = np.asarray(tray_mm, dtype=float)
    if view.pupil_height_mm is not None and view.foot_mm is not None:
        foot = np.asarray(view.foot_mm)
        points = foot + (points - foot) * (view.pupil_height_mm / (view.pupil_height_mm - height_mm))
    there = np.column_stack((points, np.ones(len(points)))) @ np.linalg.inv(view.homography).T
    undistorted: Array = there[:, :2] / there[:, 2:]
    if view.camera_matrix is None or view.distortion is None:
        return undistorted
    rays = np.column_stack((undistorted, np.ones(len(points)))) @ np.linalg.inv(view.camera_matrix).T
    seen = cv2.projectPoints(rays.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), view.camera_matrix, view.distortion)[0]
    result: Array = np.asarray(seen, dtype=float).reshape(-1, 2)
    return result
