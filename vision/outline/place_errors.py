"""Errors of an outline's place that differ along it: what they do to deviations, sizes, turns and largest values."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vision.geometry import CameraMapping
from vision.outline.nominal import Nominal
from vision.outline.placement import Placement
from vision.records import Array, Pair


@dataclass(frozen=True, slots=True)
class PlaceErrorSettings:
    """How errors of an outline's place go together along it."""

    # What changes slowly along a piece (rims, height) errs alike over so much outline (the integral of its correlation,
    # mm).
    alike_mm: float = 24.0
    # How far apart an outline's height is looked at (mm).
    spacing_mm: float = 6.0
    # A fit on fewer places than it has unknowns takes them all.
    least_places: int = 5
    # Errors drawn to see what they do to a largest deviation ...
    draws: int = 64
    # ... from this start, so that a tray is measured alike twice.
    first_draw: int = 2121


PLACE_ERRORS = PlaceErrorSettings()


@dataclass(frozen=True, slots=True, eq=False)
class PlaceErrors:
    """Errors at b places along an outline: `step` (b,), ascending, where they lie among the nominal's `count` points.

    They are sums of m independent parts of standard size, so that all their covariances are known: `deviation_mm`
    (b, m) of deviations, which follow the datum's fit, that errors which differ on either side shift and turn;
    `turn_rad` of the bend zone's turn against the datum's. At each nominal point, (n,): `alone_mm`, the standard
    uncertainty of the deviation there, and `near`, the place nearest to it.
    """

    step: Array
    count: int
    deviation_mm: Array
    turn_rad: float
    alone_mm: Array
    near: NDArray[np.int64]

    def of_extent(self, one: int, other: int) -> float:
        """Of the size between two nominal points: what moves both ends outward counts twice, mm.

        What a fit shifts or turns cancels where the ends face away from each other, not where a zone ends on a slope.
        """
        return float(np.linalg.norm(self._between(self.deviation_mm, one) + self._between(self.deviation_mm, other)))

    def of_largest(self, value: Array, at: NDArray[np.int64]) -> float:
        """Of the largest of the values (k,) at nominal points `at` (k,), mm: root mean square change under its errors.

        A maximum seeks out errors that differ along the outline: it grows on average, and one place's own uncertainty
        says less than that. The values hold such errors already: what these spread them by is taken out first, since
        places that stand out by errors alone are level in truth.
        """
        near = self.near[at]
        tops = np.full(len(self.step), -np.inf)
        np.maximum.at(tops, near, value)
        use = np.isfinite(tops)
        errors = self.deviation_mm[use] @ _draws(self.deviation_mm.shape[1])
        level, spread = tops[use].mean(), float(errors.var(axis=0).mean())
        true = level + (tops[use] - level) * np.sqrt(max(0.0, 1.0 - spread / max(float(tops[use].var()), 1e-12)))
        change = (true[:, None] + errors).max(axis=0) - true.max()
        return float(np.sqrt(np.mean(change**2)))

    def of_rms(self, value: Array, at: NDArray[np.int64]) -> float:
        """Of the root mean square of values (k,) at nominal points `at` (k,), mm."""
        share = np.bincount(self.near[at], weights=value, minlength=len(self.step)) / len(at)
        size = float(np.sqrt(np.mean(self.alone_mm[at] ** 2)))
        rms = max(float(np.sqrt(np.mean(value**2))), 1e-9)
        # To first order an error counts as it lies along the values; where it is as large as these, all of it does.
        return float(np.hypot(np.linalg.norm(share @ self.deviation_mm) / rms, size * min(1.0, size / (2 * rms))))

    def _between(self, rows: Array, index: int) -> Array:
        after = int(np.searchsorted(self.step, index)) % len(self.step)
        gap = (self.step[after] - self.step[after - 1]) % self.count
        part = float(((index - self.step[after - 1]) % self.count) / gap) if gap else 0.0
        return np.asarray((1 - part) * rows[after - 1] + part * rows[after])


