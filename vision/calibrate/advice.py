"""What a person should know of a calibration, in sentences: views that don't belong, a target seen too small, too flat
or only in the middle, and why this camera model stands."""

import cv2
import numpy as np

from vision.calibrate.calibration import Calibration, ViewFit
from vision.calibrate.heights import THICKNESS
from vision.calibrate.models import Parallel, Perspective, split
from vision.calibrate.observation import WINDOW_OF_PITCH
from vision.records import Array

# Thresholds of advice, ours: nothing is refused by them.
_SMALL_VIEW = 0.35  # of the frame's width or height, whichever is the larger share
_MIDDLE_ONLY = 0.60  # of the frame's area
_FLAT_DEG = 10.0
_DOUBTFUL_FOCAL = 0.005
_FIT_FOR_HUNDREDTHS_PX = 0.2
# Residuals this many times the corners' own noise come from the target or the model, not from the picture.
_BEYOND_NOISE = 3.0
_SOFT_PX = 2.0


def covered_share(calibration: Calibration) -> float:
    """Share of the frame's area in which the target was seen.

    Parameters
    ----------
    calibration
        A camera as it was fitted.

    Returns
    -------
    float
        Share, 0 to 1.
    """
    columns, rows = calibration.size_px
    return float(cv2.contourArea(calibration.field_px.astype(np.float32)) / (columns * rows))


def calibration_advice(calibration: Calibration) -> tuple[str, ...]:
    """Sentences for a person, the most important first; empty when there is nothing to say.

    Parameters
    ----------
    calibration
        A camera as it was fitted.

    Returns
    -------
    tuple[str, ...]
        Sentences.
    """
    used = [view for view in calibration.views if not view.left_out]
    return tuple(
        sentence
        for sentence in (
            _thickness(calibration),
            *(_outlying(view, calibration) for view in calibration.views if view.outlying),
            _window(calibration),
            _residuals(calibration),
            _size(used, calibration),
            _coverage(calibration),
            _flatness(used, calibration),
            _blur(calibration),
            _tolerance(calibration),
            _single(used),
        )
        if sentence
    )


def _thickness(calibration: Calibration) -> str:
    (contribution,) = (one for one in calibration.scale.contributions if one.name == THICKNESS)
    if calibration.heights.target_mm is not None or contribution.standard == 0.0:
        return ""
    return (
        "nobody said how thick the target is: 0 mm was taken, and any length is uncertain by "
        f"{100 * contribution.standard:.2g} % for it; measure it and give --target-thickness-mm"
    )


def _outlying(view: ViewFit, calibration: Calibration) -> str:
    median = float(np.median([other.rms_px for other in calibration.views]))
    what = "left out" if view.left_out else "kept: leave it out with --leave-out-outliers, or take it anew"
    hint = ""
    if not view.left_out and _fits_mirrored(view, calibration):
        hint = "; it fits when mirrored, so this picture was flipped"
    return f"{view.name} is outlying: {view.rms_px:.2f} px against {median:.2f} px of the median view ({what}{hint})"


def _fits_mirrored(view: ViewFit, calibration: Calibration) -> bool:
    """Whether the view's own pose explains it much better when its columns are flipped."""
    model = calibration.chosen.model
    if not isinstance(model, Perspective):
        return False
    shared, _ = split(model, calibration.chosen.fitted.parameters)
    matrix, bend = model.matrix(shared), model.distortion(shared)
    target = calibration.target
    solid = np.column_stack((target.points_mm, np.zeros(len(target.points_mm))))
    flipped = view.points_px.copy()
    flipped[:, 0] = calibration.size_px[0] - 1 - flipped[:, 0]
    seen = flipped.reshape(target.rows, target.columns, 2)[:, ::-1].reshape(-1, 2)
    found, turn, shift = cv2.solvePnP(solid, np.ascontiguousarray(seen), matrix, bend)
    if not found:
        return False
    again, _ = cv2.projectPoints(solid, turn, shift, matrix, bend)
    rms = float(np.sqrt(np.mean(np.sum((again.reshape(-1, 2) - seen) ** 2, axis=1))))
    return rms < view.rms_px / 3.0


def _window(calibration: Calibration) -> str:
    if calibration.target.kind == "circles":
        return ""
    if calibration.window_share <= WINDOW_OF_PITCH:
        return ""
    return (
        f"the corner window's half width reaches {calibration.window_share:.2f} of the smallest square, more than "
        f"{WINDOW_OF_PITCH:g}: neighbouring corners may have come in"
    )


def _residuals(calibration: Calibration) -> str:
    rms, noise = calibration.chosen.fitted.rms_px, calibration.corner_sd_px
    if rms > _FIT_FOR_HUNDREDTHS_PX:
        more = "; one view can't tell a lens's bending: take three or more" if len(calibration.views) == 1 else ""
        return (
            f"nodes lie {rms:.2f} px (rms) from the model: above {_FIT_FOR_HUNDREDTHS_PX} px no hundredths can be "
            f"vouched for{more}"
        )
    if noise is not None and rms > _BEYOND_NOISE * noise * np.sqrt(2):
        return (
            f"nodes lie {rms:.3f} px (rms) from the model though the pictures' noise explains only "
            f"{noise * np.sqrt(2):.3f} px: is the target flat and its pitch even?"
        )
    return ""


