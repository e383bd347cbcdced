"""From a fitted view of the target to the tray's frame: X right, Y up, so that a plain camera gives X = u s, Y = -v s.

The target may lie turned on the tray. The tray's frame does not turn with it: +X runs along the picture's rows at the
frame's middle, which is what a light's azimuth and a piece's angle are counted from.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.calibrate.models import Model, Parallel, Perspective, Plane
from vision.geometry import CameraMapping
from vision.records import Array, Camera, Lens, Station

# Points at which maps are compared: along a row and down a column of the box round the field.
_ACROSS, _DOWN = 26, 18


@dataclass(frozen=True, slots=True, eq=False)
class TrayFrame:
    """A camera above the tray: what `station.toml` says of geometry. `mm_per_px` is at the frame's middle."""

    homography: Array
    lens: Lens | None
    camera: Camera | None
    mm_per_px: float

    def to_tray(self, points_px: Array) -> Array:
        """Image px as taken (n, 2) to tray mm (n, 2)."""
        return CameraMapping(Station("", self.homography, self.lens, None, 0.0, 0.0), 0.0).to_tray(points_px)


def tray_frame_of(model: Model, shared: Array, view: Array, size_px: tuple[int, int]) -> TrayFrame:
    """Put the tray's plane where the target lies in one view; `view` are that view's parameters."""
    to_target = np.asarray(np.linalg.inv(model.to_plane(shared, view)), dtype=np.float64)
    middle = np.array([(size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0])
    here, slope = _at(to_target, middle)
    scale = float(np.sqrt(np.linalg.det(slope)))
    along = slope[:, 0] / np.linalg.norm(slope[:, 0])
    turn = np.array([[along[0], along[1]], [along[1], -along[0]]])  # target to tray: turned back, then y up
    shift = np.array([middle[0], -middle[1]]) * scale - turn @ here
    to_tray = np.vstack((np.column_stack((turn, shift)), [0.0, 0.0, 1.0]))
    if isinstance(model, Plane) and model.freedom == 4:
        return TrayFrame(np.diag([scale, -scale, 1.0]), None, None, scale)
    homography = to_tray @ to_target
    lens = None if isinstance(model, Plane) or not model.names else Lens(model.matrix(shared), model.distortion(shared))
    camera = _camera(view, to_tray) if isinstance(model, Perspective) else None
    return TrayFrame(homography / homography[2, 2], lens, camera, scale)


def _at(homography: Array, point: Array) -> tuple[Array, Array]:
    """Where a homography takes a point, and its derivative there (2, 2)."""
    x, y, w = homography @ np.append(point, 1.0)
    there = np.array([x, y]) / w
    return there, (homography[:2, :2] - np.outer(there, homography[2, :2])) / w


def _camera(view: Array, to_tray: Array) -> Camera:
    """The pupil in the target's frame is -R't; below it lies the foot."""
    pupil = -cv2.Rodrigues(view[:3])[0].T @ view[3:]
    foot = to_tray @ np.array([pupil[0], pupil[1], 1.0])
    return Camera(abs(float(pupil[2])), (float(foot[0]), float(foot[1])))


def tilt_deg(model: Model, view: Array) -> float:
    """Angle between target and image plane; of a parallel view from its foreshortening, nan of a plane alone."""
    if isinstance(model, Perspective):
        return float(np.rad2deg(np.arccos(min(1.0, abs(cv2.Rodrigues(view[:3])[0][2, 2])))))
    if isinstance(model, Parallel):
        long, short = np.linalg.svd(view.reshape(2, 3)[:, :2], compute_uv=False)
        return float(np.rad2deg(np.arccos(min(1.0, short / long))))
    return float("nan")


def field_hull(seen_px: list[Array]) -> Array:
    """Corners (n, 2) of the convex field within which the target's nodes were seen, all views together."""
    return np.asarray(cv2.convexHull(np.concatenate(seen_px).astype(np.float32)), dtype=float).reshape(-1, 2)


def field_points(seen_px: list[Array]) -> Array:
    """A grid of image points (n, 2) over the field where the target was seen: nothing else vouches for the map.

    Parameters
    ----------
    seen_px
        Nodes seen in each picture, (m, 2), px.

    Returns
    -------
    Array
        Points, (n, 2), px.
    """
    hull = field_hull(seen_px)
    low, high = hull.min(axis=0), hull.max(axis=0)
    u, v = np.meshgrid(np.linspace(low[0], high[0], _ACROSS), np.linspace(low[1], high[1], _DOWN))
    grid = np.column_stack((u.ravel(), v.ravel()))
    within = [cv2.pointPolygonTest(hull.astype(np.float32), (float(x), float(y)), False) >= 0 for x, y in grid]
    return np.asarray(grid[np.array(within)], dtype=float)


def scale_and_form(points_mm: Array, moved_mm: Array) -> tuple[float, Array]:
    """Split small displacements (n, 2) of tray points (n, 2): relative scale, and what is left of each (n, 2).

    Shift and turn are taken out first: no measure of a piece depends on them.
    """
    centred = points_mm - points_mm.mean(axis=0)
    moved = moved_mm - moved_mm.mean(axis=0)
    size = float(np.sum(centred**2))
    turned = np.column_stack((-centred[:, 1], centred[:, 0]))
    scale = float(np.sum(moved * centred)) / size
    turn = float(np.sum(moved * turned)) / size
    return scale, moved - scale * centred - turn * turned


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """By how much one map differs from another; `form_mm` (n, 2) after shift, turn and scale, pupil nan without one."""

    scale_relative: float
    form_mm: Array
    height_mm: float
    foot_mm: tuple[float, float]


def compared(here: TrayFrame, there: TrayFrame, at_px: Array) -> Moved:
    """`there` less `here` at image points (n, 2)."""
    at_mm = here.to_tray(at_px)
    scale, form = scale_and_form(at_mm, there.to_tray(at_px) - at_mm)
    if here.camera is None or there.camera is None:
        return Moved(scale, form, np.nan, (np.nan, np.nan))
    (x, y), (to_x, to_y) = here.camera.foot_mm, there.camera.foot_mm
    return Moved(scale, form, there.camera.height_mm - here.camera.height_mm, (to_x - x, to_y - y))


def moved_from(old: Station, new: TrayFrame, at_px: Array) -> Moved:
    """What a calibration changes of a station.

    Parameters
    ----------
    old
        The station as it was.
    new
        The camera as it was calibrated now.
    at_px
        Image points, (n, 2), px, at which both are compared.

    Returns
    -------
    Moved
        `new` less `old`.
    """
    return compared(TrayFrame(old.homography, old.lens, old.camera, 0.0), new, at_px)
