"""Spots found at several scales: what may be pits, specks of dust or glints.

Spots are maxima of Gaussians over scale (Lindeberg 1998, 10.1023/A:1008045108935) on a picture divided by the finish's
own spectrum, which makes each a matched filter for a spot of its size.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vision.face.lines.curves import line_profile
from vision.face.raster import Image, Mask, reduce, spread
from vision.face.spots.sizing import Spot
from vision.face.whitening import FinishPower, divided, power_of

# Scales of the filters, px of the fine raster.
_SCALES_PX = (1.0, 1.5, 2.2, 3.3, 4.8)
# The scale that suits a pit of a quarter of a millimetre.
_SMALL_PIT = 1
# Spots of this sigma or more are looked for on a picture so many times coarser; noise is read on every so many pixels,
# and its median on every so many of them.
_HALF = 2
_THIN = 2
_THINNER = 3
# The least sigma that a picture's own pixels can carry.
_LEAST_SIGMA_PX = 0.7
# Window over which the finish is taken to be even (px), what counts in it at most, and a standard normal's mean size.
_EVEN_PX = 61
_CAP = 3.0
_MEAN_ABS = 0.7979
_MOST = 300
# Neighbourhood and rank at which the finish's own spots are read, the least that is looked at, and what stands at that
# rank in Gaussian noise.
_CROWD_PX = 80
_CROWD_RANK = 5
_CROWD_LEVEL = 3.0
_CROWD_NORMAL = 3.5
# A stronger pixel adds no more to what finds spots, or its echo in the filters would hide faint ones elsewhere.
_LIMIT = 30.0
# Rays about a spot: how many, how long, how far to either side they are read, the sigma of a line across them.
_RAYS = 48
_RAY_PX = 24
_RAY_HALF_PX = 5
_RAY_LINE_PX = 1.6


@dataclass(frozen=True, slots=True, eq=False)
class SpotPicture:
    """A picture to look for spots in: noise of about 1, spots positive; `finish` is the same with its contrast limited.

    `times`: how much coarser it is than the fine raster, on which spots are placed and sized.
    """

    picture: Image
    finish: Image
    scored: Mask
    times: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class SpotGround:
    """The finish against which spots of one scale are told: its `power`, and the standard deviation of the scale's
    response at each pixel, `noise`; `sigma_px` of the scale. All on the raster of the picture looked through.
    """

    power: FinishPower
    noise: Image
    sigma_px: float


def spot_ground(source: SpotPicture, white: Image, power: FinishPower) -> SpotGround:
    """The ground for spots of the scale of a small pit."""
    sigma = _SCALES_PX[_SMALL_PIT] / source.times
    response = np.asarray(cv2.GaussianBlur(white, (0, 0), sigma), np.float32)
    return SpotGround(power, _spread_of(response, source.scored, source.times), sigma)


def spots(pictures: tuple[SpotPicture, ...], least_snr: float) -> tuple[list[Spot], SpotGround]:
    """Bright spots, strongest first; one seen in several pictures stands with its greatest snr. And the ground of the
    first picture.
    """
    found: list[Spot] = []
    powers = [power_of(p.finish) for p in pictures]
    whites = [divided(np.clip(p.picture, -_LIMIT, _LIMIT), q) for p, q in zip(pictures, powers, strict=True)]
    every = [s for p, white in zip(pictures, whites, strict=True) for s in _spots_in(p, white, least_snr)]
    for spot in sorted(every, key=lambda s: -s.snr):
        if not any(_same(spot, other) for other in found):
            found.append(spot)
    return found[:_MOST], spot_ground(pictures[0], whites[0], powers[0])


def _spots_in(source: SpotPicture, white: Image, least_snr: float) -> list[Spot]:
    rows, columns = (n // _HALF * _HALF for n in white.shape)
    half = reduce(white[:rows, :columns], (rows // _HALF, columns // _HALF))
    scored = source.scored
    tried: list[Spot] = []
    for index, sigma in enumerate(_SCALES_PX):
        if sigma < _LEAST_SIGMA_PX * source.times:
            continue
        if sigma < _HALF * source.times:
            tried += _spots_of_scale(white, scored, index, source.times, least_snr)
        else:
            coarser = scored[:rows:_HALF, :columns:_HALF]
            tried += _spots_of_scale(half, coarser, index, _HALF * source.times, least_snr)
    tried.sort(key=lambda s: -s.snr)
    quiet = np.abs(white[::_THIN, ::_THIN][scored[::_THIN, ::_THIN]])
    noise = 1.4826 * float(np.median(quiet)) if len(quiet) else 1.0
    found: list[Spot] = []
    for spot in tried[:_MOST]:
        if any(_same(spot, other) for other in found):
            continue
        column, row = _place(spot, source.times)
        sigma = _SCALES_PX[spot.scale] / source.times
        height, ridge = _height_and_ridge(source.picture, column, row, sigma)
        line = _line_from(white, noise, column, row, sigma)
        found.append(replace(spot, height=height, ridge=ridge, line=line))
    return found


def _place(spot: Spot, times: int) -> tuple[float, float]:
    """Column and row of a spot on a raster so many times coarser than the fine one."""
    return (spot.column - (times - 1) / 2) / times, (spot.row - (times - 1) / 2) / times


def _spots_of_scale(white: Image, scored: Mask, scale: int, times: int, least_snr: float) -> list[Spot]:
    """Spots of one scale in a picture of even noise, `times` as coarse as the raster that their places are given on."""
    sigma = _SCALES_PX[scale] / times
    response = _even(np.asarray(cv2.GaussianBlur(white, (0, 0), sigma), np.float32), scored, times)
    size = 2 * round(1.5 * sigma) + 3
    peak = cv2.dilate(response, np.ones((size, size), np.uint8))
    rows, columns = np.divmod(np.flatnonzero((response >= np.maximum(peak, _CROWD_LEVEL)) & scored), white.shape[1])
    places = np.column_stack((rows, columns))
    values = response[rows, columns]
    rings = _ring_peaks(response, places, 2.5 * sigma + 1.5 / times) / np.maximum(values, 1e-6)
    places = places * times + (times - 1) / 2
    crowds = _crowding(places, values, least_snr, 2.5 * _SCALES_PX[scale] + 4.0)
    every = zip(places, values / crowds, rings, strict=True)
    return [Spot(float(c), float(r), float(v), scale, ring=float(ring)) for (r, c), v, ring in every if v >= least_snr]


def _same(spot: Spot, other: Spot) -> bool:
    reach = 2.0 * max(_SCALES_PX[spot.scale], _SCALES_PX[other.scale]) + 2.0
    return float(np.hypot(spot.column - other.column, spot.row - other.row)) <= reach


def _crowding(
    places: NDArray[np.float64], values: NDArray[np.float32], least: float, own_px: float
) -> NDArray[np.float64]:
    """By how much the finish about each spot of one scale exceeds Gaussian noise, 1 at least; read for values from
    `least`.

    The finish's tails differ from place to place (fingerprints, orange peel, glitter): what makes a pit is that it
    stands out from the spots around it, those within `own_px` left out. Read at the `_CROWD_RANK`-th strongest
    neighbour, so that a few pits near each other don't hide.
    """
    factors = np.ones(len(places))
    strong = np.flatnonzero(values >= least)
    if len(places) <= _CROWD_RANK or not len(strong):
        return factors
    tree = cKDTree(places)
    for i, near in zip(strong, tree.query_ball_point(places[strong], _CROWD_PX), strict=True):
        apart = np.hypot(*(places[near] - places[i]).T) > own_px
        others = values[near][apart]
        if len(others) >= _CROWD_RANK:
            factors[i] = max(1.0, float(np.partition(others, -_CROWD_RANK)[-_CROWD_RANK]) / _CROWD_NORMAL)
    return factors


def _line_from(white: Image, noise: float, column: float, row: float, sigma: float) -> float:
    """The snr of the strongest line that leads away from a spot, which may be a stretch or an end of it.

    Read along rays, across which a line's profile is looked for in a picture of even noise, `noise` its standard
    deviation.
    """
    start = 2.5 * sigma + 3.0
    angle = np.linspace(0, 2 * np.pi, _RAYS, endpoint=False)[:, None, None]
    along = (start + np.arange(_RAY_PX))[None, :, None]
    across = np.arange(-_RAY_HALF_PX, _RAY_HALF_PX + 1.0)[None, None]
    x = column + along * np.cos(angle) - across * np.sin(angle)
    y = row + along * np.sin(angle) + across * np.cos(angle)
    shape = (_RAYS * _RAY_PX, x.shape[2])
    values = cv2.remap(
        white, x.reshape(shape).astype(np.float32), y.reshape(shape).astype(np.float32), cv2.INTER_LINEAR
    )
    response = (values @ line_profile(_RAY_HALF_PX, 0, _RAY_LINE_PX)).reshape(_RAYS, _RAY_PX)
    return float(response.sum(axis=1).max() / (noise * np.sqrt(_RAY_PX)))


def _height_and_ridge(picture: Image, column: float, row: float, sigma: float) -> tuple[float, float]:
    """How high a spot is in the picture itself, smoothed, and how bright it is beside it there, as a share: the
    finish's spectrum takes a line of the wheel away between its ends and its crossings, and leaves these as spots.
    """
    half = int(np.ceil(6 * sigma)) + 2
    patch = cv2.getRectSubPix(picture, (2 * half + 1, 2 * half + 1), (column, row))
    soft = np.asarray(cv2.GaussianBlur(patch, (0, 0), sigma), np.float32)
    center = float(soft[half, half])
    ring = float(_ring_peaks(soft, np.array([[half, half]]), 3.0 * sigma + 1.5)[0])
    return center, ring / max(center, 0.1)


def _ring_peaks(image: Image, places: NDArray[np.intp], radius: float) -> NDArray[np.float32]:
    """The largest value on a ring about each place (row, column): near the place's own where it is part of a line."""
    if not len(places):
        return np.zeros(0, np.float32)
    angle = np.linspace(0, 2 * np.pi, 33)[:-1]
    x = (places[:, 1:] + radius * np.cos(angle)).astype(np.float32)
    y = (places[:, :1] + radius * np.sin(angle)).astype(np.float32)
    return np.asarray(cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).max(axis=1))


def _even(response: Image, scored: Mask, times: int) -> Image:
    """A response over its standard deviation, 0 where too little is scored to tell."""
    return np.asarray(response / _spread_of(response, scored, times), np.float32)


def _spread_of(response: Image, scored: Mask, times: int) -> Image:
    """A response's standard deviation at each pixel: the face's, or that about a pixel where it is larger."""
    thin = np.abs(response[::_THIN, ::_THIN])
    okay = scored[::_THIN, ::_THIN].astype(np.float32)
    inside = thin[okay > 0]
    if len(inside) < 100:
        return np.full_like(response, np.inf)
    quiet = np.float32(max(1.4826 * float(np.median(inside[::_THINNER])), 1e-9))
    size = (max(1, _EVEN_PX // times // _THIN),) * 2
    total = np.asarray(cv2.blur(np.minimum(thin, quiet * np.float32(_CAP)) * okay, size), np.float32)
    level = total / (np.maximum(cv2.blur(okay, size), np.float32(1e-3)) * np.float32(_MEAN_ABS))
    return spread(np.asarray(np.maximum(level, quiet), np.float32), response.shape)
