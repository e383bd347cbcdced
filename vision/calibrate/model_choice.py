"""Which camera model fits the sights: several are fitted, and the information criterion decides."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.calibrate.adjust import Adjusted, Undetermined
from vision.calibrate.corners import bend_shift
from vision.calibrate.discs import centroid_shift
from vision.calibrate.models import Model, Parallel, Perspective, Plane, fit, split
from vision.calibrate.observation import Observation
from vision.calibrate.target import Target
from vision.errors import Unusable
from vision.records import Array

LensChoice = Literal["auto", "perspective", "telecentric", "none"]
# A lens has nine numbers of its own; two views of a plane leave it to chance.
MIN_VIEWS = 3
_OF_ONE_VIEW: tuple[tuple[str, Literal[4, 6, 8]], ...] = (
    ("one scale", 4),
    ("parallel view of a plane", 6),
    ("perspective view of a plane", 8),
)
_FEWER_BENDS: tuple[tuple[str, Literal[1, 4]], ...] = (
    ("perspective with k1, k2, p1, p2", 4),
    ("perspective with k1", 1),
)
# Focal length in widths of the frame beyond which (a field under 1.2 degrees) principal point and higher distortion
# are not told by any number of views.
_FAR = 50.0
# Rounds of correcting where a node truly lies; a third would change nothing above 1e-4 px.
_NODE_ROUNDS = 2


@dataclass(frozen=True, slots=True)
class LensFreedom:
    """What a perspective lens may do: unequal focal lengths or not, fewer distortion numbers than five or not."""

    square_pixels: bool = False
    all_distortion: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class ModelFit:
    """A camera model that was tried and its fit."""

    name: str
    model: Model
    fitted: Adjusted


def fit_models(
    observations: Sequence[Observation], target: Target, lens: LensChoice, freedom: LensFreedom
) -> tuple[ModelFit, ...]:
    """All models that may be asked of these sights, best first by Schwarz's criterion.

    A perspective lens far away turns into a parallel projection, so the telecentric model has three or four numbers
    less and wins where the perspective is not seen in the residuals. Distortion that is not seen is left out likewise:
    numbers that only noise holds do no harm among the target's nodes, but they run wild outside.

    Raises
    ------
    Unusable
        No model is determined by these views.
    """
    size = observations[0].size_px
    centre = ((size[0] - 1) / 2.0, (size[1] - 1) / 2.0)
    found: list[ModelFit] = []
    if len(observations) == 1:
        for name, count in _OF_ONE_VIEW:
            found += _tried(name, Plane(count), observations, target)
    if len(observations) > 1 and lens != "telecentric":
        found += _perspectives(observations, target, freedom, centre)
    if len(observations) > 1 and lens != "perspective":
        unit = float(np.hypot(*size)) / 2.0
        for name, bend in (("telecentric with lens distortion", True), ("telecentric without distortion", False)):
            found += _tried(name, Parallel(unit, centre, bend), observations, target)
    if not found:
        raise Unusable("IMAGE...", "", "views that determine a lens: tilt the target by 15 degrees or more in several")
    return tuple(sorted(found, key=lambda model_fit: model_fit.fitted.information))


def fullest(model_fits: Sequence[ModelFit]) -> ModelFit:
    """Of the best candidate's family the one with the most numbers: what is left out of the best is in it."""
    family = [model_fit for model_fit in model_fits if type(model_fit.model) is type(model_fits[0].model)]
    return max(family, key=lambda model_fit: len(model_fit.fitted.parameters))


def _perspectives(
    observations: Sequence[Observation], target: Target, freedom: LensFreedom, centre: tuple[float, float]
) -> list[ModelFit]:
    full = _tried("perspective with lens distortion", Perspective(freedom.square_pixels), observations, target)
    if not full or full[0].fitted.parameters[0] > _FAR * max(observations[0].size_px):
        simple = Perspective(freedom.square_pixels, 1, centre)
        return _tried("perspective about the frame's middle with k1 only", simple, observations, target)
    if freedom.all_distortion:
        return full
    for name, bends in _FEWER_BENDS:
        full += _tried(name, Perspective(freedom.square_pixels, bends), observations, target)
    return full


def _tried(name: str, model: Model, observations: Sequence[Observation], target: Target) -> list[ModelFit]:
    """The model's fit, or nothing where these views leave one of its numbers free."""
    try:
        fitted = fit_observations(model, observations, target)
        fitted.refuse_undetermined()
    except Undetermined:
        return []
    return [ModelFit(name, model, fitted)]


def fit_observations(
    model: Model, observations: Sequence[Observation], target: Target, start: Array | None = None
) -> Adjusted:
    """Fit one model, and again after correcting what the camera does to a node.

    A slanted disc's centroid is not its centre, and edges bent by the lens pull a fitted corner. Corners that were
    searched, not fitted, are taken as they are.

    Raises
    ------
    Undetermined
        No first guess can be had from these views.
    """
    seen = [observation.points_px for observation in observations]
    size = observations[0].size_px
    fitted = fit(model, target.points_mm, seen, size, start)
    if observations[0].sd_px is None:
        return fitted
    for _ in range(_NODE_ROUNDS):
        shared, views = split(model, fitted.parameters)
        moved = [
            _centres(model, shared, view, observation, target)
            for view, observation in zip(views, observations, strict=True)
        ]
        fitted = fit(model, target.points_mm, moved, size, fitted.parameters)
    return fitted


def _centres(model: Model, shared: Array, view: Array, observation: Observation, target: Target) -> Array:
    def project(points_mm: Array) -> Array:
        return model.one(shared, view, points_mm)[0]

    if observation.area_px is None:
        return observation.points_px - bend_shift(project, target.points_mm, observation.half_window_px)
    radius_mm = float(np.sqrt(np.median(observation.area_px / _px2_per_mm2(project, target)) / np.pi))
    return observation.points_px - centroid_shift(project, target.points_mm, radius_mm)


def _px2_per_mm2(project: Callable[[Array], Array], target: Target) -> Array:
    step_mm = 0.01 * target.pitch_mm
    here, right, down = (project(target.points_mm + np.array(d)) for d in ((0.0, 0.0), (step_mm, 0.0), (0.0, step_mm)))
    a, b = (right - here) / step_mm, (down - here) / step_mm
    return np.asarray(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))
