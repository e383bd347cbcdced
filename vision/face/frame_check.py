"""Whether a front-lit frame shows the light that it is named for.

A dished face mirrors the dome all over, so its frame is nearly even; a low light leaves most of the face dark and its
own reflection, far brighter, on the side away from the lamp (a concave mirror turns the lamp's side round). A frame
that looks like another light's would be weighed wrongly, or judged on a light that was never on.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.face.raster import Image, Mask
from vision.records import Picture

# A frame whose brightest hundredth stays below this level (of 255) shows no light at all.
_DARKEST = 5.0
_BRIGHTEST_SHARE = 0.99
# Share of the face within a third of its median level: rendered domes 0.99, low lights 0.02 to 0.19.
_EVEN_BAND = 0.35
_EVEN_SHARE = 0.5
# The bright side may differ from the one expected by so much: rendered frames by 19 degrees at most, the next lamp by
# 90.
_TURN_DEG = 45.0
# Below this shift of the light's centre, in standard deviations of the face, the bright side says nothing.
_LEAST_SHIFT = 0.2


@dataclass(frozen=True, slots=True)
class LightFault:
    """Why a frame does not fit its name; `misleads` where it would be weighed wrongly and must be left out."""

    picture: Picture
    detail: str
    misleads: bool


def light_fault(picture: Picture, level: Image, scored: Mask, tray_turn_deg: float) -> LightFault | None:
    """Compare a frame's brightness over the face, `level` (of 255), with what its name promises; None where it fits.

    `tray_turn_deg`: direction of the tray's +X in the image, counter-clockwise as seen.
    """
    values = level[scored].astype(np.float64)
    if not len(values):
        return None
    if np.quantile(values, _BRIGHTEST_SHARE) < _DARKEST:
        return LightFault(picture, f"no light on the face, expected the {picture.light} light", True)
    even = float(np.mean(np.abs(values - np.median(values)) <= _EVEN_BAND * np.median(values))) >= _EVEN_SHARE
    if picture.light == "dome":
        if even:
            return None
        return LightFault(picture, "uneven like a low light, expected the dome", True)
    if even:
        return LightFault(picture, "even like the dome, expected a low light", True)
    shift, spread = _bright_side(values, scored)
    if picture.azimuth_deg is None or np.hypot(*shift) < _LEAST_SHIFT * spread:
        return None
    # the lamp stands opposite to the bright side of a dished face
    lamp = np.degrees(np.arctan2(-shift[1], -shift[0])) - tray_turn_deg
    if abs((lamp - picture.azimuth_deg + 180.0) % 360.0 - 180.0) <= _TURN_DEG:
        return None
    # coarsely, so that all pieces of a tray say the same
    seen = round(lamp % 360.0 / 45.0) * 45 % 360
    detail = f"lit from about {seen} degrees, expected {picture.azimuth_deg:g}"
    return LightFault(picture, detail, False)


def _bright_side(values: NDArray[np.float64], scored: Mask) -> tuple[NDArray[np.float64], float]:
    """Centre of brightness from the centre of the face (right, up), px, and the face's standard deviation, px."""
    row, column = np.nonzero(scored)
    x, y = column - column.mean(), row.mean() - row
    total = max(float(values.sum()), 1e-9)
    return np.array([values @ x, values @ y]) / total, float(np.sqrt((x**2 + y**2).mean()))
