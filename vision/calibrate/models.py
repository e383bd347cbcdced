"""The camera models that are fitted: perspective (a lens), parallel (telecentric), and a single view of a plane.

Every model's parameters are [shared..., view 0 (6 or 8), view 1, ...]. Distortion is OpenCV's (k1, k2, p1, p2, k3)
throughout, so that a station's `[lens]` means the same whichever model was chosen.
"""

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from vision.calibrate.adjust import Adjusted, Predict, Undetermined, adjust
from vision.records import Array

DISTORTION = ("k1", "k2", "p1", "p2", "k3")
_NO_TURN = np.zeros(3)
# First guess of a far lens's focal length, in widths of the frame, and what is held while it is refined.
_FAR = 20.0
_BENDS = {5: 0, 4: cv2.CALIB_FIX_K3, 1: cv2.CALIB_FIX_K3 | cv2.CALIB_FIX_K2 | cv2.CALIB_ZERO_TANGENT_DIST}
_ONLY_FOCAL = (
    cv2.CALIB_USE_INTRINSIC_GUESS
    | cv2.CALIB_FIX_PRINCIPAL_POINT
    | cv2.CALIB_ZERO_TANGENT_DIST
    | cv2.CALIB_FIX_K1
    | cv2.CALIB_FIX_K2
    | cv2.CALIB_FIX_K3
)


@dataclass(frozen=True, slots=True)
class Perspective:
    """A pinhole with lens distortion.

    `square` holds both focal lengths equal; `bends` says how many of the distortion's numbers are fitted (the others
    are 0); `centre_px`, where given, holds the principal point there.
    """

    square: bool = False
    bends: Literal[1, 4, 5] = 5
    centre_px: tuple[float, float] | None = None
    per_view: int = 6

    @property
    def names(self) -> tuple[str, ...]:
        """Shared parameters, px except the distortion's."""
        focal = ("f",) if self.square else ("fx", "fy")
        return (*focal, *(() if self.centre_px else ("cx", "cy")), *DISTORTION[: self.bends])

    def matrix(self, shared: Array) -> Array:
        """Camera matrix (3, 3)."""
        f = 0 if self.square else 1
        cx, cy = self.centre_px or (shared[f + 1], shared[f + 2])
        return np.array([[shared[0], 0.0, cx], [0.0, shared[f], cy], [0.0, 0.0, 1.0]])

    def distortion(self, shared: Array) -> Array:
        """OpenCV's five coefficients."""
        return np.concatenate((shared[-self.bends :], np.zeros(5 - self.bends)))

    def to_plane(self, shared: Array, view: Array) -> Array:
        """Homography (3, 3): target mm -> undistorted px."""
        turn = cv2.Rodrigues(view[:3])[0]
        return np.asarray(self.matrix(shared) @ np.column_stack((turn[:, 0], turn[:, 1], view[3:])))

    def one(self, shared: Array, view: Array, points_mm: Array) -> tuple[Array, Array, Array]:
        """Points (n, 2), Jacobian to the shared parameters (2 n, s) and to the view's (2 n, 6)."""
        solid = np.column_stack((points_mm, np.zeros(len(points_mm))))
        seen, jac = cv2.projectPoints(solid, view[:3], view[3:], self.matrix(shared), self.distortion(shared))
        focal = jac[:, 6:8].sum(axis=1, keepdims=True) if self.square else jac[:, 6:8]
        to_shared = np.column_stack((focal, jac[:, 10 if self.centre_px else 8 : 10 + self.bends]))
        return np.asarray(seen, dtype=float).reshape(-1, 2), to_shared, np.asarray(jac[:, :6], dtype=float)


