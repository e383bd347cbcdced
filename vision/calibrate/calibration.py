"""Several sights of a target to a station's geometry, with its evidence and uncertainties."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from vision.calibrate.budget import Budget, Contribution, combine, rectangular
from vision.calibrate.model_choice import (
    MIN_VIEWS,
    Candidate,
    LensChoice,
    LensFreedom,
    fit_candidates,
    fit_sights,
    fullest,
)
from vision.calibrate.models import split
from vision.calibrate.sighting import Sighting
from vision.calibrate.target import Target
from vision.calibrate.tray_frame import Placed, compared, field_hull, field_points, place, tilt_deg
from vision.calibrate.uncertainty import MapDoubt, doubt_of_map, draw_fields, draw_single, largest, resampled_doubt
from vision.errors import Unusable
from vision.records import Array

# A view this many times worse than the median view does not belong: 50 corners alone scatter by 7 %.
OUTLYING = 3.0
# With fewer views their residual fields are too few to be exchanged.
_ENOUGH_VIEWS = 5
_OF_FIT = "covariance and resampling, the largest"
# How far off a silhouette's edge is read whatever the calibration: the light is known to 0.3 %, and the pixel's
# phase shows (measured on rendered frames, see the methods page).
_EDGE_PX = 0.01
_OF_EDGE = "levels of the light and pixel phase, 0.01 px"
_OF_MODEL = "against all numbers that a lens may have"


@dataclass(frozen=True, slots=True)
class Settings:
    """How to calibrate: which lens model and what it may do, outlying views left out or only named."""

    lens: LensChoice = "auto"
    freedom: LensFreedom = field(default_factory=LensFreedom)
    leave_out: bool = False


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
class Change:
    """What another way of calibrating changes.

    `scale_relative` and `form_mm` (rms) over the field, `height_mm` and `foot_mm` of the pupil (nan without one),
    `numbers` of the lens by name.
    """

    scale_relative: float
    form_mm: float
    height_mm: float
    foot_mm: float
    numbers: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Number:
    """One of a lens's numbers with its standard uncertainty: of the fit, of the window and of the model's choice."""

    name: str
    value: float
    standard: float


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A station's geometry with its evidence.

    `numbers` are the lens's, those that were left out being 0. `doubts` holds the map's standard uncertainties found in
    two or three ways, by name, `doubt` the largest of each; `second` what half the window changes and `fuller` what the
    numbers change that the chosen model leaves out. All stand in the budgets `scale` (relative) and `outline` (mm).
    `field_px` is the convex field (n, 2) in which nodes were seen, `window_share` the largest half window over the
    smallest pitch of its view.
    """

    target: Target
    size_px: tuple[int, int]
    placed: Placed
    candidates: tuple[Candidate, ...]
    numbers: tuple[Number, ...]
    doubts: Mapping[str, MapDoubt]
    doubt: MapDoubt
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
    def chosen(self) -> Candidate:
        """The model that stands."""
        return self.candidates[0]

    @property
    def height_standard_mm(self) -> float:
        """Standard uncertainty of the pupil's height; nan without a pupil."""
        return float(np.linalg.norm([self.doubt.height_mm, self.second.height_mm, self.fuller.height_mm]))

    @property
    def foot_standard_mm(self) -> float:
        """Standard uncertainty of one coordinate of the foot below the pupil; nan without a pupil."""
        return float(np.linalg.norm([self.doubt.foot_mm, self.second.foot_mm, self.fuller.foot_mm]))