def _size(used: list[ViewFit], calibration: Calibration) -> str:
    frame = np.array(calibration.size_px, dtype=float)
    shares = [float(((view.points_px.max(axis=0) - view.points_px.min(axis=0)) / frame).max()) for view in used]
    if max(shares) >= _SMALL_VIEW:
        return ""
    return f"the target is seen small: {max(shares):.0%} of the frame at most; go nearer or take a larger one"


def _coverage(calibration: Calibration) -> str:
    share = covered_share(calibration)
    if share >= _MIDDLE_ONLY:
        return ""
    low, high = calibration.field_px.min(axis=0), calibration.field_px.max(axis=0)
    return (
        f"the target was seen in {share:.0%} of the frame only (columns {low[0]:.0f} to {high[0]:.0f}, "
        f"rows {low[1]:.0f} to {high[1]:.0f}): outside it the uncertainties do not hold; "
        "show it near the frame's edges too"
    )


def _flatness(used: list[ViewFit], calibration: Calibration) -> str:
    model = calibration.chosen.model
    if isinstance(model, Perspective):
        focal = calibration.numbers[0].standard / calibration.numbers[0].value
        if focal > _DOUBTFUL_FOCAL:
            return (
                f"the focal length is known to {focal:.1%} only: tilt the target by 20 degrees or more in several views"
            )
    if isinstance(model, Parallel) and max(view.tilt_deg for view in used) < _FLAT_DEG:
        return (
            "all views are nearly flat, so that perspective can't be told from a telecentric lens: tilt the target by "
            "20 degrees or more in several views before trusting heights above the tray"
        )
    return ""


def _blur(calibration: Calibration) -> str:
    if calibration.blur_px is None or calibration.blur_px <= _SOFT_PX:
        return ""
    return f"the pictures are soft: edges are blurred by {calibration.blur_px:.1f} px (sigma); check the focus"


def _tolerance(calibration: Calibration) -> str:
    if calibration.target.pitch_tolerance_mm > 0.0:
        return ""
    return (
        "no tolerance of the target's pitch was given (--pitch-tolerance-mm): the scale's uncertainty takes the pitch "
        "as exact"
    )


def _single(used: list[ViewFit]) -> str:
    return (
        "one view gives scale and plane; a lens needs three views or more, most of them tilted"
        if len(used) == 1
        else ""
    )


def choice(calibration: Calibration) -> str:
    """Why this camera model stands, with its numbers.

    Parameters
    ----------
    calibration
        A camera as it was fitted.

    Returns
    -------
    str
        One sentence.
    """
    best, *others = calibration.model_fits
    words = [f"{best.name}: {best.fitted.rms_px:.4f} px rms with {len(best.fitted.parameters)} numbers"]
    for other in others:
        apart = other.fitted.information - best.fitted.information
        words.append(
            f"{other.name} {other.fitted.rms_px:.4f} px with {len(other.fitted.parameters)}, "
            f"criterion {apart:.0f} worse"
        )
    return "; ".join(words)


def distortion_mm(calibration: Calibration) -> float:
    """Largest displacement by the lens over the field, in tray mm; 0 without one.

    Parameters
    ----------
    calibration
        A camera as it was fitted.

    Returns
    -------
    float
        Displacement, mm.
    """
    moved = displacement_px(calibration, calibration.field_px)
    return float(np.linalg.norm(moved, axis=1).max()) * calibration.tray_frame.mm_per_px


def displacement_px(calibration: Calibration, at_px: Array) -> Array:
    """Where the lens puts image points (n, 2) less where a perfect one would, px (n, 2).

    Parameters
    ----------
    calibration
        A camera as it was fitted.
    at_px
        Image points, (n, 2), px.

    Returns
    -------
    Array
        Displacements, (n, 2), px.
    """
    lens = calibration.tray_frame.lens
    if lens is None:
        return np.zeros_like(at_px)
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 50, 1e-6)
    straight = cv2.undistortPoints(
        at_px.reshape(-1, 1, 2), lens.camera_matrix, lens.distortion, P=lens.camera_matrix, criteria=criteria
    )
    return np.asarray(at_px - straight.reshape(-1, 2))


def parallax_mm(calibration: Calibration, height_mm: float) -> tuple[float, float]:
    """For an edge so high above the tray: the shift at the field's far end, and what correction leaves of it (k = 1).

    The shift is r h / (Z - h); its uncertainty r h u_Z / (Z - h)^2, r the largest distance from the foot in the field.

    Parameters
    ----------
    calibration
        A camera as it was fitted.
    height_mm
        Height of the edge above the tray's plane, mm.

    Returns
    -------
    tuple[float, float]
        The shift and its standard uncertainty, mm.
    """
    camera = calibration.tray_frame.camera
    if camera is None:
        return 0.0, 0.0
    reach = float(
        np.linalg.norm(calibration.tray_frame.to_tray(calibration.field_px) - np.array(camera.foot_mm), axis=1).max()
    )
    above = camera.height_mm - height_mm
    return reach * height_mm / above, reach * height_mm * calibration.height_standard_mm / above**2
