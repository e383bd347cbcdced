"""Where along a curve a line begins and ends: the stretch that stands out most, and what goes on beyond it."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vision.face.lines.curves import Curve, line_profile, strip
from vision.face.raster import Image

# Half width of the strip read across a curve, px of the coarse raster; sigma of the line's profile.
STRIP_PX = 4
PROFILE_PX = 0.8
# What one px may add: this often the stretch's median.
SPIKE = 2.5
# The shortest stretch that is taken for a line (px).
SHORTEST_PX = 12
# Lines so far to either side of a curve (px) tell the noise of the undivided picture.
_ASIDE_PX = 9
# and such lines, farther than the first and up to the second, what the wheel leaves there.
_BESIDE_PX = (4, 12)
# A stretch grows by so many px at a time while their mean is so many standard deviations and so much of its median.
_GROWTH_PX = 3
_GROWS_AT = 1.7
_GROWS_SHARE = 0.2
# A traced curve is carried on by so many px in the direction of its last few.
_PROLONGED_PX = 12
_END_PX = 8


@dataclass(frozen=True, slots=True)
class Stretch:
    """Points [`first`, `last`) along a curve, and their `snr`: the sum over the root of their number."""

    first: int
    last: int
    snr: float


def strongest_stretch(along: NDArray[np.float64]) -> Stretch:
    """The stretch of greatest snr; of no points where none is positive."""
    total = np.concatenate(([0.0], np.cumsum(along))).astype(np.float32)
    points = len(total)
    value = total[None] - total[:, None]
    value *= _weights(1 << points.bit_length())[:points, :points]
    first, last = divmod(int(np.argmax(value)), points)
    return Stretch(first, last, float(value[first, last]))


@lru_cache(maxsize=8)
def _weights(points: int) -> NDArray[np.float32]:
    """One over the root of the length from point to point, 0 where that is too short."""
    length = np.arange(points)[None] - np.arange(points)[:, None]
    return np.asarray((length >= SHORTEST_PX) / np.sqrt(np.maximum(length, 1)), np.float32)


def prolonged(curve: Curve) -> Curve:
    """A curve carried straight on at both ends: a trace gives up before a line that fades does."""
    reach = np.arange(1, _PROLONGED_PX + 1.0)[:, None]
    ahead, back = curve[-1] - curve[-_END_PX], curve[0] - curve[_END_PX - 1]
    ahead, back = (d / max(float(np.hypot(*d)), 1e-9) for d in (ahead, back))
    return np.vstack((curve[0] + reach[::-1] * back, curve, curve[-1] + reach * ahead))


def over_beside(curve: Curve, plain: Image) -> float:
    """How many times as high a line is in the undivided picture as the highest that runs along it to either side."""
    wide = STRIP_PX + _BESIDE_PX[1]
    mean = strip(plain, curve, np.arange(-wide, wide + 1.0)).mean(axis=0)
    response = np.correlate(mean, line_profile(STRIP_PX, 0, PROFILE_PX), mode="valid")
    beside = np.abs(np.arange(-_BESIDE_PX[1], _BESIDE_PX[1] + 1)) > _BESIDE_PX[0]
    return float(response[_BESIDE_PX[1]] / max(float(np.abs(response[beside]).max()), 1e-6))


def plain_ends(curve: Curve, plain: Image, ends: tuple[int, int]) -> tuple[int, int]:
    """Where a strong line ends in the undivided picture: dividing rings beyond the ends of what it divides.

    The ends stay where the two pictures don't speak of the same stretch.
    """
    wide = STRIP_PX + _ASIDE_PX
    values = strip(plain, curve, np.arange(-wide, wide + 1.0))
    profile = line_profile(STRIP_PX, 0, PROFILE_PX)
    along, left, right = (values[:, k : k + len(profile)] @ profile for k in (_ASIDE_PX, 0, 2 * _ASIDE_PX))
    found = strongest_stretch(np.minimum(along, SPIKE * np.median(along[ends[0] : ends[1]])))
    first, last = found.first, found.last
    if min(last, ends[1]) - max(first, ends[0]) <= 0.5 * max(last - first, ends[1] - ends[0]):
        first, last = ends
    return grown(along, (first, last), 1.4826 * float(np.median(np.abs(np.concatenate((left, right))))))


def grown(along: NDArray[np.float64], ends: tuple[int, int], noise: float) -> tuple[int, int]:
    """The stretch with what goes on beyond its ends, weaker but plainly there: a scratch fades with the light."""
    first, last = ends
    least = max(_GROWS_AT * noise, _GROWS_SHARE * float(np.median(along[first:last])))
    while first >= _GROWTH_PX and along[first - _GROWTH_PX : first].mean() >= least:
        first -= _GROWTH_PX
    while last + _GROWTH_PX <= len(along) and along[last : last + _GROWTH_PX].mean() >= least:
        last += _GROWTH_PX
    return first, last
