"""What a spot is: its diameter with the blur taken off, and whether the optics could have drawn it at all."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.measure.face_region import Image, Mask

PATCH_PX = 14
# Half the side of a patch and the diameters tried on it; px of the fine raster.
_PATCHES = (
    (6, tuple(np.geomspace(0.8, 8.0, 16).tolist())),
    (PATCH_PX, tuple(np.geomspace(4.0, 22.0, 14).tolist())),
)
# The small patch's answer is taken up to this diameter, where its disc explains so much of what the large patch's does:
# within a large pit it sees the finish of the floor only.
_SMALL_PX, _MOST_OF_IT = 6.5, 0.5
# What is blown is no wider than the spot by more than so many blurs, unless it is far brighter than the sensor's end.
_BLOWN_BLURS = 4.0
# Places tried either way: in steps of so many px, and of so much of the diameter (one side of a wide pit may be all
# that shows, and its middle is then far from what stands out).
_PLACES = (-2, -1, 0, 1, 2)
_PLACE_PX, _PLACE_SHARE = 0.3, 0.1
# Of a template whose square is less than this over the pixels in use nothing is seen.
_HIDDEN = 1e-6


@dataclass(frozen=True, slots=True)
class Spot:
    """A spot: `column`, `row` and `diameter_px` on the fine raster; `snr` of its scale's response."""

    column: float
    row: float
    snr: float
    scale: int


@lru_cache(maxsize=8)
def _discs(blur_px: float, half: int, diameters: tuple[float, ...], share: float = 0.0) -> NDArray[np.float64]:
    """Blurred discs: (diameters, shifts, side * side); shifts in steps of `share` of the diameter at least."""
    over, side = 8, 2 * half + 1
    axis = (np.arange(side * over) + 0.5) / over - 0.5 - half
    out = []
    for diameter in diameters:
        discs = []
        step = max(_PLACE_PX, share * diameter)
        for dx in _PLACES:
            for dy in _PLACES:
                radius = np.hypot(axis[:, None] - dy * step, axis[None] - dx * step)
                # a soft edge of one sub-pixel keeps the area of small discs right
                disc = np.clip((diameter / 2 - radius) * over + 0.5, 0, 1)
                disc = disc.reshape(side, over, side, over).mean(axis=(1, 3))
                discs.append(cv2.GaussianBlur(disc, (0, 0), blur_px).ravel())
        out.append(discs)
    return np.array(out)


def _alike(templates: NDArray[np.float64], patch: Image, use: Mask) -> NDArray[np.float64]:
    """How much of a patch each template (..., side * side) explains, in its noise: both less their least-squares plane
    over the pixels in use, the template of unit norm there.
    """
    seen = use.ravel().astype(np.float64)
    y, x = np.indices(use.shape).reshape(2, -1)
    base, _ = np.linalg.qr(np.column_stack((np.ones(len(seen)), x, y)) * seen[:, None])
    flat = patch.ravel() * seen
    flat = flat - base @ (base.T @ flat)
    norm = np.square(templates) @ seen - np.square(templates @ base).sum(axis=-1)
    return np.asarray((templates @ flat) / np.sqrt(np.maximum(norm, _HIDDEN)))


def fit_diameter(patches: list[tuple[Image, Mask]], blur_px: float, wide: bool = False) -> float:
    """Diameter (px) of the blurred disc that explains most of some patches, each centred on the spot within a pixel.

    A patch is a square of 2 `PATCH_PX` + 1 with noise of about 1; pixels not in its mask have no say. Small discs are
    tried on a small part of it, so that the finish beside them has none either.
    """
    gains = _explained(patches, blur_px, *_PATCHES[0])
    small, least = peak_of(gains, _PATCHES[0][1]), gains.max()
    small = max(small, _blown_px(patches[0][1]) - _BLOWN_BLURS * blur_px)
    if small <= _SMALL_PX and not wide:
        return small
    gains = _explained(patches, blur_px, *_PATCHES[1])
    return peak_of(gains, _PATCHES[1][1]) if small > _SMALL_PX or least < _MOST_OF_IT * gains.max() else small


def beyond_grain(patches: list[tuple[Image, Mask]], blur_px: float, grain_px: float) -> float:
    """Share of what the best disc explains of some patches that a disc of a grain's diameter (px) leaves."""
    half, diameters = _PATCHES[0]
    gains = _explained(patches, blur_px, half, diameters)
    grain = float(np.interp(np.log(grain_px), np.log(diameters), gains))
    return 1.0 - grain / max(float(gains.max()), 1e-9)


