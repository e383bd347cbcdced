"""Several observations of a target to a station's geometry, with its evidence and uncertainties."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from vision.calibrate.budget import Budget
from vision.calibrate.heights import Heights, at_tray
from vision.calibrate.model_choice import (
    MIN_VIEWS,
    LensChoice,
    LensFreedom,
    ModelFit,
    fit_models,
    fit_observations,
    fullest,
)
from vision.calibrate.models import split
from vision.calibrate.observation import Observation
from vision.calibrate.station_budgets import Change, Evidence, outline_budget, scale_budget
from vision.calibrate.target import Target
from vision.calibrate.tray_frame import TrayFrame, compared, field_hull, field_points, tilt_deg, tray_frame_of
from vision.calibrate.uncertainty import (
    MapUncertainty,
    Step,
    in_ways,
    largest,
    no_step,
)
from vision.errors import Unusable
from vision.records import Array

# A view this many times worse than the median view does not belong: 50 corners alone scatter by 7 %.
OUTLYING = 3.0


@dataclass(frozen=True, slots=True)
class Settings:
    """How to calibrate: which lens model and what it may do, outlying views left out or only named, heights."""

    lens: LensChoice = "auto"
    freedom: LensFreedom = field(default_factory=LensFreedom)
    leave_out: bool = False
    heights: Heights = field(default_factory=Heights)


@dataclass(frozen=True, slots=True, eq=False)
class ViewFit:
    """One view: nodes and residuals (seen minus predicted), both (n, 2) px, and the rms of the residuals' lengths.

    A view that was left out has the residuals of the last fit that it took part in.
    """

    name: str
    points_px: Array
    residuals_px: Array
    rms_px: float
    tilt_deg: float
    outlying: bool
    left_out: bool


@dataclass(frozen=True, slots=True)
class Number:
    """One of a lens's numbers with its standard uncertainty: of the fit, of the window and of the model's choice."""

    name: str
    value: float
    standard: float


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A station's geometry with its evidence.

    `numbers` are the lens's, those that were left out being 0. `uncertainties` holds the map's standard uncertainties
    found in two or three ways, by name, `uncertainty` the largest of each; `second` what half the window changes and
    `fuller` what the numbers change that the chosen model leaves out. All stand in the budgets `scale` (relative) and
    `outline` (mm).
    `field_px` is the convex field (n, 2) in which nodes were seen, `window_share` the largest half window over the
    smallest pitch of its view.
    """

    target: Target
    heights: Heights
    size_px: tuple[int, int]
    tray_frame: TrayFrame
    model_fits: tuple[ModelFit, ...]
    numbers: tuple[Number, ...]
    uncertainties: Mapping[str, MapUncertainty]
    uncertainty: MapUncertainty
    views: tuple[ViewFit, ...]
    corner_sd_px: float | None
    blur_px: float | None
    second: Change
    fuller: Change
    half_windows_px: tuple[int, int]
    scale: Budget
    outline: Budget
    field_px: Array
    window_share: float

    @property
    def chosen(self) -> ModelFit:
        """The model that stands."""
        return self.model_fits[0]

    @property
    def height_standard_mm(self) -> float:
        """Standard uncertainty of the pupil's height; nan without a pupil."""
        return float(np.linalg.norm([self.uncertainty.height_mm, self.second.height_mm, self.fuller.height_mm]))

    @property
    def foot_standard_mm(self) -> float:
        """Standard uncertainty of one coordinate of the foot below the pupil; nan without a pupil."""
        return float(np.linalg.norm([self.uncertainty.foot_mm, self.second.foot_mm, self.fuller.foot_mm]))


def calibrate(
    first: Sequence[Observation],
    second: Sequence[Observation],
    target: Target,
    settings: Settings,
    rng: np.random.Generator,
    step: Step = no_step,
) -> Calibration:
    """Fit the camera; the tray's plane is below where the target's face lies in the first view, by its thickness.

    Parameters
    ----------
    first, second
        The target's nodes in each picture, found with the full and with half the window, in the same order.
    target
        The target as it was made, mm.
    settings
        Which models may be chosen, what was set by hand, and heights above the tray.
    rng
        Draws the resampled residuals.
    step
        Called with the share of the work done, 0 to 1, as it goes on.

    Returns
    -------
    Calibration
        Camera, lens and plane with their uncertainties, and what was left out.

    Raises
    ------
    Unusable
        Sizes differ, too few views for a lens, views that leave it undetermined, or a height needed is not told.
    """
    size = _one_size(first)
    _refuse_too_few(len(first), settings.lens)
    used = list(first[:1] if settings.lens == "none" else first)
    views: dict[str, ViewFit] = {}
    while True:
        model_fits = fit_models(used, target, settings.lens, settings.freedom)
        now = _view_fits(used, model_fits[0])
        views.update(now)
        out = {name for name, view in now.items() if view.outlying}
        if not out or not settings.leave_out:
            break
        views.update({name: _without(views[name]) for name in out})
        used = _remaining(used, out)
    chosen, full = model_fits[0], fullest(model_fits)
    at_px = field_points([observation.points_px for observation in used])
    uncertainties = in_ways(full, target.points_mm, len(used), size, at_px, rng, step)
    uncertainty = largest(list(uncertainties.values()))
    pairs = [(whole, half) for whole, half in zip(first, second, strict=False) if whole in used]
    again = fit_observations(full.model, [half for _, half in pairs], target, full.fitted.parameters)
    second_opinion = _change(full, ModelFit(full.name, full.model, again), size, at_px)
    fuller = _change(chosen, full, size, at_px)
    windows = (pairs[0][0].half_window_px, pairs[0][1].half_window_px)
    at_target = _tray_frame(chosen, size)
    tray_frame, thickness = at_tray(at_target, chosen.model, settings.heights, max(size) * at_target.mm_per_px)
    evidence = Evidence(uncertainty, second_opinion, fuller, windows, full.fitted.freedom)
    return Calibration(
        target=target,
        heights=settings.heights,
        size_px=size,
        tray_frame=tray_frame,
        model_fits=model_fits,
        numbers=_numbers(chosen, full, uncertainty, second_opinion, fuller),
        uncertainties=uncertainties,
        uncertainty=uncertainty,
        views=tuple(views.values()),
        corner_sd_px=_rms([observation.sd_px for observation in used]),
        blur_px=_rms([observation.blur_px for observation in used]),
        second=second_opinion,
        fuller=fuller,
        half_windows_px=windows,
        scale=scale_budget(evidence, target, thickness),
        outline=outline_budget(evidence, tray_frame.mm_per_px),
        field_px=field_hull([observation.points_px for observation in used]),
        window_share=max(observation.half_window_px / observation.pitch_px for observation in used),
    )


