"""Scratches: curves traced through the line field, measured along their own course.

Each curve is smoothed, read across with the profile of a line, and cut where the sum along it stands out most from the
noise of the finish in its direction (a matched filter for a line of unknown length).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.lines.curves import Curve, line_profile, normals, resample, smooth, strip, tangents
from vision.face.lines.ends import (
    PROFILE_PX,
    SHORTEST_PX,
    SPIKE,
    STRIP_PX,
    grown,
    plain_ends,
    prolonged,
    strongest_stretch,
)
from vision.face.lines.filters import LineField, Until, seeds, trace
from vision.face.lines.joining import ALONG, BESIDE_PX, Candidate, joined
from vision.face.raster import Image, Mask
from vision.face.whitening import FinishPower

# Seeds for tracing, of the least snr; and where a trace gives up, in standard deviations of the finish.
_SEED = 0.57
_FLOOR = 2.0
_SPACING_PX = 7
_MOST_SEEDS = 60
_PATIENCE = 4
_STEPS = 160
# What one px may add is read from this at least (see SPIKE).
_SPIKE_FLOOR = 0.4
# From here on a line's ends are read in the undivided picture.
_PLAIN_SNR = 10.0
# A comb's teeth stand so far to either side (px).
_COMB_PX = (3, 8)
# Lines from so far to so far to either side of a curve (px) tell how sums along it scatter; at least so much of a line
# must be seen, and so many lines.
_SIDE_PX = (6, 36)
_SIDE_SEEN, _SIDE_LEAST = 0.8, 8
# A line ends where over so many px it falls to less than this share of its height: what lies beyond is another.
_GAP_PX, _GAP_SHARE = 15, 0.1
# So many lines are measured at most.
_MOST_PATHS = 60
# Points of a path (2 px apart) that it has at least, and that lie between a line found on it and what else is looked
# for there.
_LEAST_POINTS, _CLEAR_POINTS = 3, 8
# A path's responses, summed over root of their number, stand so many times above the snr measured along it, at least.
_GATHERED = 3.3


@dataclass(frozen=True, slots=True, eq=False)
class LinePictures:
    """The picture in which lines are looked for: spots out and divided by the finish's spectrum, and as it was."""

    white: Image
    plain: Image


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Where lines are looked for: pictures, the power of the finish by which they were divided, their field, the pixels
    that count, and the least snr looked for.
    """

    pictures: LinePictures
    power: FinishPower
    field: LineField
    scored: Mask
    least_snr: float


def candidates(searches: list[Search]) -> list[list[Candidate]]:
    """For each search the curves that stand out from the finish, strongest first, none along another."""
    starts = [seeds(s.field, s.scored, _SEED * s.least_snr, _SPACING_PX, _MOST_SEEDS) for s in searches]
    paths = trace([s.field for s in searches], starts, Until(_FLOOR, _PATIENCE, _STEPS))
    return [_candidates(search, some) for search, some in zip(searches, paths, strict=True)]


def _candidates(search: Search, paths: list[Curve]) -> list[Candidate]:
    pictures, field = search.pictures, search.field
    least = search.least_snr
    found = []
    waiting = _worth(paths, field, _GATHERED * least)
    while waiting:
        path = waiting.pop()
        candidate = _measure(path, pictures, field, least)
        if candidate is not None and candidate.snr >= least:
            found.append(candidate)
            waiting += [p for p in _rest(path, candidate) if _gathered(p, field) >= _GATHERED * least]
    found.sort(key=lambda c: -c.snr)
    return joined(found, field.best.shape)


def _worth(paths: list[Curve], field: LineField, least: float) -> list[Curve]:
    """Of paths that run along each other the one that gathers most: those worth `least`, the best `_MOST_PATHS`."""
    gathered = [_gathered(p, field) for p in paths]
    taken = np.zeros(field.best.shape, np.uint8)
    kept: list[Curve] = []
    for i in np.argsort(gathered)[::-1]:
        if gathered[i] < least or len(kept) == _MOST_PATHS:
            break
        c = np.rint(paths[i]).astype(int)
        if taken[c[:, 1], c[:, 0]].mean() <= ALONG:
            kept.append(paths[i])
            cv2.polylines(taken, [c.astype(np.int32)], False, 1, thickness=BESIDE_PX)
    return kept


def _gathered(path: Curve, field: LineField) -> float:
    """A path's responses, summed over root of their number; 0 of a path too short to measure."""
    if len(path) < _LEAST_POINTS:
        return 0.0
    column, row = np.rint(path).astype(int).T
    return float(field.best[row, column].sum() / np.sqrt(len(path)))


def _rest(path: Curve, found: Candidate) -> tuple[Curve, Curve]:
    """What lies before and beyond a line found on a path, clear of it: a trace may lead from one scratch to another."""
    first, last = (int(np.argmin(np.hypot(*(path - end).T))) for end in found.curve[[0, -1]])
    return path[: max(first - _CLEAR_POINTS, 0)], path[last + 1 + _CLEAR_POINTS :]