def errors_along(step: Array, shared_mm: Array, own_mm: Array, placement: Placement, nominal: Nominal) -> PlaceErrors:
    """Of a placed piece, from what places have in common and what is each one's own.

    Parameters
    ----------
    step
        Where the places lie among the nominal's points, ascending: (b,).
    shared_mm
        Standard parts that they have in common, outward positive, column by column: (b, g).
    own_mm
        Standard part of each that is alike only nearby, with its sign: (b,).
    placement
        The fits that errors shift and turn.
    nominal
        The drawing.
    """
    index, count = step.astype(np.int64), len(nominal.points)
    own = own_mm[:, None] * alike(step * nominal.step_mm, count * nominal.step_mm)
    place = np.concatenate((shared_mm, own), axis=1)
    levers = _levers(nominal, index, placement.datum.pivot_mm)

    def follows(zone: NDArray[np.bool_]) -> Array:
        """How x, y and turn of a fit on a zone follow the errors' parts: (3, m)."""
        use = zone[index]
        if use.sum() < PLACE_ERRORS.least_places:
            use = np.ones(len(index), bool)
        # By the normal equations: of four unknowns, many times quicker than by the levers' own singular values.
        return np.asarray(np.linalg.pinv(levers[use].T @ levers[use])[:3] @ (levers[use].T @ place[use]))

    pose = follows(nominal.datum)
    turn = 0.0 if placement.bend is None else float(np.linalg.norm(pose[2] - follows(nominal.bend)[2]))
    deviation = place - levers[:, :3] @ pose
    alone = everywhere(np.linalg.norm(deviation, axis=1), step, count)
    # From half way between two places on the next one is nearer.
    bounds = (step + np.append(step[1:], step[0] + count)) / 2
    near = np.searchsorted(bounds, np.arange(count)) % len(step)
    return PlaceErrors(step, count, deviation, turn, alone, near)


def height_errors(placement: Placement, nominal: Nominal, camera: CameraMapping) -> PlaceErrors | None:
    """What an outline that is not as high as taken moves; None without doubt of it or a camera that sees height."""
    count, doubt_mm = len(nominal.points), nominal.part.edge_height_u_mm
    if camera.station.camera is None or not doubt_mm:
        return None
    places = round(count * nominal.step_mm / PLACE_ERRORS.spacing_mm)
    step = np.linspace(0.0, count, places, endpoint=False)
    to_tray, index = placement.datum.motion.inverse(), step.astype(np.int64)
    at_mm = to_tray.apply(nominal.points[index])
    outward = to_tray.apply(nominal.points[index] + nominal.normals[index]) - at_mm
    return errors_along(step, np.zeros((places, 0)), doubt_mm * lean(at_mm, outward, camera), placement, nominal)


def lean(at_mm: Array, outward: Array, camera: CameraMapping) -> Array:
    """Tangent of the sight line's lean outward at places (n, 2) in the tray, `outward` (n, 2) of any length: (n,)."""
    pupil = camera.station.camera
    if pupil is None:
        return np.zeros(len(at_mm))
    away = ((at_mm - np.asarray(pupil.foot_mm)) * outward).sum(axis=1) / np.hypot(outward[:, 0], outward[:, 1])
    return np.asarray(away / (pupil.height_mm - camera.height_mm))


def everywhere(by_block: Array, step: Array, count: int) -> Array:
    """Values (b,) at places along the outline, straight between them, at its `count` points."""
    return np.asarray(np.interp(np.arange(count), step, by_block, period=count))


def alike(at_mm: Array, around_mm: float) -> Array:
    """Parts (b, b) of errors of size one at places (b,) along a closed outline, alike over `alike_mm`."""
    gap = np.abs(at_mm[:, None] - at_mm)
    gap = np.minimum(gap, around_mm - gap)
    # A Gaussian of half the variance, smoothed with itself, is the correlation.
    parts = np.exp(-(gap**2) * 2 * np.pi / PLACE_ERRORS.alike_mm**2)
    return np.asarray(parts / np.linalg.norm(parts, axis=1)[:, None])


@lru_cache(maxsize=64)
def _draws(parts: int) -> Array:
    half = np.random.default_rng(PLACE_ERRORS.first_draw).normal(size=(parts, PLACE_ERRORS.draws // 2))
    half /= np.sqrt(np.mean(half**2, axis=1))[:, None]
    return np.concatenate((half, -half), axis=1)


def _levers(nominal: Nominal, index: NDArray[np.int64], pivot_mm: Pair) -> Array:
    """How a deviation follows the pose, at nominal points: rows of x, y, turn about the pivot, even offset: (n, 4)."""
    lever, n = nominal.points[index] - pivot_mm, nominal.normals[index]
    return np.column_stack((n, lever[:, 0] * n[:, 1] - lever[:, 1] * n[:, 0], -np.ones(len(index))))
