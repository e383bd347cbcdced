"""What each light says of small spots: whether all agree, and which side of a spot shines.

Dust and glints shine alike from all sides or under one light alone. A pit is hollow: the wall that faces a light is the
far one, so that its bright side lies away from each light (photometric stereo's simplest case; Woodham 1980,
10.1117/12.7972479).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.contrast import FrameContrast
from vision.face.evidence import Evidence
from vision.face.raster import Image

# Side of the square over which a spot is read in each light, px of the fine raster.
_SPOT_SIDE = 9
# Below this level a face shows a light by way of its surroundings, not by its own lobe, and a mark may add nothing.
_DIRECT = 10.0
# Half the side of the square in which a spot's bright side is told, and the sigma of what counts in it.
_SIDE_PX, _SIDE_SIGMA_PX = 5, 2.5


@dataclass(frozen=True, slots=True, eq=False)
class SpotsInLights:
    """What each light says of small spots, (spots,) each, all in standard deviations of the finish.

    `best`: how bright a spot is under the low light that shows it best; `others`: how bright under the others, each
    weighted by what is due there; `due`: what is due under them together, were it a mark as strong as the best
    light says. Each 0 where there is no such light. `glow`: how bright it is under the low light that shows it best of
    those that leave the face dark, levels of 255. `bright_side_mm`: how far its bright side lies towards the light,
    mean of all low lights about their common middle; 0 with fewer than two.
    """

    best: NDArray[np.float64]
    others: NDArray[np.float64]
    due: NDArray[np.float64]
    glow: NDArray[np.float64]
    bright_side_mm: NDArray[np.float64]


def spots_in_lights(evidence: Evidence, places: NDArray[np.float64], tray_turn_deg: float) -> SpotsInLights:
    """Read spots in each light: a glint stands out under one low light and is denied by the others.

    Parameters
    ----------
    places
        (spots, 2) column and row on the fine raster.
    tray_turn_deg
        Direction of the tray's +X in the image, counter-clockwise as seen.
    """
    side = _bright_side(evidence, places, tray_turn_deg)
    none = np.zeros(len(places))
    glow = none.copy()
    heights, dues = [], []
    column, row = _coarse_of(evidence, places)
    for frame in evidence.frames:
        if frame.picture.light == "dome":
            continue
        level, weight, noise = (part[row, column] for part in (frame.level, frame.weight, frame.noise))
        direct = (weight != 0) & (level >= _DIRECT)
        stands = np.where(direct, _heights(frame.contrast, places) / noise * np.sign(weight), 0.0)
        dark = level < _DIRECT
        glow[dark] = np.maximum(glow[dark], _glow(frame, evidence, places[dark]))
        heights.append(stands)
        # signal over noise that a defect of unit contrast has under this light
        dues.append(np.where(direct, np.abs(weight * noise), 0.0))
    if not heights:
        return SpotsInLights(none, none, none, glow, side)
    height, due = np.array(heights), np.array(dues)
    best = np.argmax(np.where(due > 0, height, -np.inf), axis=0)
    at = best, np.arange(len(places))
    rest = due.copy()
    rest[at] = 0.0
    power = np.sqrt((rest**2).sum(axis=0))
    others = (height * rest).sum(axis=0) / np.maximum(power, 1e-9)
    return SpotsInLights(height[at], others, height[at] / np.maximum(due[at], 1e-9) * power, glow, side)


def _coarse_of(evidence: Evidence, places: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Columns and rows on the coarse raster of places on the fine one."""
    step = evidence.region.coarse.step // evidence.region.fine.step
    rows, columns = evidence.region.coarse.shape
    at = np.rint(places).astype(np.intp) // step
    return np.clip(at[:, 0], 0, columns - 1), np.clip(at[:, 1], 0, rows - 1)


def _heights(contrast: Image, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far the middle of each spot stands above its edge in a light's contrast, times root of its pixels."""
    half = _SPOT_SIDE // 2
    y, x = (one.ravel() for one in np.indices((_SPOT_SIDE, _SPOT_SIDE)) - half)
    at = np.rint(places)
    u, v = ((at[:, k, None] + off).astype(np.float32) for k, off in ((0, x), (1, y)))
    patch = cv2.exp(cv2.remap(contrast, u, v, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)) - 1
    reach = np.maximum(np.abs(x), np.abs(y))
    middle, edge = reach <= half - 3, reach > half - 2
    return np.asarray((patch[:, middle].mean(axis=1) - np.median(patch[:, edge], axis=1)) * 3.0, np.float64)


def _bright_side(evidence: Evidence, places: NDArray[np.float64], tray_turn_deg: float) -> NDArray[np.float64]:
    """How far towards the light what shines of each spot lies, mm."""
    offsets = np.arange(-_SIDE_PX, _SIDE_PX + 1)
    x, y = (one.ravel() for one in np.meshgrid(offsets, offsets))
    edge = np.maximum(np.abs(x), np.abs(y)) == _SIDE_PX
    near = np.exp(-0.5 * (x**2 + y**2) / _SIDE_SIGMA_PX**2)
    at = np.rint(places)
    u, v = ((at[:, k, None] + off).astype(np.float32) for k, off in ((0, x), (1, y)))
    column, row = _coarse_of(evidence, places)
    middles, heights, ways = [], [], []
    for frame in evidence.frames:
        if frame.picture.light != "low":
            continue
        patch = cv2.exp(cv2.remap(frame.contrast, u, v, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)) - 1
        above = patch - np.median(patch[:, edge], axis=1, keepdims=True) - frame.noise[row, column][:, None]
        # the root, so that what the sensor cuts off counts little less
        shines = np.sqrt(np.maximum(above, 0.0) * near)
        height = shines.sum(axis=1)
        middles.append(np.column_stack((shines @ x, shines @ y)) / np.maximum(height, 1e-9)[:, None])
        used = (frame.weight[row, column] != 0) | (frame.level[row, column] < _DIRECT)
        heights.append(np.where(used, height, 0.0))
        azimuth = np.radians((frame.picture.azimuth_deg or 0.0) + tray_turn_deg)
        ways.append((np.cos(azimuth), -np.sin(azimuth)))
    if len(ways) < 2:
        return np.zeros(len(places))
    middle, height, way = np.array(middles), np.array(heights), np.array(ways)
    total = np.maximum(height.sum(axis=0), 1e-9)
    common = (middle * height[..., None]).sum(axis=0) / total[:, None]
    towards = ((middle - common) * way[:, None]).sum(axis=-1)
    return np.asarray((towards * height).sum(axis=0) / total * evidence.region.pitch_mm(evidence.region.fine))


def _glow(frame: FrameContrast, evidence: Evidence, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """How bright each spot is in a frame that leaves the face about it dark, levels of 255."""
    out = np.zeros(len(places))
    raster = evidence.region.fine
    half = _SPOT_SIDE * raster.step // 2
    inner = slice(half - half // 3, half + half // 3 + 1)
    for k, (u, v) in enumerate(np.rint(raster.to_px(places)).astype(int).tolist()):
        left, top = max(u - half, 0), max(v - half, 0)
        patch = frame.picture.pixels[top : v + half + 1, left : u + half + 1].astype(np.float32)
        if patch[inner, inner].size:
            out[k] = float(patch[inner, inner].max() - np.median(patch)) * 255.0 / frame.picture.full_scale
    return out
