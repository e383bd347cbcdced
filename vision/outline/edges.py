"""The sub-pixel outline: where the light is half blocked, along every normal of a rough contour.

Two looks. The first finds the half-level crossing within `EDGES.search_px` of the rough contour; the second takes one
matched step at the crossing, the least-squares shift of a blurred edge, which reaches the photon noise bound
and can't diverge. A convex edge of radius R then reads s^2 / (2 R) too far inside, s the blur (Verbeek and
van Vliet 1994 for the background); it is put back with the outline's own curvature.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.backlight import Backlight
from vision.geometry import resample, right_normals, smooth, tangents
from vision.outline.registration import MAD_TO_SD
from vision.records import Array


@dataclass(frozen=True, slots=True)
class EdgeSettings:
    """How an edge point is found, and when it is no clean one."""

    # A first crossing is looked for so far to either side of a rough contour (px), which is true to about one ...
    search_px: float = 4.0
    # ... in steps of this (px).
    first_step_px: float = 2.0
    # The profile across an edge is sampled at this (px): half of what its blur could need ...
    step_px: float = 0.5
    # ... so far to either side (px), where a sharp edge has reached its levels.
    reach_px: float = 2.5
    # Blur assumed by the matched step (standard deviation, px); the result hardly depends on it (0.75 to 1.1 changes
    # edges by < 0.0003 px).
    blur_px: float = 0.9
    # Noise beside the edge is told from every so many points: neighbours share pixels.
    noise_every: int = 4
    # A first crossing this far from the look's middle, or a matched step this long (px), is no clean edge.
    most_step_px: float = 1.0
    # How far a soft edge is looked at (px).
    far_px: float = 24.0
    # Light just outside an edge is at its level to this share ...
    shade: float = 0.05
    # ... or so many times its noise; less is dust or a hair lying against the metal ...
    shade_noise: float = 5.0
    # ... which spoils the edge for so many points to either side as well ...
    spoilt_points: int = 3
    # ... and is looked for so far outside (px).
    beside_px: float = 2.0
    # Rough contours are smoothed by this (standard deviation, vertices) before normals are taken from them: they run in
    # whole pixels.
    rough_sigma: float = 1.5
    # The first line of edges is smoothed over so many of its points (standard deviation) ...
    first_sigma: float = 0.5
    # ... and taken this finely (px): a point a pixel holds all that pixels show.
    point_px: float = 1.0
    # Of an edge too soft to trace the contour is smoothed more (standard deviation, vertices) ...
    soft_sigma: float = 3.0
    # ... and looked at this far apart (px): only a mean is taken.
    soft_step_px: float = 4.0


EDGES = EdgeSettings()

# remap refuses sides of 32767 and more.
_COLUMNS = 30000
# The matched step starts from the crossing to this fraction of a pixel, so that its weights can be kept in a table.
_PHASES = 64


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Edge points of one closed contour, evenly spaced by about 1 px, metal on the left with y up.

    `points_px` (n, 2); `normals_px` (n, 2) out of the metal, in image axes; `valid` (n,): a clean single edge;
    `profile` (k,): mean normalised light at `profile_offsets()` about the edge, from which the blur is read; `share`
    (k, n): each point's own, along its normal, with the edge `edge_px` (n,) from its middle.
    """

    points_px: Array
    normals_px: Array
    valid: NDArray[np.bool_]
    profile: Array
    share: NDArray[np.float32]
    edge_px: Array