def calibrate(
    first: Sequence[Sighting], second: Sequence[Sighting], target: Target, settings: Settings, rng: np.random.Generator
) -> Calibration:
    """Fit the camera; the tray's plane is where the target lies in the first view.

    Parameters
    ----------
    first, second
        The target's nodes in each picture, found with the full and with half the window, in the same order.
    rng
        Draws the resampled residuals.

    Raises
    ------
    Unusable
        Sizes differ, too few views for a lens, or views that leave it undetermined.
    """
    size = _one_size(first)
    _refuse_too_few(len(first), settings.lens)
    used = list(first[:1] if settings.lens == "none" else first)
    views: dict[str, ViewFit] = {}
    while True:
        candidates = fit_candidates(used, target, settings.lens, settings.freedom)
        now = _view_fits(used, candidates[0])
        views.update(now)
        out = {name for name, view in now.items() if view.outlying}
        if not out or not settings.leave_out:
            break
        views.update({name: _without(views[name]) for name in out})
        used = _remaining(used, out)
    chosen, full = candidates[0], fullest(candidates)
    at_px = field_points([sight.points_px for sight in used])
    doubts = _doubts(full, target, len(used), size, at_px, rng)
    doubt = largest(list(doubts.values()))
    pairs = [(whole, half) for whole, half in zip(first, second, strict=False) if whole in used]
    again = fit_sights(full.model, [half for _, half in pairs], target, full.fitted.parameters)
    second_opinion = _change(full, Candidate(full.name, full.model, again), size, at_px)
    fuller = _change(chosen, full, size, at_px)
    windows = (pairs[0][0].half_window_px, pairs[0][1].half_window_px)
    placed = _placed(chosen, size)
    edge = Contribution("edge", _EDGE_PX * placed.mm_per_px, source=_OF_EDGE)
    return Calibration(
        target=target,
        size_px=size,
        placed=placed,
        candidates=candidates,
        numbers=_numbers(chosen, full, doubt, second_opinion, fuller),
        doubts=doubts,
        doubt=doubt,
        views=tuple(views.values()),
        corner_sd_px=_rms([sight.sd_px for sight in used]),
        blur_px=_rms([sight.blur_px for sight in used]),
        second=second_opinion,
        fuller=fuller,
        half_windows_px=windows,
        scale=_scale_budget(doubt, second_opinion, fuller, target, windows, full.fitted.freedom),
        outline=_outline_budget((doubt, second_opinion, fuller), windows, full.fitted.freedom, edge),
        field_px=field_hull([sight.points_px for sight in used]),
        window_share=max(sight.half_window_px / sight.pitch_px for sight in used),
    )


def _one_size(sights: Sequence[Sighting]) -> tuple[int, int]:
    size = sights[0].size_px
    for sight in sights[1:]:
        if sight.size_px != size:
            expected = f"pictures of one size expected, {size[0]} x {size[1]} px as {sights[0].name}"
            raise Unusable(sight.name, "", expected, f"{sight.size_px[0]} x {sight.size_px[1]} px")
    return size


def _refuse_too_few(views: int, lens: LensChoice) -> None:
    if lens in ("perspective", "telecentric") and views < MIN_VIEWS:
        expected = f"{MIN_VIEWS} views or more for a lens, most of them tilted; one view gives scale and plane only"
        raise Unusable(f"--lens {lens}", "", expected, str(views))
    if lens == "auto" and 1 < views < MIN_VIEWS:
        raise Unusable(
            "IMAGE...", "", f"one view for scale and plane, or {MIN_VIEWS} and more for a lens too", str(views)
        )


def _view_fits(sights: Sequence[Sighting], candidate: Candidate) -> dict[str, ViewFit]:
    _, each = split(candidate.model, candidate.fitted.parameters)
    fields = candidate.fitted.residuals.reshape(len(sights), -1, 2)
    rms = np.sqrt(np.mean(np.sum(fields**2, axis=2), axis=1))
    bad = (rms > OUTLYING * np.median(rms)) & (len(sights) > MIN_VIEWS)
    return {
        s.name: ViewFit(s.name, s.points_px, field, float(r), tilt_deg(candidate.model, view), bool(b), False)
        for s, field, r, view, b in zip(sights, fields, rms, each, bad, strict=True)
    }


