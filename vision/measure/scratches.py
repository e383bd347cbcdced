"""Scratches: curves traced through the line field, measured along their own course.

Each curve is smoothed, read across with the profile of a line, and cut where the sum along it stands out most from the
noise of the finish in its direction (a matched filter for a line of unknown length).
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.measure.face_region import Image, Mask
from vision.measure.lines import ORIENTATIONS, LineField, closed_marks, seeds, trace

Curve = NDArray[np.float64]

# Seeds for tracing, in standard deviations of the finish; and where a trace gives up.
_SEED = 3.5
_FLOOR = 2.0
_SPACING_PX = 7
_MOST_SEEDS = 300
_PATIENCE = 4
_STEPS = 160
# Half width of the strip read across a curve, px of the coarse raster; sigma of the line's profile.
_STRIP_PX = 4
_PROFILE_PX = 0.8
# The shortest stretch that is taken for a line (px).
_SHORTEST_PX = 12
# What one px may add: this often the stretch's median, or this often the floor.
_SPIKE = 2.5
# So much of a curve on the rim of a closed mark, and it is part of it.
_ON_RING = 0.4
# Neighbourhood (px) and rank at which the lines about one are read, and what stands at that rank in Gaussian noise.
_CROWD_PX = 50.0
_CROWD_RANK = 3
_CROWD_NORMAL = 4.8
_SPIKE_FLOOR = 0.4
# Length over which a scratch is taken as smooth (px).
_SMOOTH_PX = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A curve that may be a scratch: (n, 2) column, row of the coarse raster, evenly spaced; `snr` along it."""

    curve: Curve
    snr: float
    along: NDArray[np.float64]


def candidates(picture: Image, field: LineField, scored: Mask, least_snr: float) -> list[Candidate]:
    """Curves that stand out from the finish, strongest first, none along another."""
    starts = seeds(field, scored, _SEED, _SPACING_PX, _MOST_SEEDS)
    found = []
    for path in trace(field, starts, _FLOOR, _PATIENCE, _STEPS):
        candidate = _measure(path, picture, field)
        if candidate is not None and candidate.snr >= least_snr:
            found.append(candidate)
    found.sort(key=lambda c: -c.snr)
    found = _apart(found, field.best.shape)
    rings = closed_marks(field, scored, [c.curve for c in found])
    found = [c for c in found if _share(c.curve, rings) < _ON_RING]
    factors = _crowding(found)
    found = [replace(c, snr=c.snr / f) for c, f in zip(found, factors, strict=True)]
    return sorted((c for c in found if c.snr >= least_snr), key=lambda c: -c.snr)


def _share(curve: Curve, mask: Mask) -> float:
    """Share of a curve's points inside a mask."""
    at = np.rint(curve).astype(int)
    rows, columns = mask.shape
    return float(mask[np.clip(at[:, 1], 0, rows - 1), np.clip(at[:, 0], 0, columns - 1)].mean())


