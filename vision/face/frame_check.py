"""Whether a front-lit frame shows the light that it is named for.

A dished face mirrors the dome all over, so its frame is nearly even; a low light leaves most of the face dark and its
own reflection, far brighter, on the side away from the lamp (a concave mirror turns the lamp's side round). A frame
that looks like another light's would be weighed wrongly, or judged on a light that was never on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.face.raster import Image, Mask
from vision.records import Lights, Picture, Station, TrayFinding, TrayPictures

# A frame whose brightest hundredth stays below this level (of 255) shows no light at all.
_DARKEST = 5.0
_BRIGHTEST_SHARE = 0.99
# Share of the face within a third of its median level: rendered domes 0.99, low lights 0.02 to 0.19.
_EVEN_BAND = 0.35
_EVEN_SHARE = 0.5
# The bright side may differ from the one expected by so much: rendered frames by 19 degrees at most, the next lamp by
# 90.
_TURN_DEG = 45.0
# So many low lights must show a crown.
_LEAST_LOWS = 2
# A low light this near to the azimuth asked for is that light.
_SAME_LAMP_DEG = 10.0
# Below this shift of the light's centre, in standard deviations of the face, no side is the brighter one: rendered low
# lights 0.43 to 1.13.
_LEAST_SHIFT = 0.25


# Two frames are one taken twice where their ratio is so even (standard deviation of its logarithm) over so much of the
# face, or where they differ by so little (of 255) in the mean: rendered lamps differ by 0.5 and more.
_SAME_RATIO, _SAME_SHARE, _SAME_LEVEL = 0.08, 0.1, 1.5
# That says something where the ratio is more even than this share of either level's own spread: domes are even anyway.
_UNEVEN = 0.2
# Levels (of 255) between which a ratio says something.
_TELLING = (10.0, 245.0)


@dataclass(frozen=True, slots=True)
class FrameFault:
    """Why a frame is not what it is called: another light's, or elsewhere than the backlit frame has the piece.

    `misleads`: it must be left out; else it was put right and the face is judged on. `face_down` is said of the piece.
    """

    kind: Literal["wrong_light", "moved", "face_down"]
    picture: Picture
    detail: str
    misleads: bool = True


def missing_lights(pictures: TrayPictures, station: Station) -> list[TrayFinding]:
    """The lights that a station names and a shot lacks.

    Parameters
    ----------
    pictures
        All frames of the shot, of one size.
    station
        The calibrated camera that took the frames.

    Returns
    -------
    list[TrayFinding]
        A finding for each light that is missing.
    """
    taken = [low.azimuth_deg for low in pictures.low if low.azimuth_deg is not None]
    lacking = ["the dome"] if station.lights.dome and pictures.dome is None else []
    lacking += [
        f"the low light at {azimuth:g} degrees"
        for azimuth in station.lights.low_deg
        if not any(abs((one - azimuth + 180.0) % 360.0 - 180.0) <= _SAME_LAMP_DEG for one in taken)
    ]
    told = f"station {station.station} names it, the shot has none"
    return [TrayFinding("missing_light", None, f"{what}: {told}") for what in lacking]


def light_fault(picture: Picture, level: Image, scored: Mask, tray_turn_deg: float) -> FrameFault | None:
    """Compare a frame's brightness over the face, `level` (of 255), with what its name promises; None where it fits.

    `tray_turn_deg`: direction of the tray's +X in the image, counter-clockwise as seen.
    """
    values = level[scored].astype(np.float64)
    if not len(values):
        return None
    if np.quantile(values, _BRIGHTEST_SHARE) < _DARKEST:
        return _wrong(picture, f"no light on the face, expected the {picture.light} light")
    even = float(np.mean(np.abs(values - np.median(values)) <= _EVEN_BAND * np.median(values))) >= _EVEN_SHARE
    if picture.light == "dome":
        if even:
            return None
        return _wrong(picture, "uneven like a low light, expected the dome")
    if even:
        return _wrong(picture, "even like the dome, expected a low light")
    if picture.azimuth_deg is None:
        return None
    off = lamp_off_deg(picture, level, scored, tray_turn_deg)
    if off is None:
        return _wrong(picture, f"no side of the face is the brighter one, expected a lamp at {picture.azimuth_deg:g}")
    if abs(off) <= _TURN_DEG:
        return None
    # coarsely, so that all pieces of a tray say the same
    seen = round((picture.azimuth_deg + off) % 360.0 / 45.0) * 45 % 360
    return _wrong(picture, f"lit from about {seen} degrees, expected {picture.azimuth_deg:g}")


def lamp_off_deg(picture: Picture, level: Image, scored: Mask, tray_turn_deg: float) -> float | None:
    """By how much a low light stands off its azimuth (degrees, -180 to 180), as a dished face shows it.

    None where the face has no brighter side, or the frame no azimuth.
    """
    values = level[scored].astype(np.float64)
    if picture.azimuth_deg is None or not len(values):
        return None
    shift, spread = _bright_side(values, scored)
    if np.hypot(*shift) < _LEAST_SHIFT * spread:
        return None
    # the lamp stands opposite to the bright side of a dished face
    lamp = np.degrees(np.arctan2(-shift[1], -shift[0])) - tray_turn_deg
    return float((lamp - picture.azimuth_deg + 180.0) % 360.0 - 180.0)


def crown_fault(lows: Sequence[tuple[Picture, float | None]]) -> FrameFault | None:
    """Whether every low light shows its image on the lamp's own side, as a crown does and no bowl: the piece lies on
    its face. `lows`: each with what `lamp_off_deg` says of it; two that show a side are asked.
    """
    told = [(picture, off) for picture, off in lows if off is not None]
    if len(told) < _LEAST_LOWS or any(abs(off) < 180.0 - _TURN_DEG for _, off in told):
        return None
    detail = (
        f"each of {len(told)} low lights shows on its lamp's own side, as on a crown: the piece lies on its face, or "
        "the lamps' azimuths are named the other way round"
    )
    return FrameFault("face_down", told[0][0], detail)


def _wrong(picture: Picture, detail: str) -> FrameFault:
    return FrameFault("wrong_light", picture, detail)


def repeat_fault(picture: Picture, level: Image, others: Sequence[tuple[Picture, Image]]) -> FrameFault | None:
    """Whether a frame shows the same light as one of `others` once more; levels (of 255) over the face alone, (n,)."""
    for other, theirs in others:
        if float(np.abs(level - theirs).mean()) < _SAME_LEVEL or _one_course(level, theirs):
            return _wrong(picture, f"shows the same as {other.name} once more, expected the {picture.light} light")
    return None


def _one_course(level: Image, theirs: Image) -> bool:
    """Whether two levels run alike over a face, which is far from even itself."""
    both = (np.minimum(level, theirs) > _TELLING[0]) & (np.maximum(level, theirs) < _TELLING[1])
    if both.mean() < _SAME_SHARE:
        return False
    mine, other = np.log(level[both]), np.log(theirs[both])
    return bool((mine - other).std() < min(_SAME_RATIO, _UNEVEN * mine.std()))


def level_fault(picture: Picture, level: Image, lights: Lights) -> FrameFault | None:
    """Whether a face's mean brightness (`level`: of 255, over the face) is not what it usually is at the station."""
    usual = lights.dome_level if picture.light == "dome" else lights.low_level
    mean = float(level.mean()) / 255.0 if len(level) else 0.0
    if usual is None or usual[0] <= mean <= usual[1]:
        return None
    return _wrong(
        picture, f"a face is {mean:.0%} of full scale bright in the mean, usual are {usual[0]:.0%} to {usual[1]:.0%}"
    )


def _bright_side(values: NDArray[np.float64], scored: Mask) -> tuple[NDArray[np.float64], float]:
    """Centre of brightness from the centre of the face (right, up), px, and the face's standard deviation, px."""
    row, column = np.nonzero(scored)
    x, y = column - column.mean(), row.mean() - row
    total = max(float(values.sum()), 1e-9)
    return np.array([values @ x, values @ y]) / total, float(np.sqrt((x**2 + y**2).mean()))
