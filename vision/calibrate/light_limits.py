"""What a station's light and sharpness may be, and a shot held against it: findings with numbers."""

from dataclasses import dataclass

from vision.calibrate.lamp import LampState
from vision.records.measured import TrayFinding


@dataclass(frozen=True, slots=True)
class LightLimits:
    """Limits of one station, None where there is none.

    Levels are shares of full scale, `darkest_min` a share of the lamp's own median, `blur_max_px` the sigma of an edge.
    """

    level_min: float | None = None
    level_max: float | None = None
    full_max: float | None = None
    darkest_min: float | None = None
    blur_max_px: float | None = None


def light_findings(lamp: LampState, blur_px: float | None, limits: LightLimits) -> tuple[TrayFinding, ...]:
    """Findings on a backlit frame; `blur_px` is the sigma of the silhouettes' edges, None where none was measured."""
    found = []
    if limits.level_min is not None and lamp.level < limits.level_min:
        found.append(_exposure("backlight at", lamp.level, "under", limits.level_min))
    if limits.level_max is not None and lamp.level > limits.level_max:
        found.append(_exposure("backlight at", lamp.level, "over", limits.level_max))
    if limits.full_max is not None and lamp.full > limits.full_max:
        found.append(_exposure("share of pixels at full scale", lamp.full, "over", limits.full_max))
    if limits.darkest_min is not None and lamp.darkest < limits.darkest_min:
        found.append(_exposure("backlight's darkest part at", lamp.darkest, "under", limits.darkest_min))
    if limits.blur_max_px is not None and blur_px is not None and blur_px > limits.blur_max_px:
        detail = f"edges blurred by {blur_px:.2f} px (sigma), over the limit of {limits.blur_max_px:g} px"
        found.append(TrayFinding("focus", None, detail))
    return tuple(found)


def _exposure(what: str, value: float, side: str, limit: float) -> TrayFinding:
    return TrayFinding("exposure", None, f"{what} {value:.2%}, {side} the limit of {limit:.2%}")
