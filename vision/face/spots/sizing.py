"""What a spot is: its diameter with the blur taken off, and whether the optics could have drawn it at all."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import inertia_tensor_eigvals, label

from vision.face.raster import Image, Mask

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
# Lines of the finish that run through a patch: how many directions are tried, how wide they are and where across the
# patch they lie; and from which distance on what lies about the spot tells their direction (px).
_LINE_DIRECTIONS, _LINE_PX, _ABOUT_PX = 12, 1.2, 3.5
_LINES_AT_PX = np.array([-4.0, -2.0, 0.0, 2.0, 4.0])
# Of a template whose square is less than this over the pixels in use nothing is seen.
_HIDDEN = 1e-6


@dataclass(frozen=True, slots=True)
class Spot:
    """A spot: `column`, `row` on the fine raster; `snr` of its scale's response, over what the finish about it has.

    `ring`: the strongest response about it as a share of its own. In the undivided picture: `height` (standard
    deviations), and `ridge`, how bright it is beside the spot as a share of it. `line`: snr of the strongest line that
    leads away from it.
    """

    column: float
    row: float
    snr: float
    scale: int
    ring: float = 0.0
    height: float = 0.0
    ridge: float = 0.0
    line: float = 0.0


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


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A square of 2 `PATCH_PX` + 1 centred on a spot within a pixel, noise about 1; pixels not in `use` have no say."""

    picture: Image
    use: Mask


def _alike(
    templates: NDArray[np.float64], patch: Patch, courses: NDArray[np.float64] | None = None
) -> NDArray[np.float64]:
    """How much of a patch each template (..., side * side) explains, in its noise: both less their least-squares plane,
    or less what `courses` (side * side, n) fit, over the pixels in use; the template of unit norm there.
    """
    seen = patch.use.ravel().astype(np.float64)
    if courses is None:
        courses = _plane(len(patch.use))
    base, _ = np.linalg.qr(courses * seen[:, None])
    flat = patch.picture.ravel() * seen
    flat = flat - base @ (base.T @ flat)
    norm = np.square(templates) @ seen - np.square(templates @ base).sum(axis=-1)
    return np.asarray((templates @ flat) / np.sqrt(np.maximum(norm, _HIDDEN)))


@dataclass(frozen=True, slots=True)
class _Discs:
    """Discs tried on a patch of 2 `half` + 1 px: their diameters, the blur, and the share of the diameter by which
    they are shifted at least.
    """

    blur_px: float
    half: int
    diameters: tuple[float, ...]
    share: float = 0.0


@lru_cache(maxsize=32)
def _unit_discs(discs: _Discs, course: int | None) -> NDArray[np.float32]:
    """Blurred discs (diameters, shifts, side * side) less what a plane, or a course of lines, explains of them, of unit
    norm: over a patch in full use their product with it is all that `_alike` reckons.
    """
    templates = _discs(discs.blur_px, discs.half, discs.diameters, discs.share)
    side = 2 * discs.half + 1
    base, _ = np.linalg.qr(_plane(side) if course is None else _lines(side)[course])
    rest = templates - (templates @ base) @ base.T
    norm = np.sqrt(np.maximum(np.square(rest).sum(axis=-1, keepdims=True), _HIDDEN))
    return np.asarray(rest / norm, np.float32)


@lru_cache(maxsize=2)
def _about(side: int) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """What lies about the middle of a patch, (side * side,), and bases of the lines there, one a direction."""
    plane = _plane(side)
    about = np.hypot(plane[:, 1], plane[:, 2]) > _ABOUT_PX
    return about, np.asarray(np.linalg.qr(_lines(side) * about[:, None])[0])


@lru_cache(maxsize=4)
def _plane(side: int) -> NDArray[np.float64]:
    """The columns of a plane over a patch: (side * side, 3)."""
    y, x = np.indices((side, side)).reshape(2, -1) - (side - 1) / 2
    return np.column_stack((np.ones(side * side), x, y))


@lru_cache(maxsize=2)
def _lines(side: int) -> NDArray[np.float64]:
    """The same and lines side by side, in each of some directions: (directions, side * side, 3 + lines)."""
    plane = _plane(side)
    angle = np.arange(_LINE_DIRECTIONS) * (np.pi / _LINE_DIRECTIONS)
    across = plane[:, 2] * np.cos(angle)[:, None] - plane[:, 1] * np.sin(angle)[:, None]
    lines = np.exp(-0.5 * ((across[..., None] - _LINES_AT_PX) / _LINE_PX) ** 2)
    return np.concatenate((np.broadcast_to(plane, (len(angle), *plane.shape)), lines), axis=2)


def _running_through(patch: Patch) -> int:
    """Which course of lines explains most of what lies about a spot in the middle of a patch."""
    about, bases = _about(len(patch.use))
    if not patch.use.all():
        about = about & patch.use.ravel()
        bases, _ = np.linalg.qr(_lines(len(patch.use)) * about[:, None])
    energy = np.square((patch.picture.ravel() * about) @ bases).sum(axis=1)
    return int(np.argmax(energy))


def fit_diameter(patches: list[Patch], blur_px: float, wide: bool = False) -> float:
    """Diameter (px) of the blurred disc that explains most of some patches.

    Small discs are tried on a small part of a patch, so that the finish beside them has no say either.
    """
    return _diameter(_explained(patches, blur_px, *_PATCHES[0]), patches, blur_px, wide)


