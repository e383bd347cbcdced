"""A rendered camera and target with exact truth, shared by these tests."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from synthetic_images.targets import TargetCamera, project, render_chessboard, render_circle_grid
from vision.calibrate.models import Perspective
from vision.calibrate.observation import Observation, see
from vision.calibrate.target import Target
from vision.calibrate.tray_frame import TrayFrame, tray_frame_of

Array = NDArray[np.float64]
COLUMNS, ROWS = 9, 6
PITCH_MM = 2.5


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """A pinhole of `focal_px` above a tray at 0.05 mm/px, with lens distortion and a principal point off the middle."""

    focal_px: float = 2000.0
    size_px: tuple[int, int] = (640, 460)
    distortion: tuple[float, ...] = (-0.08, 0.02, 0.0, 0.0, 0.0)
    psf_px: float = 0.8

    @property
    def truth(self) -> Array:
        """Parameters as `Perspective` has them: fx, fy, cx, cy and the distortion."""
        centre = [self.size_px[0] / 2 + 6.0, self.size_px[1] / 2 - 5.0]
        return np.array([self.focal_px, self.focal_px, *centre, *self.distortion])

    def camera(self, rotation: Array, shift: Array) -> TargetCamera:
        """The camera with a target so placed."""
        matrix = Perspective().matrix(self.truth)
        turn = cv2.Rodrigues(rotation)[0].ravel()
        return TargetCamera(matrix, np.array(self.distortion), turn, shift, self.size_px, self.psf_px)

    def tray_frame(self, camera: TargetCamera) -> TrayFrame:
        """The true map from px to tray mm, the target lying on the tray."""
        return tray_frame_of(Perspective(), self.truth, np.concatenate((camera.rvec, camera.tvec)), self.size_px)


def turned(tilt_x_deg: float, tilt_y_deg: float, about_deg: float) -> Array:
    """Rotation (3, 3) of a target: about its own normal first, then tilted."""
    angles = np.deg2rad([tilt_x_deg, tilt_y_deg, about_deg])
    x, y, z = (cv2.Rodrigues(angle * axis)[0] for angle, axis in zip(angles, np.eye(3), strict=True))
    return np.asarray(x @ y @ z, dtype=float)


def poses(rig: Rig, views: int, rng: np.random.Generator, tilt_deg: float = 25.0) -> list[TargetCamera]:
    """The first nearly flat, as on the tray, the others tilted by up to `tilt_deg` about both axes."""
    middle = np.array([(COLUMNS - 1) * PITCH_MM / 2, (ROWS - 1) * PITCH_MM / 2, 0.0])
    cameras = []
    for view in range(views):
        tilt = rng.uniform(-tilt_deg, tilt_deg, 2) if view else rng.uniform(-1.0, 1.0, 2)
        rotation = turned(*tilt, rng.uniform(-10.0, 10.0) + 180.0 * (view % 2))
        away = rig.focal_px * 0.05 / rng.uniform(0.75, 0.95)
        aside = np.array([rng.uniform(-2.0, 2.0), rng.uniform(-1.5, 1.5), away])
        cameras.append(rig.camera(rotation, aside - rotation @ middle))
    return cameras


def photograph(camera: TargetCamera, rng: np.random.Generator, kind: str = "chessboard") -> NDArray[np.uint8]:
    """An 8-bit picture of the target."""
    if kind == "circles":
        return render_circle_grid(camera, rng, (COLUMNS, ROWS), PITCH_MM, 0.5 * PITCH_MM).astype(np.uint8)
    return render_chessboard(camera, rng, (COLUMNS, ROWS), PITCH_MM).astype(np.uint8)


def target(kind: str = "chessboard", tolerance_mm: float = 0.0) -> Target:
    """The target that `photograph` shows."""
    return Target("circles" if kind == "circles" else "chessboard", COLUMNS, ROWS, PITCH_MM, tolerance_mm)


def observations(
    cameras: list[TargetCamera], rng: np.random.Generator, kind: str = "chessboard"
) -> tuple[list[Observation], list[Observation]]:
    """What whole and half windows see in a picture from each camera."""
    pictures = [photograph(camera, rng, kind) for camera in cameras]
    seen = [see(pixels, target(kind), f"view-{i}") for i, pixels in enumerate(pictures)]
    return [whole for whole, _ in seen], [half for _, half in seen]


def true_nodes(camera: TargetCamera, seen_px: Array) -> Array:
    """Where the nodes truly are (n, 2), in the order of those that were seen."""
    truth = project(camera, target().points_mm)
    return truth[np.argmin(np.linalg.norm(seen_px[:, None] - truth[None], axis=2), axis=1)]