def _crowding(found: list[Candidate]) -> NDArray[np.float64]:
    """By how much the lines about each exceed those of Gaussian noise, 1 at least (as for spots, see pits)."""
    middles = np.array([c.curve[len(c.curve) // 2] for c in found]).reshape(-1, 2)
    snr = np.array([c.snr for c in found])
    factors = np.ones(len(found))
    for i, middle in enumerate(middles):
        near = np.hypot(*(middles - middle).T) <= _CROWD_PX
        near[i] = False
        if near.sum() >= _CROWD_RANK:
            factors[i] = max(1.0, float(np.sort(snr[near])[-_CROWD_RANK]) / _CROWD_NORMAL)
    return factors


def resample(curve: Curve, step: float) -> Curve:
    """Points at even steps along an open curve, both ends kept."""
    gaps = np.hypot(*np.diff(curve, axis=0).T)
    s = np.concatenate(([0.0], np.cumsum(gaps)))
    count = max(2, round(s[-1] / step) + 1)
    at = np.linspace(0.0, s[-1], count)
    return np.column_stack((np.interp(at, s, curve[:, 0]), np.interp(at, s, curve[:, 1])))


def normals(curve: Curve) -> Curve:
    """Unit normals of an open curve, (n, 2)."""
    t = np.gradient(curve, axis=0)
    t /= np.maximum(np.hypot(t[:, 0], t[:, 1]), 1e-9)[:, None]
    return np.column_stack((-t[:, 1], t[:, 0]))


def strip(image: Image, curve: Curve, across: NDArray[np.float64]) -> Image:
    """Values of an image beside a curve: (n, len(across)), bilinear."""
    normal = normals(curve)
    x = (curve[:, :1] + normal[:, :1] * across).astype(np.float32)
    y = (curve[:, 1:] + normal[:, 1:] * across).astype(np.float32)
    return cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)


def _smooth(curve: Curve, sigma: float) -> Curve:
    """Local straight-line fits along a curve: keeps the ends where they are, unlike a plain mean."""
    n = len(curve)
    if n < 4:
        return curve
    i = np.arange(n)
    d = i[None] - i[:, None]
    w = np.exp(-0.5 * (d / sigma) ** 2)
    s0, s1, s2, s3, s4 = (np.sum(w * d**k, axis=1) for k in range(5))
    a = np.stack([np.stack([s0, s1, s2], -1), np.stack([s1, s2, s3], -1), np.stack([s2, s3, s4], -1)], -2)
    b = np.stack([w @ curve, (w * d) @ curve, (w * d**2) @ curve], axis=1)
    return np.asarray(np.linalg.solve(a + 1e-9 * np.eye(3), b)[:, 0])


def line_profile(across: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    """A line's cross profile without mean, unit norm: minus the second derivative of a Gaussian."""
    g = (1 - (across / sigma) ** 2) * np.exp(-0.5 * (across / sigma) ** 2)
    g -= g.mean()
    return np.asarray(g / np.sqrt((g**2).sum()))


def _measure(path: Curve, picture: Image, field: LineField) -> Candidate | None:
    if len(path) < 3:
        return None
    across = np.arange(-_STRIP_PX, _STRIP_PX + 0.5, 1.0)
    curve = resample(_smooth(resample(path, 1.0), _SMOOTH_PX), 1.0)
    if len(curve) <= _SHORTEST_PX:
        return None
    values = strip(picture, curve, across)
    # recentre: response of the profile shifted sideways, gathered along the curve
    shifts = np.arange(-2, 3)
    bank = np.stack([line_profile(across - d, _PROFILE_PX) for d in shifts], axis=1)
    response = cv2.GaussianBlur((values @ bank).astype(np.float32), (1, 0), sigmaX=0.01, sigmaY=_SMOOTH_PX / 3)
    heavy = np.maximum(response, 0) ** 2 + 1e-6
    offset = (heavy * shifts).sum(axis=1) / heavy.sum(axis=1)
    curve = resample(_smooth(curve + offset[:, None] * normals(curve), _SMOOTH_PX), 1.0)
    values = strip(picture, curve, across)
    along = values @ line_profile(across, _PROFILE_PX) / noise_along(curve, field)
    first, last, snr = strongest_stretch(along)
    # a speck on the way is no line: what exceeds the rest of the stretch by far is cut down to it
    cap = _SPIKE * max(float(np.median(along[first:last])), _SPIKE_FLOOR)
    first, last, snr = strongest_stretch(np.minimum(along, cap))
    return Candidate(curve[first:last], snr, along[first:last])


def noise_along(curve: Curve, field: LineField) -> NDArray[np.float64]:
    """The finish's standard deviation for a line of each point's direction, per px along it."""
    t = np.gradient(curve, axis=0)
    k = np.arctan2(-t[:, 1], t[:, 0]) / (np.pi / ORIENTATIONS)
    low = np.floor(k).astype(int)
    part = k - low
    noise = (1 - part) * field.noise[low % ORIENTATIONS] + part * field.noise[(low + 1) % ORIENTATIONS]
    column = np.clip(np.rint(curve[:, 0]).astype(int), 0, field.best.shape[1] - 1)
    row = np.clip(np.rint(curve[:, 1]).astype(int), 0, field.best.shape[0] - 1)
    return np.asarray(noise * field.local[row, column])


def strongest_stretch(along: NDArray[np.float64]) -> tuple[int, int, float]:
    """The stretch [first, last) of greatest sum over root of length, and that value."""
    total = np.concatenate(([0.0], np.cumsum(along)))
    n = len(total)
    length = np.arange(n)[None] - np.arange(n)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        value = np.where(length >= _SHORTEST_PX, (total[None] - total[:, None]) / np.sqrt(np.abs(length)), -np.inf)
    first, last = np.unravel_index(int(np.argmax(value)), value.shape)
    return int(first), int(last), float(value[first, last])


def _apart(found: list[Candidate], shape: tuple[int, int]) -> list[Candidate]:
    """Keep the strongest of those that run along each other."""
    taken = np.zeros(shape, np.uint8)
    kept = []
    for candidate in found:
        at = np.rint(candidate.curve).astype(int)
        at[:, 0] = np.clip(at[:, 0], 0, shape[1] - 1)
        at[:, 1] = np.clip(at[:, 1], 0, shape[0] - 1)
        if taken[at[:, 1], at[:, 0]].mean() > 0.4:
            continue
        kept.append(candidate)
        cv2.polylines(taken, [at.astype(np.int32)], False, 1, thickness=9)
    return kept