@dataclass(frozen=True, slots=True)
class Parallel:
    """No perspective: each view an affine map of the target, then one distortion about the frame's centre.

    `unit_px` is the length that distortion counts as 1 (it stands as the focal length in the station's lens, where
    it only scales the coefficients); `bend` says whether there is a distortion at all.
    """

    unit_px: float
    centre_px: tuple[float, float]
    bend: bool = True
    per_view: int = 6

    @property
    def names(self) -> tuple[str, ...]:
        """Shared parameters."""
        return DISTORTION if self.bend else ()

    def matrix(self, shared: Array) -> Array:
        """Camera matrix (3, 3): fixed, only a unit for the distortion."""
        return np.array(
            [[self.unit_px, 0.0, self.centre_px[0]], [0.0, self.unit_px, self.centre_px[1]], [0.0, 0.0, 1.0]]
        )

    def distortion(self, shared: Array) -> Array:
        """OpenCV's five coefficients."""
        return shared if self.bend else np.zeros(5)

    def to_plane(self, shared: Array, view: Array) -> Array:
        """Homography (3, 3): target mm -> undistorted px; its last row is 0 0 1."""
        return np.asarray(self.matrix(shared) @ np.vstack((view.reshape(2, 3), [0.0, 0.0, 1.0])))

    def one(self, shared: Array, view: Array, points_mm: Array) -> tuple[Array, Array, Array]:
        """Points (n, 2), Jacobian to the shared parameters (2 n, s) and to the view's (2 n, 6)."""
        n = len(points_mm)
        flat = np.column_stack((points_mm, np.ones(n)))
        ideal = np.column_stack((flat @ view.reshape(2, 3).T, np.ones(n)))
        seen, jac = cv2.projectPoints(ideal, _NO_TURN, np.zeros(3), self.matrix(shared), self.distortion(shared))
        # A shift of the point in x or y is a shift of the camera the other way: columns 3 and 4.
        to_view = np.concatenate(
            [jac[:, 3, None] * flat.repeat(2, axis=0), jac[:, 4, None] * flat.repeat(2, axis=0)], axis=1
        )
        to_shared = jac[:, 10:15] if self.bend else jac[:, :0]
        return np.asarray(seen, dtype=float).reshape(-1, 2), np.asarray(to_shared, dtype=float), to_view


@dataclass(frozen=True, slots=True)
class Plane:
    """One view of a plane, no lens: `freedom` 8 a homography, 6 affine, 4 one scale, turned and shifted."""

    freedom: Literal[4, 6, 8]

    @property
    def names(self) -> tuple[str, ...]:
        """Nothing is shared."""
        return ()

    @property
    def per_view(self) -> int:
        """Parameters of the view."""
        return self.freedom

    def to_plane(self, shared: Array, view: Array) -> Array:
        """Homography (3, 3): target mm -> px."""
        if self.freedom == 4:
            a, b, u, v = view
            return np.array([[a, -b, u], [b, a, v], [0.0, 0.0, 1.0]])
        last = [1.0] if self.freedom == 8 else [0.0, 0.0, 1.0]
        return np.concatenate((view, last)).reshape(3, 3)

    def one(self, shared: Array, view: Array, points_mm: Array) -> tuple[Array, Array, Array]:
        """Points (n, 2), an empty shared Jacobian and the view's (2 n, freedom)."""
        n = len(points_mm)
        x, y = points_mm.T
        homography = self.to_plane(shared, view)
        w = points_mm @ homography[2, :2] + 1.0
        seen = (points_mm @ homography[:2, :2].T + homography[:2, 2]) / w[:, None]
        jac = np.zeros((n, 2, self.freedom))
        if self.freedom == 4:
            jac[:, 0] = np.column_stack((x, -y, np.ones(n), np.zeros(n)))
            jac[:, 1] = np.column_stack((y, x, np.zeros(n), np.ones(n)))
        else:
            flat = np.column_stack((points_mm, np.ones(n))) / w[:, None]
            jac[:, 0, :3] = flat
            jac[:, 1, 3:6] = flat
        if self.freedom == 8:
            jac[:, 0, 6:] = -seen[:, 0, None] * points_mm / w[:, None]
            jac[:, 1, 6:] = -seen[:, 1, None] * points_mm / w[:, None]
        return seen, np.empty((2 * n, 0)), jac.reshape(2 * n, self.freedom)