def fit_apart(patches: list[Patch], blur_px: float, grain_px: float, wide: bool = False) -> tuple[float, float]:
    """The same apart from the lines of the finish that run through the patch and make a weak spot look wide; and the
    share of what the best disc explains that a grain of dust of a given diameter leaves.
    """
    gains = _explained(patches, blur_px, *_PATCHES[0], apart=True)
    grain = float(np.interp(np.log(grain_px), np.log(_PATCHES[0][1]), gains))
    return _diameter(gains, patches, blur_px, wide), 1.0 - grain / max(float(gains.max()), 1e-9)


def _diameter(gains: NDArray[np.float64], patches: list[Patch], blur_px: float, wide: bool) -> float:
    """The diameter that stands out from the gains of small discs, and of large ones where it is large."""
    small = peak_of(gains, _PATCHES[0][1])
    small = max(small, _blown_px(patches[0].use) - _BLOWN_BLURS * blur_px)
    if small <= _SMALL_PX and not wide:
        return small
    large = _explained(patches, blur_px, *_PATCHES[1])
    return peak_of(large, _PATCHES[1][1]) if small > _SMALL_PX or gains.max() < _MOST_OF_IT * large.max() else small


def _blown_px(use: Mask) -> float:
    """Diameter of the disc as large as the blown spot in the middle of a patch, 0 of a lamp's reflection."""
    parts = label(~use, connectivity=1)
    blown = parts == parts[PATCH_PX, PATCH_PX]
    beyond = blown[[0, -1]].any() or blown[:, [0, -1]].any()
    return 0.0 if use[PATCH_PX, PATCH_PX] or beyond else float(np.sqrt(4 / np.pi * blown.sum()))


def _explained(
    patches: list[Patch], blur_px: float, half: int, diameters: tuple[float, ...], apart: bool = False
) -> NDArray[np.float64]:
    """What the best placed disc of each diameter explains of the inner part of some patches, in their noise, squared;
    `apart` from the lines that run through.
    """
    inner = slice(PATCH_PX - half, PATCH_PX + half + 1)
    cut = [Patch(one.picture[inner, inner], one.use[inner, inner]) for one in patches]
    course = _running_through(cut[0]) if apart else None
    gains = np.zeros(len(diameters))
    for one in cut:
        full = bool(one.use.all())
        discs = _Discs(round(blur_px, 2), half, diameters, _PLACE_SHARE if half == PATCH_PX and full else 0.0)
        if full:
            alike = _unit_discs(discs, course) @ one.picture.ravel()
        else:
            courses = None if course is None else _lines(2 * half + 1)[course]
            alike = _alike(_discs(discs.blur_px, half, diameters, discs.share), one, courses)
        gains += np.maximum(alike.max(axis=1), 0) ** 2
    return gains


def peak_of(gains: NDArray[np.float64], sizes: tuple[float, ...]) -> float:
    """The size, evenly spaced in its logarithm, of the greatest gain: by a parabola through the three about it."""
    best = int(np.argmax(gains))
    place = float(best)
    if 0 < best < len(gains) - 1:
        a, b, c = gains[best - 1 : best + 2]
        if a - 2 * b + c < 0:
            place += 0.5 * float((a - c) / (a - 2 * b + c))
    return float(np.exp(np.interp(place, np.arange(len(gains)), np.log(sizes))))


# Half the side of the square, and the radius, in which a spot's length and width are told.
_FORM_PX, _FORM_RADIUS_PX = 6, 5.0


def slenderness(patch: Image) -> float:
    """How wide a spot in the middle of a patch is for its length: ratio of the second moments of what lies above the
    patch's median, 1 for a round one.
    """
    middle = slice(PATCH_PX - _FORM_PX, PATCH_PX + _FORM_PX + 1)
    y, x = np.indices((2 * _FORM_PX + 1,) * 2) - _FORM_PX
    weight = np.maximum(patch[middle, middle] - np.median(patch), 0) * (np.hypot(x, y) <= _FORM_RADIUS_PX)
    if np.count_nonzero(weight) < 3:
        return 1.0
    long, short = inertia_tensor_eigvals(weight.astype(np.float64))
    return float(short / long)


# Side of the patch on which a spot's sharpness is judged, the discs and sub-pixel places tried, and the blocks of
# pixels that no optics could draw.
_SHARP_SIDE = 9
_SHARP_DIAMETERS_PX = (0.8, 1.6, 2.4, 3.2, 4.2, 5.5, 7.0)
_SHIFTS_PX = (-0.8, -0.4, 0.0, 0.4, 0.8)
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


def sharpness(patch: Patch, blur_px: float) -> float:
    """How much better a spot is explained by a block of pixels (a fault of the sensor, a glint) than by anything the
    lens could draw, as a ratio; 0 where too little of it is seen.
    """
    inner = slice(PATCH_PX - _SHARP_SIDE // 2, PATCH_PX + _SHARP_SIDE // 2 + 1)
    part = Patch(patch.picture[inner, inner], patch.use[inner, inner])
    if part.use.mean() < _SEEN_SHARE:
        return 0.0
    drawn, block = (float(_alike(t, part).max()) for t in _sharp_templates(blur_px))
    return block / max(drawn, 1e-6)
