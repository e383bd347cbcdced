"""All lights of one face made into one picture in which the finish has even noise and a defect is positive.

A scratch or a pit scatters the light about it: under a low light it is brighter than the finish around it, in the
dome's mirror image darker. Each frame becomes relative contrast (logarithm less its slow change), is weighted by the
contrast expected of a defect over the local variance of the finish, and all are added: the best linear combination of
independent looks (a matched filter's weights; Kay 1998, Fundamentals of Statistical Signal Processing II, ch. 4).
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.face.contrast import LIMIT, FrameContrast
from vision.face.raster import Image, Mask, Region, spread
from vision.face.spots.sizing import Patch

# Share that counts of what a light says against a line.
_AGAINST = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Both pictures have a noise of about 1 and a defect positive.

    `lines` (fine): contrast limited, what speaks against a line taken in part only; `spots` (fine): relative contrast,
    not limited, for spots and their size; `seen` (coarse): valid in one frame at least.
    """

    region: Region
    frames: tuple[FrameContrast, ...]
    lines: Image
    spots: Image
    seen: Mask


def combine(region: Region, frames: tuple[FrameContrast, ...]) -> Evidence:
    """All frames in one, each pixel weighted for the best signal over noise."""
    lines = np.zeros(region.fine.shape, np.float32)
    spots = np.zeros(region.fine.shape, np.float32)
    for frame, coarse in zip(frames, frame_weights(region, frames), strict=True):
        limit = spread(frame.noise * np.float32(LIMIT), region.fine.shape)
        weight = spread(coarse, region.fine.shape)
        lines += _outvoted(np.maximum(np.minimum(frame.contrast, limit), -limit) * weight)
        spots += (cv2.exp(frame.contrast) - 1) * weight
    seen = np.zeros(region.coarse.shape, bool)
    for frame in frames:
        seen |= frame.valid
    return Evidence(region, frames, lines, spots, seen)


def frame_weights(region: Region, frames: tuple[FrameContrast, ...]) -> list[Image]:
    """What each frame's contrast counts in the sum of all, so that the sum's noise is about 1 (coarse)."""
    power = np.full(region.coarse.shape, 1e-6, np.float32)
    for frame in frames:
        power += frame.weight**2 * frame.noise**2
    scale = np.float32(1.0) / np.sqrt(power)
    return [np.asarray(frame.weight * scale, np.float32) for frame in frames]


def _outvoted(said: Image) -> Image:
    """What a light says of a line, against it only in part: a light along a scratch shows it dark or not at all."""
    return np.asarray(np.maximum(said, said * np.float32(_AGAINST)), np.float32)


def _coarse(evidence: Evidence, column: float, row: float) -> tuple[int, int]:
    """Row and column on the coarse raster of a place on the fine one."""
    step = evidence.region.coarse.step // evidence.region.fine.step
    rows, columns = evidence.region.coarse.shape
    return min(round(row) // step, rows - 1), min(round(column) // step, columns - 1)


# From this height (standard deviations of the finish) on, the dome shows a spot plainly, and alone says how wide it is.
_PLAIN_IN_DOME = 15.0
# Half the side of the square over which it is read.
_PLAIN_PX = 3


def spot_patches(evidence: Evidence, column: float, row: float, half: int) -> tuple[bool, list[Patch]]:
    """Whether the dome shows a spot plainly; and pictures to size it on.

    The dome's alone where it shows the spot plainly: nothing is blown there, and a pit is dark over all its width,
    while a low light may show one side of its wall only. Otherwise the spots picture, less the pixels at which a light
    that counts there is blown (a bright spot that the sensor cuts off looks wider than it is); and where there are
    such, the dome's picture too.
    """
    c, r = round(column), round(row)
    at = _coarse(evidence, column, row)
    size = (2 * half + 1, 2 * half + 1)
    use: Mask = np.ones(size, bool)
    dark: list[Patch] = []
    for frame in evidence.frames:
        if frame.weight[at]:
            use &= cv2.getRectSubPix(frame.blown.view(np.uint8), size, (c, r)) == 0
        if frame.picture.light == "dome" and frame.valid[at]:
            patch = (1 - cv2.exp(cv2.getRectSubPix(frame.contrast, size, (c, r)))) / frame.noise[at]
            dark.append(Patch(np.asarray(patch, np.float32), np.ones(size, bool)))
    inner = slice(half - _PLAIN_PX, half + _PLAIN_PX + 1)
    for one in dark:
        above = one.picture[inner, inner] - np.median(one.picture)
        if above.sum() / np.sqrt(above.size) >= _PLAIN_IN_DOME:
            return True, dark
    patches = [Patch(np.asarray(cv2.getRectSubPix(evidence.spots, size, (c, r)), np.float32), use)]
    return False, patches if use.all() else patches + dark
