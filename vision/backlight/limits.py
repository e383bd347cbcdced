"""A shot held against what a station's light and sharpness may be: findings with numbers; limits to propose."""

from vision.backlight.lamp import LampState
from vision.records import LightLimits, TrayFinding

# Room left around what was measured on a good day. Common practice, no source: a lamp ages by some percent between
# services, an edge blurred by a quarter more still measures alike.
_LEVEL_ROOM, _DARKEST_ROOM, _BLUR_ROOM = 0.10, 0.05, 1.25
_LEAST_FULL, _FULL_ROOM = 0.001, 2.0
# A backlight over this share of full scale clips with its own noise.
_LEVEL_MOST = 0.97


def proposed_limits(lamp: LampState | None, blur_px: float | None) -> LightLimits:
    """Limits from a station's light and edge as they are when all is well; None for what was not measured.

    Parameters
    ----------
    lamp
        The light on a good day; None: not measured.
    blur_px
        Sigma of the silhouettes' edges that day, px; None: not measured.

    Returns
    -------
    LightLimits
        Those values with room around them.
    """
    return LightLimits(
        level_min=round((1 - _LEVEL_ROOM) * lamp.level, 3) if lamp else None,
        level_max=round(min((1 + _LEVEL_ROOM) * lamp.level, max(_LEVEL_MOST, lamp.level)), 3) if lamp else None,
        full_max=round(max(_LEAST_FULL, _FULL_ROOM * lamp.full), 4) if lamp else None,
        darkest_min=round(lamp.darkest - _DARKEST_ROOM, 3) if lamp else None,
        blur_max_px=round(_BLUR_ROOM * blur_px, 2) if blur_px is not None else None,
    )


def light_findings(lamp: LampState, blur_px: float | None, limits: LightLimits) -> tuple[TrayFinding, ...]:
    """Findings on a backlit frame; `blur_px` is the sigma of the silhouettes' edges, None where none was measured.

    Parameters
    ----------
    lamp
        The light as the frame shows it.
    blur_px
        Sigma of the silhouettes' edges, px; None where none was measured.
    limits
        What the station allows.

    Returns
    -------
    tuple[TrayFinding, ...]
        A finding for each limit not kept, in numbers; none where all are.
    """
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