def _without(view: ViewFit) -> ViewFit:
    return ViewFit(view.name, view.points_px, view.residuals_px, view.rms_px, view.tilt_deg, True, True)


def _remaining(used: list[Sighting], out: set[str]) -> list[Sighting]:
    if used[0].name in out:
        expected = (
            "the first view gives the tray's plane and may not be outlying: take it anew, or put another view first"
        )
        raise Unusable(used[0].name, "", expected)
    left = [sight for sight in used if sight.name not in out]
    if len(left) < MIN_VIEWS:
        raise Unusable("IMAGE...", "", f"{MIN_VIEWS} views that agree with each other", str(len(left)))
    return left


def _rms(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.sqrt(np.mean(np.square(known)))) if known else None


def _placed(candidate: Candidate, size: tuple[int, int]) -> Placed:
    shared, views = split(candidate.model, candidate.fitted.parameters)
    return place(candidate.model, shared, views[0], size)


def _named(candidate: Candidate) -> dict[str, float]:
    shared, _ = split(candidate.model, candidate.fitted.parameters)
    return dict(zip(candidate.model.names, map(float, shared), strict=True))


def _change(here: Candidate, there: Candidate, size: tuple[int, int], at_px: Array) -> Change:
    moved = compared(_placed(here, size), _placed(there, size), at_px)
    before, after = _named(here), _named(there)
    return Change(
        moved.scale_relative,
        float(np.sqrt(np.mean(moved.form_mm**2))),
        moved.height_mm,
        float(np.sqrt(np.mean(np.square(moved.foot_mm)))),
        {name: value - before.get(name, 0.0) for name, value in after.items()},
    )


def _numbers(chosen: Candidate, full: Candidate, doubt: MapDoubt, second: Change, fuller: Change) -> tuple[Number, ...]:
    values = _named(chosen)
    return tuple(
        Number(name, values.get(name, 0.0), float(np.linalg.norm([sd, second.numbers[name], fuller.numbers[name]])))
        for name, sd in zip(full.model.names, doubt.shared, strict=True)
    )


def _doubts(
    candidate: Candidate, target: Target, views: int, size: tuple[int, int], at_px: Array, rng: np.random.Generator
) -> dict[str, MapDoubt]:
    fitted, points = candidate.fitted, target.points_mm
    doubts = {
        "covariance": doubt_of_map(candidate, size, at_px),
        "resampled corners": resampled_doubt(candidate, points, size, at_px, draw_single(fitted, rng)),
    }
    if views >= _ENOUGH_VIEWS:
        doubts["resampled views"] = resampled_doubt(candidate, points, size, at_px, draw_fields(fitted, views, rng))
    return doubts


def _scale_budget(
    doubt: MapDoubt, second: Change, fuller: Change, target: Target, windows: tuple[int, int], freedom: int
) -> Budget:
    pitch = rectangular(target.pitch_tolerance_mm) / target.pitch_mm
    tolerance = f"tolerance +-{target.pitch_tolerance_mm:g} mm, rectangular"
    return combine(
        (
            Contribution("fit", doubt.scale_relative, freedom=freedom, source=_OF_FIT),
            Contribution("target's pitch", pitch, source=tolerance),
            Contribution("window", abs(second.scale_relative), source=_windows(windows)),
            Contribution("model", abs(fuller.scale_relative), source=_OF_MODEL),
        )
    )


def _outline_budget(
    changes: tuple[MapDoubt, Change, Change], windows: tuple[int, int], freedom: int, edge: Contribution
) -> Budget:
    doubt, second, fuller = changes
    return combine(
        (
            Contribution("fit", doubt.form_mm, freedom=freedom, source=_OF_FIT),
            Contribution("window", second.form_mm, source=_windows(windows)),
            Contribution("model", fuller.form_mm, source=_OF_MODEL),
            edge,
        )
    )


def _windows(half_windows_px: tuple[int, int]) -> str:
    wide, narrow = half_windows_px
    return f"half window {wide} px against {narrow} px"