def trace_edge(pixels: NDArray[np.generic], light: Backlight, rough: Array) -> Outline:
    """Sub-pixel outline near a rough contour (n, 2) px that keeps the metal on its left (y up)."""
    low = np.floor(rough.min(axis=0)).astype(int) - 12
    low = np.maximum(low, 0)
    high = np.ceil(rough.max(axis=0)).astype(int) + 13
    crop = pixels[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    chain = resample(smooth(rough, EDGES.rough_sigma), EDGES.first_step_px)
    normals = _outward(chain)
    bright, dark = light.at(chain)
    search_px = np.arange(-EDGES.search_px, EDGES.search_px + 1e-9, 1.0)
    first, found = _crossing(
        _profiles(crop, chain - low, normals, search_px), ((bright + dark) / 2).astype(np.float32), search_px
    )
    # A normal without an edge borrows its neighbours' shift, so that one speck of dust does not bend the contour.
    index = np.arange(len(chain))
    shift = np.interp(index, index[found], first[found], period=len(chain)) if found.any() else np.zeros(len(chain))
    edge = resample(smooth(chain + shift[:, None] * normals, EDGES.first_sigma), EDGES.point_px)
    normals = _outward(edge)
    bright, dark = light.at(edge)
    at = profile_offsets()
    # Single precision is ample for shares of light and halves the time of the matched step.
    share = _profiles(crop, edge - low, normals, at)
    share -= dark.astype(np.float32)
    share /= (bright - dark).astype(np.float32)
    crossing, clean = _crossing(share, np.float32(0.5), at)
    crossing, step = _matched_step(share, np.where(clean, crossing, 0.0))
    total = crossing + step
    valid = clean & (np.abs(step) < EDGES.most_step_px) & _undisturbed(share, total)
    points = edge + np.where(valid, total, 0.0)[:, None] * normals
    return Outline(points, normals, valid, _mean_profile(share, total, valid, at), share, total)


def _undisturbed(share: NDArray[np.float32], total: Array) -> NDArray[np.bool_]:
    """Where the light outside and the metal inside are at their levels: (n,).

    Looked at are the ends of the look, and the light `EDGES.beside_px` from the edge, which a hair that runs into the
    edge at a small angle still shades where it has left the look's end.
    """
    row = np.ceil((np.clip(total, -1.0, 1.0) + EDGES.beside_px + profile_offsets()[-1]) / EDGES.step_px).astype(
        np.int64
    )
    column = np.arange(share.shape[1])
    near = (share[row, column] + share[row + 1, column]) / 2
    fine = np.ones(share.shape[1], bool)
    for beside, level in ((share[-2:].mean(axis=0), 1.0), (share[:2].mean(axis=0), 0.0), (near, None)):
        some = beside[:: EDGES.noise_every]
        middle = float(np.median(some))
        noise = MAD_TO_SD * float(np.median(np.abs(some - middle)))
        # So near the edge its blur still takes some light, the same all along.
        fine &= np.abs(beside - (middle if level is None else level)) < max(EDGES.shade, EDGES.shade_noise * noise)
    spoilt = cv2.dilate((~fine).astype(np.uint8)[None], np.ones((1, 2 * EDGES.spoilt_points + 1), np.uint8))
    return np.asarray(spoilt[0] == 0)


def profile_offsets() -> Array:
    reach = EDGES.reach_px + 1.0
    return np.arange(-reach, reach + 1e-9, EDGES.step_px)


def _outward(chain: Array) -> Array:
    """Normals out of the metal. With y down a counter-clockwise walk as seen has the outside on its other side."""
    return -right_normals(tangents(smooth(chain, EDGES.rough_sigma)))


def _profiles(crop: NDArray[np.float32], points: Array, normals: Array, at: Array) -> NDArray[np.float32]:
    """Bilinear samples along each normal: (len(at), n), so that sums over a profile run over whole rows."""
    points, normals, step = points.astype(np.float32), normals.astype(np.float32), at.astype(np.float32)[:, None]
    x, y = points[:, 0] + step * normals[:, 0], points[:, 1] + step * normals[:, 1]
    blocks = [
        cv2.remap(crop, x[:, i : i + _COLUMNS], y[:, i : i + _COLUMNS], cv2.INTER_LINEAR, None, cv2.BORDER_REPLICATE)
        for i in range(0, len(points), _COLUMNS)
    ]
    return np.asarray(np.concatenate(blocks, axis=1), np.float32)


def _crossing(
    values: NDArray[np.float32], level: NDArray[np.float32] | np.float32, at: Array
) -> tuple[Array, NDArray[np.bool_]]:
    """Offset at which each profile rises through `level`: (n,); and whether it does so once and never falls."""
    above = values > level
    single = ((above[1:] != above[:-1]).sum(axis=0, dtype=np.int8) == 1) & above[-1]
    last_below = np.where(single, len(at) - 1 - above.sum(axis=0, dtype=np.int8), 0)
    column = np.arange(values.shape[1])
    before, after = values[last_below, column], values[last_below + 1, column]
    part = (level - before) / np.where(single, after - before, np.float32(1.0))
    return at[last_below] + part * (at[1] - at[0]), single


def _matched_step(share: NDArray[np.float32], crossing: Array) -> tuple[Array, Array]:
    """-sum (u - Phi) G / sum G^2 over samples within `reach_px` of the crossing: where it starts, and how long it is.

    `share` (k, n); `crossing` (n,) px, which is rounded to a `_PHASES`-th of a pixel.
    """
    weights, rest = _step_table()
    phase = np.rint(crossing * _PHASES).astype(np.int64)
    row = phase + len(rest) // 2
    return phase / _PHASES, rest[row] - np.einsum("kn,kn->n", share, weights[:, row])


@lru_cache(maxsize=1)
def _step_table() -> tuple[NDArray[np.float32], Array]:
    """Of the matched step, for every phase of the crossing: G / sum G^2, (k, phases), and sum Phi G / sum G^2."""
    at = profile_offsets()
    most = round(at[-1] * _PHASES)
    t = (at[:, None] - np.arange(-most, most + 1) / _PHASES) / EDGES.blur_px
    bell = np.where(
        np.abs(t) > EDGES.reach_px / EDGES.blur_px, 0.0, np.exp(-0.5 * t * t) / (np.sqrt(2 * np.pi) * EDGES.blur_px)
    )
    weights = bell / (bell * bell).sum(axis=0)
    return weights.astype(np.float32), np.asarray((ndtr(t) * weights).sum(axis=0))


def _mean_profile(share: NDArray[np.float32], total: Array, valid: NDArray[np.bool_], at: Array) -> Array:
    near = valid & (np.abs(total) < EDGES.step_px / 2)
    return np.asarray(share[:, near].mean(axis=1), np.float64) if near.any() else np.full(len(at), np.nan)


def places_across(profile: Array) -> Array:
    """Where an edge's mean profile was taken, px outward of the edge: (k,)."""
    return np.asarray((np.arange(len(profile)) - (len(profile) - 1) / 2) * EDGES.step_px, np.float64)


def blur_px(profile: Array, at: Array | None = None) -> float:
    """Standard deviation of an edge's blur in px (optics and pixel together), from its mean profile; nan without one.

    Fits Phi(t / s) to the profile, taken at `at` (those of an `Outline` when None), by a search on s.
    """
    if not np.isfinite(profile).all():
        return float("nan")
    trial = np.geomspace(0.3, 16.0, 300)
    misfit = ((ndtr((profile_offsets() if at is None else at) / trial[:, None]) - profile) ** 2).sum(axis=1)
    return float(trial[misfit.argmin()])


def far_blur_px(pixels: NDArray[np.generic], light: Backlight, rough: Array) -> float:
    """Blur of an edge too soft for `trace_edge`, from the mean of long looks across the rough contour."""
    chain = resample(smooth(rough, EDGES.soft_sigma), EDGES.soft_step_px)
    at = np.arange(-EDGES.far_px, EDGES.far_px + 1e-9, 1.0)
    bright, dark = light.at(chain)
    profiles = _profiles(pixels.astype(np.float32), chain, _outward(chain), at)
    return blur_px(np.median((profiles - dark) / (bright - dark), axis=1), at)
