"""Where a piece lies: a robust rigid fit of its edge points to the nominal, with covariance.

Point-to-line registration (Chen and Medioni 1992; Besl and McKay 1992) for rotation, translation and one even
offset along the normals. The offset is a nuisance: without it an evenly fat piece on an open datum zone would
turn part of its growth into a shift. Three least-squares steps, then Tukey's biweight (Beaton and Tukey 1974).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import Motion
from vision.outline.nominal import Nominal
from vision.records import Array, Pair


@dataclass(frozen=True, slots=True)
class RegistrationSettings:
    """How a fit weighs its points, and when it is settled."""

    # Tukey's tuning constant for 95 % efficiency on normal errors.
    tukey: float = 4.685
    # Smallest scale of the robust weights (mm): below a fiftieth of a pixel at 0.05 mm, pixel phase and not noise is
    # left.
    floor_mm: float = 0.001
    # Steps by least squares before the weights come in ...
    least_squares_steps: int = 3
    # ... and steps in all, at most.
    most_steps: int = 25
    # A fit is settled when no point of the piece moves by more than this (mm): a hundredth of what is told.
    settled_mm: float = 3e-5
    # Neighbouring edge points share pixels; a sum of n of them varies this many times more than if they were
    # independent (measured on rendered edges at 1 px spacing: 1.5 to 1.7, see the methods page).
    edge_correlation: float = 1.7
    # Points that a fit must have: it has four unknowns.
    least_points: int = 8


REGISTRATION = RegistrationSettings()

MAD_TO_SD = 1.4826


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A registration: `motion` takes the points' frame to the drawing.

    `offset_mm`: even offset along the outward normals; `covariance` (4, 4) of (x mm, y mm, angle rad, offset mm), the
    rotation taken about `pivot_mm` (drawing); `rms_mm`: weighted residual; `noise_mm`: robust standard deviation of one
    edge point; `kept`: share of points with weight above a half.
    """

    motion: Motion
    offset_mm: float
    covariance: Array
    pivot_mm: Pair
    rms_mm: float
    noise_mm: float
    kept: float


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """What a fit may rest on: the nominal, which of its points (n,), and how far off a point may lie (mm)."""

    nominal: Nominal
    use: NDArray[np.bool_]
    reach_mm: float


def fit_rigid(points: Array, start: Motion | Fit, target: Target) -> Fit | None:
    """Register points (n, 2) in tray mm to the nominal, from a start.

    Parameters
    ----------
    start
        A rough motion; or an earlier fit, which goes straight on with robust weights.

    Returns
    -------
    Fit or None
        None when fewer than eight points take part.
    """
    nominal = target.nominal
    robust = isinstance(start, Fit)
    motion, offset = (start.motion, start.offset_mm) if isinstance(start, Fit) else (start, 0.0)
    pivot = np.asarray(nominal.points[target.use].mean(axis=0))
    arm = float(np.abs(nominal.points[target.use] - pivot).max())
    switch = 0 if robust else REGISTRATION.least_squares_steps
    if robust:
        # An earlier fit lies right to a pixel: points that don't belong to the target now never will.
        points = points[target.use[nominal.project(motion.apply(points)).nearest]]
    for step in range(REGISTRATION.most_steps):
        moved = motion.apply(points)
        feet = nominal.project(moved)
        use = np.flatnonzero(target.use[feet.nearest] & (np.abs(feet.off_mm) < target.reach_mm))
        if len(use) < REGISTRATION.least_points:
            return None
        off, (nx, ny) = feet.off_mm[use], nominal.table[2:4, feet.nearest[use]]
        lever = moved[use] - pivot
        rows = np.stack((nx, ny, (lever[:, 0] * ny - lever[:, 1] * nx) / arm, np.full(len(use), -1.0)))
        if step == switch and not robust:
            offset = median(off)
            robust = True
        residual = off - offset
        # About zero, not about the median: about the median every weight can become nought.
        scale = max(MAD_TO_SD * median(np.abs(residual)), REGISTRATION.floor_mm)
        weight = _biweight(residual / (REGISTRATION.tukey * scale)) if robust else np.ones(len(residual))
        weighted = rows * weight
        normal_matrix = weighted @ rows.T
        try:
            change = np.linalg.solve(normal_matrix, -weighted @ residual)
        except np.linalg.LinAlgError:
            return None
        angle = float(change[2]) / arm
        turned = Motion(angle, (0.0, 0.0)).matrix @ -pivot + pivot + change[:2]
        motion = Motion(angle, (float(turned[0]), float(turned[1]))).after(motion)
        offset += float(change[3])
        if robust and step > switch + 1 and np.abs(change).max() < REGISTRATION.settled_mm:
            break
    dof = max(float(weight.sum()) - 4, 1.0)
    variance = float((weight * residual**2).sum() / dof)
    covariance = variance * REGISTRATION.edge_correlation * np.linalg.pinv(normal_matrix)
    unit = np.diag((1.0, 1.0, 1.0 / arm, 1.0))
    return Fit(
        motion=motion,
        offset_mm=offset,
        covariance=unit @ covariance @ unit,
        pivot_mm=(float(pivot[0]), float(pivot[1])),
        rms_mm=float(np.sqrt(variance)),
        noise_mm=scale,
        kept=float((weight > 0.5).mean()),
    )


def median(values: Array) -> float:
    """The middle value of many, the upper one of two; quicker than the library's, which asks about nan and axes."""
    half = len(values) // 2
    return float(np.partition(values, half)[half])


def _biweight(x: Array) -> Array:
    return np.asarray(np.where(np.abs(x) < 1, (1 - x * x) ** 2, 0.0))
