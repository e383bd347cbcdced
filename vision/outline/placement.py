"""From a closed contour to a placed piece: first guesses by area moments, then the robust fit on the datum zones."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import CameraMapping, Moments, Motion, moments
from vision.outline.nominal import Nominal
from vision.outline.registration import Fit, Target, fit_rigid
from vision.records import Array, Pose


@dataclass(frozen=True, slots=True)
class PlacementSettings:
    """How a piece is laid on its drawing."""

    # First fits may start this far off (mm) ...
    wide_mm: float = 6.0
    # ... final ones no more than this (mm): a bump or a bend reaches further and takes no part.
    narrow_mm: float = 2.5
    # First fits look at so many points; they only choose between the two ways round.
    few: int = 250
    # A fit must keep this share of its points.
    least_left: float = 0.5
    # One way round is clearly the right one when it misfits by less than this share of the other.
    clear: float = 0.5
    # A robust fit that keeps this share of its points needs no second opinion.
    well_kept: float = 0.9
    # A fit settles on so many points ...
    some: int = 500
    # ... and is finished on at most so many: more would not tell on any measure.
    many: int = 1600


PLACEMENT = PlacementSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """A piece in its place: `datum` from tray mm to the drawing on the datum zones; `bend` the bend zone's own fit."""

    datum: Fit
    bend: Fit | None


def thin(points: Array, count: int) -> Array:
    """Every k-th point, so that about `count` are left."""
    return points[:: max(1, len(points) // count)]


def find_placement(points: Array, nominal: Nominal) -> Placement | None:
    """Place edge points (n, 2) in tray mm of a closed contour; None where no fit holds."""
    found, wanted = moments(thin(points, PLACEMENT.some)), nominal.moments
    few = thin(points, PLACEMENT.few)
    everywhere = Target(nominal, np.ones(len(nominal.points), bool), PLACEMENT.wide_mm)
    ways = [_aligned(found, wanted, turn) for turn in (0.0, np.pi)]
    misfits = [misfit(few, way, nominal) for way in ways]
    if min(misfits) > PLACEMENT.clear * max(misfits):
        # Nearly alike both ways round: only the fits can tell.
        fits = [fit_rigid(few, way, everywhere) for way in ways]
        trials = [(misfit(few, fit.motion, nominal), fit) for fit in fits if fit is not None]
        best = min(trials, key=lambda trial: trial[0])[1] if trials else None
    else:
        best = fit_rigid(few, ways[int(np.argmin(misfits))], everywhere)
    return None if best is None else refine(points, best, nominal)


def _aligned(found: Moments, wanted: Moments, turn: float) -> Motion:
    """Centroid on centroid, axis along axis, turned by `turn` more."""
    angle = wanted.axis_rad - found.axis_rad + turn
    moved = Motion(angle, (0.0, 0.0)).apply(np.array([found.centroid]))[0]
    return Motion(angle, (float(wanted.centroid[0] - moved[0]), float(wanted.centroid[1] - moved[1])))


def refine(points: Array, start: Motion | Fit, nominal: Nominal) -> Placement | None:
    """The final fits from a start: on the datum zones, and on the bend zone where the part has one."""
    datum = _fit(points, start, nominal, nominal.datum)
    if datum is None:
        return None
    return Placement(datum, _fit(points, datum, nominal, nominal.bend) if nominal.bend.any() else None)


def refine_beside(points: Array, placement: Placement, nominal: Nominal, spoilt: NDArray[np.bool_]) -> Placement:
    """The final fits without the nominal's points that are `spoilt` (n,): a long swell's tails pull at any fit.

    A zone that would keep less than `PLACEMENT.least_left` of itself is fitted as it was.
    """

    def again(fit: Fit, zone: NDArray[np.bool_]) -> Fit:
        use = zone & ~spoilt
        if use.sum() < PLACEMENT.least_left * zone.sum():
            return fit
        return fit_rigid(thin(points, PLACEMENT.many), fit, Target(nominal, use, PLACEMENT.narrow_mm)) or fit

    bend = None if placement.bend is None else again(placement.bend, nominal.bend)
    return Placement(again(placement.datum, nominal.datum), bend)


def _fit(points: Array, start: Motion | Fit, nominal: Nominal, use: NDArray[np.bool_]) -> Fit | None:
    """Fit on many points from an earlier fit; where that does not hold, on some points first.

    Least squares first finds its way from afar, but a large nick can lead it astray along a slender handle; robust
    weights at once hold on to what already fits. The one that leaves less noise on more points is right.
    """
    many, narrow = thin(points, PLACEMENT.many), Target(nominal, use, PLACEMENT.narrow_mm)
    if isinstance(start, Fit):
        straight = fit_rigid(many, start, narrow)
        if straight is not None and straight.kept >= PLACEMENT.well_kept:
            return straight
    some, wide = thin(points, PLACEMENT.some), Target(nominal, use, PLACEMENT.wide_mm)
    starts = (start, start.motion) if isinstance(start, Fit) else (start,)
    rough = [fit for one in starts if (fit := fit_rigid(some, one, wide)) is not None]
    best = min(rough, key=lambda fit: fit.noise_mm / max(fit.kept, 1e-3), default=None)
    return None if best is None else fit_rigid(many, best, narrow)


def misfit(points: Array, motion: Motion, nominal: Nominal) -> float:
    """Mean distance from the nominal, each at most a millimetre."""
    return float(np.minimum(np.abs(nominal.project(motion.apply(points)).off_mm), 1.0).mean())


def pose_of(placement: Placement, nominal: Nominal, camera: CameraMapping) -> Pose:
    """The pose as seen in the image."""
    to_tray = placement.datum.motion.inverse()
    middle = np.asarray(nominal.moments.centroid)
    ahead = middle + np.array([[0.0, 0.0], [0.5, 0.0], [-0.5, 0.0]])
    center, front, rear = camera.to_px(to_tray.apply(ahead))
    angle = np.degrees(np.arctan2(-(front[1] - rear[1]), front[0] - rear[0]))
    return Pose(
        center_px=(float(center[0]), float(center[1])),
        angle_deg=float(angle if angle > -180.0 else angle + 360.0),
        fit_rms_mm=placement.datum.rms_mm,
    )
