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
    found = []
    for name, model in _asked(size, len(sights), lens, square_pixels):
        try:
            found.append(Candidate(name, model, fit_sights(model, sights, target)))
        except Undetermined:
            continue
    if not found:
        raise Unusable("IMAGE...", "", "views that determine a lens: tilt the target by 15 degrees or more in several")
    return tuple(sorted(found, key=lambda candidate: candidate.fitted.information))


def _asked(size: tuple[int, int], views: int, lens: LensChoice, square_pixels: bool) -> list[tuple[str, Model]]:
    if views == 1:
        return [
            ("one scale", Plane(4)),
            ("parallel view of a plane", Plane(6)),
            ("perspective view of a plane", Plane(8)),
        ]
    centre = ((size[0] - 1) / 2.0, (size[1] - 1) / 2.0)
    unit = float(np.hypot(*size)) / 2.0
    perspective: list[tuple[str, Model]] = [("perspective with lens distortion", Perspective(square_pixels))]
    parallel: list[tuple[str, Model]] = [
        ("telecentric with lens distortion", Parallel(unit, centre, True)),
        ("telecentric without distortion", Parallel(unit, centre, False)),
    ]
    return (perspective if lens != "telecentric" else []) + (parallel if lens != "perspective" else [])


def fit_sights(model: Model, sights: Sequence[Sighting], target: Target, start: Array | None = None) -> Adjusted:
    """Fit one model; for discs, again after moving each centroid to where the slanted disc's centre is seen.

    Raises
    ------
    Undetermined
        The views leave a parameter free.
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