Model = Perspective | Parallel | Plane


def split(model: Model, parameters: Array) -> tuple[Array, list[Array]]:
    """Shared parameters and those of each view."""
    shared = len(model.names)
    return parameters[:shared], list(parameters[shared:].reshape(-1, model.per_view))


def predictor(model: Model, points_mm: Array, views: int) -> Predict:
    """The model as a function of all parameters, for `views` sights of the same target."""
    shared, step, n = len(model.names), model.per_view, 2 * len(points_mm)

    def predict(parameters: Array) -> tuple[Array, Array]:
        common, each = split(model, parameters)
        seen = np.empty((views * len(points_mm), 2))
        jacobian = np.zeros((views * n, len(parameters)))
        for i, view in enumerate(each):
            points, to_shared, to_view = model.one(common, view, points_mm)
            seen[i * len(points_mm) : (i + 1) * len(points_mm)] = points
            jacobian[i * n : (i + 1) * n, :shared] = to_shared
            jacobian[i * n : (i + 1) * n, shared + i * step : shared + (i + 1) * step] = to_view
        return seen, jacobian

    return predict


def fit(
    model: Model, points_mm: Array, seen_px: list[Array], size_px: tuple[int, int], start: Array | None = None
) -> Adjusted:
    """Fit a model to the nodes of each view (n, 2).

    Raises
    ------
    Undetermined
        No first guess can be had from these views (all flat, say).
    """
    if start is None:
        start = _start(model, points_mm, seen_px, size_px)
    return adjust(predictor(model, points_mm, len(seen_px)), start, np.concatenate(seen_px))


def _start(model: Model, points_mm: Array, seen_px: list[Array], size_px: tuple[int, int]) -> Array:
    if isinstance(model, Perspective):
        solid = np.column_stack((points_mm, np.zeros(len(points_mm)))).astype(np.float32)
        seen = [s.astype(np.float32).reshape(-1, 1, 2) for s in seen_px]
        matrix, flags = np.eye(3), _BENDS[model.bends] | (cv2.CALIB_FIX_ASPECT_RATIO if model.square else 0)
        if model.centre_px:
            matrix[:2, 2] = model.centre_px
            matrix[0, 0] = matrix[1, 1] = _FAR * max(size_px)
            flags |= _ONLY_FOCAL
        try:
            _, found, bend, turns, shifts = cv2.calibrateCamera(
                [solid] * len(seen), seen, size_px, matrix, None, flags=flags
            )
        except cv2.error as fault:
            raise Undetermined from fault
        focal = [found[0, 0]] if model.square else [found[0, 0], found[1, 1]]
        centre = [] if model.centre_px else [found[0, 2], found[1, 2]]
        shared = np.array([*focal, *centre, *bend.ravel()[: model.bends]], dtype=float)
        each = [np.concatenate((r.ravel(), t.ravel())) for r, t in zip(turns, shifts, strict=True)]
        start = np.concatenate((shared, *each))
        if not np.isfinite(start).all():
            raise Undetermined
        return start
    if isinstance(model, Parallel):
        flat = np.column_stack((points_mm, np.ones(len(points_mm))))
        ideal = [(s - np.array(model.centre_px)) / model.unit_px for s in seen_px]
        each = [np.linalg.lstsq(flat, points, rcond=None)[0].T.ravel() for points in ideal]
        return np.concatenate((np.zeros(len(model.names)), *each))
    homography = cv2.findHomography(points_mm, seen_px[0])[0]
    if model.freedom == 8:
        return np.asarray(homography.ravel()[:8])
    flat = np.column_stack((points_mm, np.ones(len(points_mm))))
    affine = np.asarray(np.linalg.lstsq(flat, seen_px[0], rcond=None)[0].T, dtype=np.float64)
    if model.freedom == 6:
        return affine.ravel()
    return np.array([(affine[0, 0] + affine[1, 1]) / 2, (affine[1, 0] - affine[0, 1]) / 2, affine[0, 2], affine[1, 2]])