def _one_size(observations: Sequence[Observation]) -> tuple[int, int]:
    size = observations[0].size_px
    for observation in observations[1:]:
        if observation.size_px != size:
            expected = f"pictures of one size expected, {size[0]} x {size[1]} px as {observations[0].name}"
            raise Unusable(observation.name, "", expected, f"{observation.size_px[0]} x {observation.size_px[1]} px")
    return size


def _refuse_too_few(views: int, lens: LensChoice) -> None:
    if lens in ("perspective", "telecentric") and views < MIN_VIEWS:
        expected = f"{MIN_VIEWS} views or more for a lens, most of them tilted; one view gives scale and plane only"
        raise Unusable(f"--lens {lens}", "", expected, str(views))
    if lens == "auto" and 1 < views < MIN_VIEWS:
        raise Unusable(
            "IMAGE...", "", f"one view for scale and plane, or {MIN_VIEWS} and more for a lens too", str(views)
        )


def _view_fits(observations: Sequence[Observation], model_fit: ModelFit) -> dict[str, ViewFit]:
    _, each = split(model_fit.model, model_fit.fitted.parameters)
    fields = model_fit.fitted.residuals.reshape(len(observations), -1, 2)
    rms = np.sqrt(np.mean(np.sum(fields**2, axis=2), axis=1))
    bad = (rms > OUTLYING * np.median(rms)) & (len(observations) > MIN_VIEWS)
    return {
        s.name: ViewFit(s.name, s.points_px, field, float(r), tilt_deg(model_fit.model, view), bool(b), False)
        for s, field, r, view, b in zip(observations, fields, rms, each, bad, strict=True)
    }


def _without(view: ViewFit) -> ViewFit:
    return ViewFit(view.name, view.points_px, view.residuals_px, view.rms_px, view.tilt_deg, True, True)


def _remaining(used: list[Observation], out: set[str]) -> list[Observation]:
    if used[0].name in out:
        expected = (
            "the first view gives the tray's plane and may not be outlying: take it anew, or put another view first"
        )
        raise Unusable(used[0].name, "", expected)
    left = [observation for observation in used if observation.name not in out]
    if len(left) < MIN_VIEWS:
        raise Unusable("IMAGE...", "", f"{MIN_VIEWS} views that agree with each other", str(len(left)))
    return left


def _rms(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.sqrt(np.mean(np.square(known)))) if known else None


def _tray_frame(model_fit: ModelFit, size: tuple[int, int]) -> TrayFrame:
    shared, views = split(model_fit.model, model_fit.fitted.parameters)
    return tray_frame_of(model_fit.model, shared, views[0], size)


def _named(model_fit: ModelFit) -> dict[str, float]:
    shared, _ = split(model_fit.model, model_fit.fitted.parameters)
    return dict(zip(model_fit.model.names, map(float, shared), strict=True))


def _change(here: ModelFit, there: ModelFit, size: tuple[int, int], at_px: Array) -> Change:
    moved = compared(_tray_frame(here, size), _tray_frame(there, size), at_px)
    before, after = _named(here), _named(there)
    return Change(
        moved.scale_relative,
        float(np.sqrt(np.mean(moved.form_mm**2))),
        moved.height_mm,
        float(np.sqrt(np.mean(np.square(moved.foot_mm)))),
        {name: value - before.get(name, 0.0) for name, value in after.items()},
    )


def _numbers(
    chosen: ModelFit, full: ModelFit, uncertainty: MapUncertainty, second: Change, fuller: Change
) -> tuple[Number, ...]:
    values = _named(chosen)
    return tuple(
        Number(name, values.get(name, 0.0), float(np.linalg.norm([sd, second.numbers[name], fuller.numbers[name]])))
        for name, sd in zip(full.model.names, uncertainty.shared, strict=True)
    )
