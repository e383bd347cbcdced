"""Calibration targets as a known camera sees them: chessboards, grids of discs, flat fields and a slanted edge.

A target lies in its own plane (X right, Y down as seen from the front, Z = 0, mm); `rvec` and `tvec` carry it into the
camera after OpenCV's model. Every edge is cut into short chords, carried through the lens by `cv2.projectPoints` and
covered by exact area, so that distortion bends the squares' sides as a real lens does.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np

from synthetic_images.outlines.coverage import Float32
from synthetic_images.outlines.optics import Silhouette, shadow
from synthetic_images.sensor import Pixels, Sensor, exposed
from synthetic_images.spoons import Array

# Chords of a square's side and of a disc's rim; a side bends by less than 1 px: a chord's sagitta is below 0.001 px.
_SIDE_CHORDS = 24
_RIM_CHORDS = 96


@dataclass(frozen=True, slots=True, eq=False)
class TargetCamera:
    """The camera that sees a target: its lens, pose, frame, blur and sensor.

    `camera_matrix` (3, 3) and `distortion` (k,) follow OpenCV's model; `rvec` (3,) radians and `tvec` (3,) mm take
    target to camera coordinates; `size_px` is (width, height).
    """

    camera_matrix: Array
    distortion: Array
    rvec: Array
    tvec: Array
    size_px: tuple[int, int]
    psf_px: float = 0.7
    sensor: Sensor = field(default_factory=Sensor)


def project(camera: TargetCamera, points_mm: Array) -> Array:
    """Where points (n, 2) of the target's plane lie in the frame, px (n, 2): the truth of a target image."""
    spatial = np.column_stack((points_mm, np.zeros(len(points_mm))))
    seen = cv2.projectPoints(
        spatial.reshape(-1, 1, 3), camera.rvec, camera.tvec, camera.camera_matrix, camera.distortion
    )[0]
    return np.asarray(seen, dtype=float).reshape(-1, 2)


def inner_corners_mm(squares: tuple[int, int], pitch_mm: float) -> Array:
    """Inner corners (columns x rows, 2) of a chessboard in its plane, row by row, the first at (0, 0)."""
    columns, rows = squares
    grid = np.mgrid[0:rows, 0:columns].reshape(2, -1)[::-1].T
    return np.asarray(grid * pitch_mm, dtype=float)


def render_chessboard(
    camera: TargetCamera, rng: np.random.Generator, squares: tuple[int, int] = (9, 6), pitch_mm: float = 5.0
) -> Pixels:
    """Photograph a chessboard of so many inner corners (columns, rows) on a white plate.

    The inner corners lie at `project(camera, inner_corners_mm(squares, pitch_mm))`.
    """
    columns, rows = squares
    share = np.linspace(0.0, 1.0, _SIDE_CHORDS, endpoint=False)
    side = np.concatenate(
        [
            np.column_stack((share, 0 * share)),
            np.column_stack((1 + 0 * share, share)),
            np.column_stack((1 - share, 1 + 0 * share)),
            np.column_stack((0 * share, 1 - share)),
        ]
    )
    dark = [
        Silhouette((project(camera, (side + np.array([column, row])) * pitch_mm),))
        for row in range(-1, rows)
        for column in range(-1, columns)
        if (row + column) % 2 == 0
    ]
    return _photograph(camera, dark, rng)


def render_circle_grid(
    camera: TargetCamera,
    rng: np.random.Generator,
    circles: tuple[int, int] = (9, 6),
    pitch_mm: float = 5.0,
    diameter_mm: float = 2.5,
) -> Pixels:
    """Photograph a regular grid of dark discs (columns, rows), centred at `inner_corners_mm(circles, pitch_mm)`.

    In a tilted view the centre of a disc's image is not the image of its centre: the truth is `project` of the centres.
    """
    turn = 2.0 * np.pi * np.arange(_RIM_CHORDS) / _RIM_CHORDS
    rim = 0.5 * diameter_mm * np.column_stack((np.cos(turn), np.sin(turn)))
    dark = [Silhouette((project(camera, middle + rim),)) for middle in inner_corners_mm(circles, pitch_mm)]
    return _photograph(camera, dark, rng)


def _photograph(camera: TargetCamera, dark: list[Silhouette], rng: np.random.Generator) -> Pixels:
    """Dark print of 5 % on a plate lit to 85 % of the full well."""
    bright, black = np.float32(0.85), np.float32(0.05)
    taken = shadow(dark, camera.size_px, camera.psf_px)
    return exposed(bright + (black - bright) * taken, camera.sensor, rng)


def render_flat_pair(
    level: float, size_px: tuple[int, int], sensor: Sensor, rng: np.random.Generator
) -> tuple[Pixels, Pixels]:
    """Two frames of one even light (`level`, a share of the full well), as EMVA 1288's photon transfer asks for."""
    width, height = size_px
    light: Float32 = np.full((height, width), level, dtype=np.float32)
    return exposed(light, sensor, rng), exposed(light, sensor, rng)


def render_slanted_edge(
    size_px: tuple[int, int], angle_deg: float, psf_px: float, sensor: Sensor, rng: np.random.Generator
) -> Pixels:
    """A straight edge through the frame's middle, `angle_deg` from the vertical, dark on the right, as ISO 12233 uses.

    Its modulation transfer is exp(-2 pi^2 psf^2 f^2) times that of the pixel, sinc(f), f in cycles a pixel.
    """
    width, height = size_px
    middle = np.array([0.5 * (width - 1), 0.5 * (height - 1)])
    turn = np.deg2rad(angle_deg)
    along, away = np.array([-np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), np.sin(turn)])
    far = float(width + height)
    ring = middle + far * np.array([-along, away - along, away + along, along])
    taken = shadow([Silhouette((ring,))], size_px, psf_px)
    return exposed(np.float32(0.8) - np.float32(0.7) * taken, sensor, rng)
