"""How far a calibration may be trusted: the covariance carried to tray mm, and the same by resampling."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from vision.calibrate.adjust import Adjusted
from vision.calibrate.model_choice import ModelFit
from vision.calibrate.models import Model, fit, predictor, split
from vision.calibrate.tray_frame import TrayFrame, compared, tray_frame_of
from vision.records import Array

# Refits of resampled residuals; a spread from 60 is known to 9 %.
RESAMPLES = 60
# With fewer views their residual fields are too few to be exchanged.
_ENOUGH_VIEWS = 5
# Residuals of all nodes (n, 2), drawn anew at each call.
Draw = Callable[[], Array]
# Told of the share of the work that is done, 0 to 1.
Step = Callable[[float], None]


@dataclass(frozen=True, slots=True, eq=False)
class MapUncertainty:
    """Standard uncertainty of the map from px to tray mm.

    `scale_relative` of any length; `form_mm` of one coordinate of a point after the best shift, turn and scale, rms
    over the points asked for; `height_mm`, `foot_mm` of the pupil (nan without one); `shared` (s,) of the model's
    shared parameters.
    """

    scale_relative: float
    form_mm: float
    height_mm: float
    foot_mm: float
    shared: Array


def map_uncertainty(model_fit: ModelFit, size_px: tuple[int, int], at_px: Array) -> MapUncertainty:
    """Carry the covariance of the shared parameters and the first view's to the tray at image points (n, 2).

    After JCGM 100:2008, 5.2. The derivative is taken over one standard deviation along each principal axis, not
    over a tiny step: it then says what really happens within the uncertainty.
    """
    model, fitted = model_fit.model, model_fit.fitted
    own = len(model.names) + model.per_view
    covariance = fitted.covariance[:own, :own]
    middle = fitted.parameters[:own]
    centre = _tray_frame(model, middle, size_px)
    rows = []
    for axis in _axes(covariance):
        plus, minus = (_row(centre, _tray_frame(model, middle + sign * axis, size_px), at_px) for sign in (0.5, -0.5))
        rows.append(plus - minus)
    return _from_spread(np.sqrt(np.sum(np.array(rows) ** 2, axis=0)), np.sqrt(np.diag(covariance)[: len(model.names)]))


def no_step(_share: float) -> None:
    """For work that nobody waits for."""


def resampled_uncertainty(
    model_fit: ModelFit, points_mm: Array, size_px: tuple[int, int], at_px: Array, draw: Draw, step: Step = no_step
) -> MapUncertainty:
    """The same by refitting to resampled residuals, with no linear step."""
    model, fitted = model_fit.model, model_fit.fitted
    views = len(fitted.residuals) // len(points_mm)
    predicted = predictor(model, points_mm, views)(fitted.parameters)[0]
    own, shared_count = len(model.names) + model.per_view, len(model.names)
    centre = _tray_frame(model, fitted.parameters[:own], size_px)
    rows, shared = [], []
    for number in range(RESAMPLES):
        step(number / RESAMPLES)
        seen = (predicted + draw()).reshape(views, -1, 2)
        again = fit(model, points_mm, list(seen), size_px, start=fitted.parameters)
        rows.append(_row(centre, _tray_frame(model, again.parameters[:own], size_px), at_px))
        shared.append((again.parameters - fitted.parameters)[:shared_count])
    step(1.0)
    return _from_spread(*(np.sqrt(np.mean(np.array(table) ** 2, axis=0)) for table in (rows, shared)))


def draw_single(fitted: Adjusted, rng: np.random.Generator) -> Draw:
    """Residuals drawn one by one: confirms the covariance where they are independent."""
    residuals = _freed(fitted)
    return lambda: residuals[rng.integers(len(residuals), size=len(residuals))]


def draw_fields(fitted: Adjusted, views: int, rng: np.random.Generator) -> Draw:
    """Whole residual fields exchanged between views, each with a random sign.

    What neighbouring nodes share (of a target that is not flat, say) stays shared. What a view's own pose took up
    is missing from its field, so that this says rather too little; it counts only where it says more than the others.
    """
    fields = _freed(fitted).reshape(views, -1, 2)
    return lambda: (fields[rng.integers(views, size=views)] * rng.choice((-1.0, 1.0), size=(views, 1, 1))).reshape(
        -1, 2
    )


def _freed(fitted: Adjusted) -> Array:
    """Residuals as large as the errors behind them: a fit makes them smaller."""
    return np.asarray(fitted.residuals * np.sqrt(fitted.residuals.size / fitted.freedom))


def in_ways(
    model_fit: ModelFit,
    points_mm: Array,
    views: int,
    size_px: tuple[int, int],
    at_px: Array,
    rng: np.random.Generator,
    step: Step,
) -> dict[str, MapUncertainty]:
    """The map's standard uncertainties as found in two or three ways, by name."""
    fitted = model_fit.fitted
    ways = {"resampled corners": draw_single(fitted, rng)}
    if views >= _ENOUGH_VIEWS:
        ways["resampled views"] = draw_fields(fitted, views, rng)
    found = {"covariance": map_uncertainty(model_fit, size_px, at_px)}
    for number, (name, draw) in enumerate(ways.items()):

        def further(share: float, before: int = number) -> None:
            step((before + share) / len(ways))

        found[name] = resampled_uncertainty(model_fit, points_mm, size_px, at_px, draw, further)
    return found


def largest(uncertainties: Sequence[MapUncertainty]) -> MapUncertainty:
    """Of each figure the largest."""
    table = np.array([(d.scale_relative, d.form_mm, d.height_mm, d.foot_mm) for d in uncertainties]).max(axis=0)
    scale, form, height, foot = (float(value) for value in table)
    return MapUncertainty(scale, form, height, foot, np.max([d.shared for d in uncertainties], axis=0))


def _axes(covariance: Array) -> Array:
    """Rows a with sum a a' = `covariance`: principal axes of the correlation, each one standard deviation long."""
    sd = np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance / np.outer(sd, sd))
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))).T * sd)


def _tray_frame(model: Model, parameters: Array, size_px: tuple[int, int]) -> TrayFrame:
    shared, views = split(model, parameters)
    return tray_frame_of(model, shared, views[0], size_px)


def _row(centre: TrayFrame, other: TrayFrame, at_px: Array) -> Array:
    """What one map differs from another by, in one row: scale, pupil (3), and the form at each point (2 n)."""
    moved = compared(centre, other, at_px)
    return np.concatenate(([moved.scale_relative, moved.height_mm, *moved.foot_mm], moved.form_mm.ravel()))


def _from_spread(spread: Array, shared: Array) -> MapUncertainty:
    form = float(np.sqrt(np.mean(spread[4:] ** 2)))
    return MapUncertainty(float(spread[0]), form, float(spread[1]), float(np.sqrt(np.mean(spread[2:4] ** 2))), shared)