def _measure(path: Curve, pictures: LinePictures, field: LineField, least: float) -> Candidate | None:
    picture = pictures.white
    curve = smooth(resample(path, 1.0))
    if len(curve) <= SHORTEST_PX:
        return None
    curve = prolonged(curve)
    across = np.arange(-STRIP_PX, STRIP_PX + 1.0)
    # recentre: response of the profile shifted sideways, gathered along the curve
    shifts = np.arange(-2, 3)
    bank = np.stack([line_profile(STRIP_PX, d, PROFILE_PX) for d in shifts.tolist()], axis=1)
    response = (strip(picture, curve, across) @ bank).astype(np.float32)
    soft = np.asarray(cv2.blur(response, (1, 7), borderType=cv2.BORDER_REFLECT))
    heavy = np.maximum(soft, 0) ** 2 + 1e-6
    offset = (heavy @ shifts) / heavy.sum(axis=1)
    curve = resample(smooth(curve + offset[:, None] * normals(curve)), 1.0)
    values = over_noise(curve, picture, field, STRIP_PX)
    along = values @ line_profile(STRIP_PX, 0, PROFILE_PX)
    one = _without_gap(along)
    curve, values, along = curve[one], values[one], along[one]
    best = strongest_stretch(along)
    # what follows only takes from it
    if best.snr < least:
        return None
    # a speck on the way is no line: what exceeds the rest of the stretch by far is cut down to it
    cap = SPIKE * max(float(np.median(along[best.first : best.last])), _SPIKE_FLOOR)
    if (along > cap).any():
        best = strongest_stretch(np.minimum(along, cap))
        if best.snr < least:
            return None
    first, last, snr = best.first, best.last, best.snr
    stretch = curve[first:last]
    beside = _beside(stretch, picture, field)
    snr /= beside
    if snr < least:
        return None
    comb = _comb(stretch, picture)
    if snr >= _PLAIN_SNR:
        first, last = plain_ends(curve, pictures.plain, (first, last))
    else:
        first, last = grown(along, (first, last), 1.0)
    return Candidate(curve[first:last], snr, along[first:last], comb, beside)


def _without_gap(along: NDArray[np.float64]) -> slice:
    """The part of a curve on which its strongest stretch, `along` it, has no gap."""
    best = strongest_stretch(along)
    stretch = along[best.first : best.last]
    if len(stretch) < 3 * _GAP_PX:
        return slice(0, len(along))
    soft = np.convolve(stretch, np.full(_GAP_PX, 1 / _GAP_PX), mode="valid")
    if soft.min() >= _GAP_SHARE * np.median(stretch):
        return slice(0, len(along))
    middle = best.first + int(np.argmin(soft)) + _GAP_PX // 2
    before, beyond = (strongest_stretch(part).snr for part in (along[:middle], along[middle:]))
    if before >= beyond:
        return _without_gap(along[:middle])
    one = _without_gap(along[middle:])
    return slice(middle + one.start, middle + one.stop)


def over_noise(curve: Curve, picture: Image, field: LineField, half: int) -> NDArray[np.float64]:
    """Values beside a curve up to `half` px to either side, in standard deviations of the finish."""
    return strip(picture, curve, np.arange(-half, half + 1.0)) / noise_along(curve, field)[:, None]


def snr_along(curve: Curve, picture: Image, field: LineField) -> float:
    """How far a line along a given curve, or a pixel beside it, stands out."""
    profiles = np.stack([line_profile(STRIP_PX, shift, PROFILE_PX) for shift in (-1, 0, 1)], axis=1)
    return float((over_noise(curve, picture, field, STRIP_PX) @ profiles).sum(axis=0).max() / np.sqrt(len(curve)))


def _beside(curve: Curve, picture: Image, field: LineField) -> float:
    """By how much sums along lines beside a curve exceed those of noise without memory, 1 at least.

    By their median and by their highest tenth: where the wheel's lines run with the curve the tenth tells.
    """
    wide, side = _SIDE_PX[1] + STRIP_PX, 2 * STRIP_PX + 1
    values = over_noise(curve, picture, field, wide)
    seen = np.correlate((values != 0).mean(axis=0), np.full(side, 1 / side), mode="valid")
    total = values.sum(axis=0) / np.sqrt(len(curve))
    sums = np.abs(np.correlate(total, line_profile(STRIP_PX, 0, PROFILE_PX), mode="valid"))
    use = (np.abs(np.arange(-_SIDE_PX[1], _SIDE_PX[1] + 1)) >= _SIDE_PX[0]) & (seen > _SIDE_SEEN)
    if use.sum() <= _SIDE_LEAST:
        return 1.0
    sums = sums[use] / np.sqrt(seen[use])
    # medians and 9-in-10 quantiles of a standard normal's absolute value: 0.6745 and 1.645
    return max(1.0, float(np.median(sums)) / 0.6745, float(np.quantile(sums, 0.9)) / 1.645)


def _comb(curve: Curve, picture: Image) -> float:
    """How strongly lines run along a curve on both sides of it, as a share of it: a finger's ridges, a bundle of
    buffing lines.
    """
    reach = _COMB_PX[1]
    profile = strip(picture, curve, np.arange(-reach - STRIP_PX, reach + STRIP_PX + 1.0)).mean(axis=0)
    response = np.correlate(profile, line_profile(STRIP_PX, 0, PROFILE_PX), mode="valid")
    left, right = response[: reach - _COMB_PX[0] + 1], response[reach + _COMB_PX[0] :]
    return float(min(left.max(), right.max()) / max(float(response[reach]), 1e-6))


def noise_along(curve: Curve, field: LineField) -> NDArray[np.float64]:
    """The finish's standard deviation for a line of each point's direction, per px along it."""
    t = tangents(curve)
    directions = len(field.noise)
    k = np.arctan2(-t[:, 1], t[:, 0]) / (np.pi / directions)
    low = np.floor(k).astype(int)
    part = k - low
    noise = (1 - part) * field.noise[low % directions] + part * field.noise[(low + 1) % directions]
    rows, columns = field.best.shape
    at = np.rint(curve).astype(int)
    column = np.minimum(np.maximum(at[:, 0], 0), columns - 1)
    row = np.minimum(np.maximum(at[:, 1], 0), rows - 1)
    return np.asarray(noise * field.local[row, column])
