"""Pictures of flat targets with exact truth, for these tests only; shares no code with what it tests."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

SUPERSAMPLES = 3  # per px and axis; edges are graded within each, so that three are enough
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A camera (pinhole, or parallel projection of `scale` px/mm where given) and what it adds to a picture."""

    size: tuple[int, int]  # columns, rows
    matrix: Array
    distortion: Array
    scale_px_per_mm: float | None = None
    blur_px: float = 0.8
    full_well_e: float = 10_000.0
    read_dn: float = 0.3

    def ideal(self) -> tuple[Array, Array]:
        """Undistorted normalised coordinates of every sample, from a spline through a coarse grid."""
        columns, rows = self.size
        step = 8
        u = np.arange(-2 * step, columns + 2 * step + 1, step, dtype=float)
        v = np.arange(-2 * step, rows + 2 * step + 1, step, dtype=float)
        nodes = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
        criteria = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 100, 1e-14)
        flat = cv2.undistortPoints(nodes, self.matrix, self.distortion, None, None, None, criteria)
        grid = flat.reshape(len(v), len(u), 2)
        fine_u = (np.arange(columns * SUPERSAMPLES) + 0.5) / SUPERSAMPLES - 0.5
        fine_v = (np.arange(rows * SUPERSAMPLES) + 0.5) / SUPERSAMPLES - 0.5
        return (
            RectBivariateSpline(v, u, grid[..., 0])(fine_v, fine_u),
            RectBivariateSpline(v, u, grid[..., 1])(fine_v, fine_u),
        )

    def plane(self, rotation: Array, shift: Array) -> Array:
        """Homography (3, 3): target mm -> normalised image coordinates."""
        if self.scale_px_per_mm is None:
            return np.column_stack([rotation[:, 0], rotation[:, 1], shift])
        s = self.scale_px_per_mm / self.matrix[0, 0]
        top = s * np.column_stack([rotation[:2, 0], rotation[:2, 1], shift[:2]])
        return np.vstack([top, [0.0, 0.0, 1.0]])

    def project(self, rotation: Array, shift: Array, points_mm: Array) -> Array:
        """Where points of the target's plane (n, 2) are seen, px (n, 2)."""
        flat = np.column_stack([points_mm, np.ones(len(points_mm))]) @ self.plane(rotation, shift).T
        ideal = np.column_stack([flat[:, :2] / flat[:, 2:], np.ones(len(flat))])
        seen, _ = cv2.projectPoints(ideal, np.zeros(3), np.zeros(3), self.matrix, self.distortion)
        return np.asarray(seen, dtype=float).reshape(-1, 2)


def turn(tilt_x_deg: float, tilt_y_deg: float, about_deg: float) -> Array:
    """Rotation (3, 3) from target to camera: about its own normal first, then tilted."""
    x, y, z = (cv2.Rodrigues(np.deg2rad(a) * np.eye(3)[i])[0] for i, a in enumerate((tilt_x_deg, tilt_y_deg, about_deg)))
    return np.asarray(x @ y @ z, dtype=float)


def grid_mm(columns: int, rows: int, pitch_mm: float) -> Array:
    """Inner corners or circle centres (n, 2), row by row."""
    return np.array([(c * pitch_mm, r * pitch_mm) for r in range(rows) for c in range(columns)], dtype=float)


def _graded(distance: Array, spread: Array) -> Array:
    """Coverage 0..1 of a sample at `distance` inside an edge, the sample being `spread` wide."""
    return np.clip(distance / spread + 0.5, 0.0, 1.0)


def _spread(field: Array) -> Array:
    du, dv = np.gradient(field)
    return np.hypot(du, dv)


def chessboard(x: Array, y: Array, columns: int, rows: int) -> Array:
    """Blackness 0..1 of a board with `columns` x `rows` inner corners; x, y in squares from its first corner."""
    wave = []
    for value, count in ((x + 1.0, columns + 1), (y + 1.0, rows + 1)):
        spread = _spread(value)
        nearest = np.clip(np.round(value), 0, count)
        step = np.clip((value - nearest) / spread, -0.5, 0.5) * 2.0
        wave.append((step * np.where(nearest % 2 == 0, 1.0, -1.0), _graded(np.minimum(value, count - value), spread)))
    (wave_x, inside_x), (wave_y, inside_y) = wave
    return 0.5 * (1.0 + wave_x * wave_y) * inside_x * inside_y


def circles(x: Array, y: Array, columns: int, rows: int, radius: float) -> Array:
    """Blackness 0..1 of discs of `radius` (in pitches) at each node of a symmetric grid."""
    nearest_x = np.clip(np.round(x), 0, columns - 1)
    nearest_y = np.clip(np.round(y), 0, rows - 1)
    distance = np.hypot(x - nearest_x, y - nearest_y)
    return _graded(radius - distance, np.sqrt(_spread(x) * _spread(y)))


def picture(
    scene: Scene,
    ideal: tuple[Array, Array],
    blackness: Array,
    rng: np.random.Generator | None,
    levels: tuple[float, float] = (200.0, 30.0),
) -> NDArray[np.uint8]:
    """Blur, shot noise, read noise, 8 bits; `levels` are white and black. No noise where `rng` is None."""
    fine = (levels[0] + (levels[1] - levels[0]) * blackness).astype(np.float32)
    fine = cv2.GaussianBlur(fine, (0, 0), scene.blur_px * SUPERSAMPLES)
    mean = cv2.resize(fine, scene.size, interpolation=cv2.INTER_AREA).astype(float)
    if rng is not None:
        per_dn = scene.full_well_e / 255.0
        mean = rng.poisson(mean * per_dn) / per_dn + rng.normal(0.0, scene.read_dn, mean.shape)
    return np.clip(np.round(mean), 0, 255).astype(np.uint8)


def on_target(scene: Scene, ideal: tuple[Array, Array], rotation: Array, shift: Array) -> tuple[Array, Array]:
    """Target mm under every sample."""
    back = np.linalg.inv(scene.plane(rotation, shift))
    x, y = ideal
    w = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    return (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / w, (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / w
