"""The two budgets of a station: of any length (relative), and of one outline deviation (mm)."""

from collections.abc import Mapping
from dataclasses import dataclass

from vision.calibrate.budget import Budget, Contribution, combine, rectangular
from vision.calibrate.target import Target
from vision.calibrate.uncertainty import MapUncertainty

_OF_FIT = "covariance and resampling, the largest"
# How far off a silhouette's edge is read whatever the calibration: the light is known to 0.3 %, and the pixel's
# phase shows (measured on rendered frames, see the methods page).
_EDGE_PX = 0.01
_OF_EDGE = "levels of the light and pixel phase, 0.01 px"
_OF_MODEL = "against all numbers that a lens may have"


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
class Evidence:
    """What both budgets are made of: the map's uncertainty, what half the window and what a fuller model change, the
    half windows (wide, narrow; px) and the fit's degrees of freedom.
    """

    uncertainty: MapUncertainty
    second: Change
    fuller: Change
    half_windows_px: tuple[int, int]
    freedom: int

    @property
    def windows(self) -> str:
        """The half windows in words."""
        wide, narrow = self.half_windows_px
        return f"half window {wide} px against {narrow} px"


def scale_budget(evidence: Evidence, target: Target, thickness: Contribution) -> Budget:
    """Of any length, relative; `thickness` is what the target's leaves in doubt."""
    pitch = rectangular(target.pitch_tolerance_mm) / target.pitch_mm
    tolerance = f"tolerance +-{target.pitch_tolerance_mm:g} mm, rectangular"
    fit, fuller = evidence.uncertainty.scale_relative, evidence.fuller.scale_relative
    return combine(
        (
            Contribution("fit", fit, freedom=evidence.freedom, source=_OF_FIT),
            Contribution("target's pitch", pitch, source=tolerance),
            Contribution("window", abs(evidence.second.scale_relative), source=evidence.windows),
            Contribution("model", abs(fuller), source=_OF_MODEL),
            thickness,
        )
    )


def outline_budget(evidence: Evidence, mm_per_px: float) -> Budget:
    """Of one outline deviation, mm; `mm_per_px` at the frame's middle."""
    return combine(
        (
            Contribution("fit", evidence.uncertainty.form_mm, freedom=evidence.freedom, source=_OF_FIT),
            Contribution("window", evidence.second.form_mm, source=evidence.windows),
            Contribution("model", evidence.fuller.form_mm, source=_OF_MODEL),
            Contribution("edge", _EDGE_PX * mm_per_px, source=_OF_EDGE),
        )
    )