def _blown_px(use: Mask) -> float:
    """Diameter of the disc as large as the blown spot in the middle of a patch."""
    _, parts = cv2.connectedComponents((~use).view(np.uint8), connectivity=4)
    middle = parts[PATCH_PX, PATCH_PX]
    return float(np.sqrt(4 / np.pi * (parts == middle).sum())) if middle else 0.0


def _explained(
    patches: list[tuple[Image, Mask]], blur_px: float, half: int, diameters: tuple[float, ...]
) -> NDArray[np.float64]:
    """What discs of some diameters explain of the inner part of some patches."""
    inner = slice(PATCH_PX - half, PATCH_PX + half + 1)
    gains = np.zeros(len(diameters))
    for patch, use in patches:
        gains += _gains(patch[inner, inner], use[inner, inner], round(blur_px, 2), half, diameters)
    return gains


def _gains(patch: Image, use: Mask, blur_px: float, half: int, diameters: tuple[float, ...]) -> NDArray[np.float64]:
    """What the best placed disc of each diameter explains of a patch (in its noise, squared)."""
    share = _PLACE_SHARE if half == PATCH_PX and use.all() else 0.0
    discs = _discs(blur_px, half, diameters, share)
    return np.asarray(np.maximum(_alike(discs, patch, use).max(axis=1), 0) ** 2)


def peak_of(gains: NDArray[np.float64], sizes: tuple[float, ...]) -> float:
    """The size, evenly spaced in its logarithm, of the greatest gain: by a parabola through the three about it."""
    best = int(np.argmax(gains))
    place = float(best)
    if 0 < best < len(gains) - 1:
        a, b, c = gains[best - 1 : best + 2]
        if a - 2 * b + c < 0:
            place += 0.5 * float((a - c) / (a - 2 * b + c))
    return float(np.exp(np.interp(place, np.arange(len(gains)), np.log(sizes))))


# Side of the patch on which a spot's sharpness is judged, the discs and sub-pixel places tried, and the blocks of
# pixels that no optics could draw.
_SHARP_SIDE = 9
_SHARP_DIAMETERS_PX = (0.8, 1.6, 2.4, 3.2, 4.2, 5.5, 7.0)
_SHIFTS_PX = (-0.8, -0.4, 0.0, 0.4, 0.8)
# A block that explains a spot so nearly as well as the best disc is taken for its cause.
_NEARLY = 0.985
# A spot of which less of the patch is seen can't be judged.
_SEEN_SHARE = 0.7
_BLOCKS_PX = (1.0, 2.0, 3.0)
_BLOCK_SHIFTS_PX = (-1.0, -0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75, 1.0)


@lru_cache(maxsize=8)
def _sharp_templates(blur_px: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Templates, (n, side * side): what the optics can draw, and what they can't."""
    over, half = 8, _SHARP_SIDE // 2
    axis = (np.arange(_SHARP_SIDE * over) + 0.5) / over - 0.5 - half
    drawn = []
    for diameter in _SHARP_DIAMETERS_PX:
        for dx in _SHIFTS_PX:
            for dy in _SHIFTS_PX:
                radius = np.hypot(axis[:, None] - dy, axis[None] - dx)
                disc = np.clip((diameter / 2 - radius) * over + 0.5, 0, 1)
                soft = cv2.GaussianBlur(disc, (0, 0), blur_px * over, borderType=cv2.BORDER_CONSTANT)
                drawn.append(np.asarray(soft).reshape(_SHARP_SIDE, over, _SHARP_SIDE, over).mean(axis=(1, 3)))
    blocks = []
    edges = np.arange(_SHARP_SIDE) - half
    for size in _BLOCKS_PX:
        for x in _BLOCK_SHIFTS_PX:
            for y in _BLOCK_SHIFTS_PX:
                # share of each pixel that the block covers, along either axis
                across, down = (
                    np.clip(np.minimum(edges + 0.5, c + size / 2) - np.maximum(edges - 0.5, c - size / 2), 0, 1)
                    for c in (x, y)
                )
                blocks.append(np.outer(down, across))
    can, cannot = (np.array(t, np.float64).reshape(len(t), -1) for t in (drawn, blocks))
    return can, cannot


def sharper_than_optics(patch: Image, use: Mask, blur_px: float) -> bool:
    """Whether a spot is rather a block of pixels (a fault of the sensor, a glint) than anything the lens could draw.

    `patch` is centred on the spot; pixels not in `use` are at the sensor's end and have no say.
    """
    inner = slice(PATCH_PX - _SHARP_SIDE // 2, PATCH_PX + _SHARP_SIDE // 2 + 1)
    part, use = patch[inner, inner], use[inner, inner]
    if use.mean() < _SEEN_SHARE:
        return False
    drawn, block = (float(_alike(t, part, use).max()) for t in _sharp_templates(blur_px))
    return block > _NEARLY * drawn
