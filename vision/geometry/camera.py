"""From image px to tray mm and back: lens, tray plane, and the parallax of parts above it.

All on points, never by resampling a frame: a resampled frame carries the interpolation's own bias into every edge.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.records import Array, Station

# Newton steps of the inverse lens model end below a ten-thousandth of a pixel.
_UNDISTORT_STEPS = 30
_UNDISTORT_EPS_PX = 1e-5


@dataclass(frozen=True, slots=True, eq=False)
class CameraMapping:
    """A station's camera looking at points `height_mm` above the tray's plane."""

    station: Station
    height_mm: float

    @property
    def _lift(self) -> float:
        """How many times further from the foot a raised point seems to lie: Z / (Z - h)."""
        camera = self.station.camera
        return 1.0 if camera is None else camera.height_mm / (camera.height_mm - self.height_mm)

    def to_tray(self, points_px: Array) -> Array:
        """Image px, as taken, to tray mm: (n, 2) to (n, 2).

        Examples
        --------
        >>> plain = Station("ST-1", np.diag([0.05, -0.05, 1.0]), None, None, 0.0005, 1e-5)
        >>> CameraMapping(plain, 0.0).to_tray(np.array([[100.0, 200.0]])).tolist()
        [[5.0, -10.0]]
        """
        flat = points_px
        lens = self.station.lens
        if lens is not None:
            criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, _UNDISTORT_STEPS, _UNDISTORT_EPS_PX)
            found = cv2.undistortPoints(
                np.ascontiguousarray(points_px, dtype=np.float64).reshape(-1, 1, 2),
                lens.camera_matrix,
                lens.distortion,
                P=lens.camera_matrix,
                criteria=criteria,
            )
            flat = np.asarray(found, np.float64).reshape(-1, 2)
        tray = _project(self.station.homography, flat)
        camera = self.station.camera
        if camera is not None:
            foot = np.asarray(camera.foot_mm)
            tray = foot + (tray - foot) / self._lift
        return tray

    def to_px(self, points_mm: Array) -> Array:
        """Tray mm to image px as taken: (n, 2) to (n, 2)."""
        tray = points_mm
        camera = self.station.camera
        if camera is not None:
            foot = np.asarray(camera.foot_mm)
            tray = foot + (tray - foot) * self._lift
        flat = _project(np.asarray(np.linalg.inv(self.station.homography), np.float64), tray)
        lens = self.station.lens
        if lens is None:
            return flat
        rays = np.column_stack((flat, np.ones(len(flat)))) @ np.linalg.inv(lens.camera_matrix).T
        seen, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), lens.camera_matrix, lens.distortion)
        return np.asarray(seen.reshape(-1, 2))

    def mm_per_px(self, at_px: Array) -> float:
        """Local scale at one image point (2,): root of the area that a pixel covers on the tray."""
        corners = at_px + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
        o, u, v = self.to_tray(corners)
        a, b = u - o, v - o
        return float(np.sqrt(abs(a[0] * b[1] - a[1] * b[0])))


def _project(matrix: Array, points: Array) -> Array:
    """Apply a homography (3, 3) to points (n, 2)."""
    h = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(h[:, :2] / h[:, 2:])
