"""Which camera model fits the sights: several are fitted, and the information criterion decides."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.calibrate.adjust import Adjusted, Undetermined
from vision.calibrate.discs import centroid_shift
from vision.calibrate.models import Model, Parallel, Perspective, Plane, fit, split
from vision.calibrate.sighting import Sighting
from vision.calibrate.target import Target
from vision.errors import Unusable
from vision.records.given import Array

LensChoice = Literal["auto", "perspective", "telecentric", "none"]
# A lens has nine numbers of its own; two views of a plane leave it to chance.
MIN_VIEWS = 3
_OF_ONE_VIEW: tuple[tuple[str, Literal[4, 6, 8]], ...] = (
    ("one scale", 4),
    ("parallel view of a plane", 6),
    ("perspective view of a plane", 8),
)
# Focal length in widths of the frame beyond which (a field under 1.2 degrees) principal point and higher distortion
# are not told by any number of views.
_FAR = 50.0
# Rounds of correcting where a slanted disc's true centre lies; a third would change nothing above 1e-4 px.
_DISC_ROUNDS = 2


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A camera model that was tried and its fit."""

    name: str
    model: Model
    fitted: Adjusted


def fit_candidates(
    sights: Sequence[Sighting], target: Target, lens: LensChoice, square_pixels: bool
) -> tuple[Candidate, ...]:
    """All models that may be asked of these sights, best first by Schwarz's criterion.

    A perspective lens far away turns into a parallel projection, so the telecentric model has three or four numbers
    less and wins where the perspective is not seen in the residuals.

    Raises
    ------
    Unusable
        No model is determined by these views.
    """
    size = sights[0].size_px
    centre = ((size[0] - 1) / 2.0, (size[1] - 1) / 2.0)
    found: list[Candidate] = []
    if len(sights) == 1:
        for name, freedom in _OF_ONE_VIEW:
            found += _tried(name, Plane(freedom), sights, target)
    if len(sights) > 1 and lens != "telecentric":
        found += _tried("perspective with lens distortion", Perspective(square_pixels), sights, target)
        if not found or found[0].fitted.parameters[0] > _FAR * max(size):
            simple = Perspective(square_pixels, centre)
            found = _tried("perspective about the frame's middle with k1 only", simple, sights, target)
    if len(sights) > 1 and lens != "perspective":
        unit = float(np.hypot(*size)) / 2.0
        for name, bend in (("telecentric with lens distortion", True), ("telecentric without distortion", False)):
            found += _tried(name, Parallel(unit, centre, bend), sights, target)
    if not found:
        raise Unusable("IMAGE...", "", "views that determine a lens: tilt the target by 15 degrees or more in several")
    return tuple(sorted(found, key=lambda candidate: candidate.fitted.information))


def _tried(name: str, model: Model, sights: Sequence[Sighting], target: Target) -> list[Candidate]:
    """The model's fit, or nothing where these views leave one of its numbers free."""
    try:
        fitted = fit_sights(model, sights, target)
        fitted.refuse_undetermined()
    except Undetermined:
        return []
    return [Candidate(name, model, fitted)]


def fit_sights(model: Model, sights: Sequence[Sighting], target: Target, start: Array | None = None) -> Adjusted:
    """Fit one model; for discs, again after moving each centroid to where the slanted disc's centre is seen.

    Raises
    ------
    Undetermined
        No first guess can be had from these views.
    """
    seen = [sight.points_px for sight in sights]
    size = sights[0].size_px
    fitted = fit(model, target.points_mm, seen, size, start)
    if sights[0].area_px is None:
        return fitted
    for _ in range(_DISC_ROUNDS):
        shared, views = split(model, fitted.parameters)
        moved = [_centres(model, shared, view, sight, target) for view, sight in zip(views, sights, strict=True)]
        fitted = fit(model, target.points_mm, moved, size, fitted.parameters)
    return fitted


def _centres(model: Model, shared: Array, view: Array, sight: Sighting, target: Target) -> Array:
    def project(points_mm: Array) -> Array:
        return model.one(shared, view, points_mm)[0]

    assert sight.area_px is not None  # only discs are corrected
    radius_mm = float(np.sqrt(np.median(sight.area_px / _px2_per_mm2(project, target)) / np.pi))
    return sight.points_px - centroid_shift(project, target.points_mm, radius_mm)


def _px2_per_mm2(project: Callable[[Array], Array], target: Target) -> Array:
    step_mm = 0.01 * target.pitch_mm
    here, right, down = (project(target.points_mm + np.array(d)) for d in ((0.0, 0.0), (step_mm, 0.0), (0.0, step_mm)))
    a, b = (right - here) / step_mm, (down - here) / step_mm
    return np.asarray(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))
