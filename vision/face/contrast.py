"""One front-lit frame over the face: its relative contrast, its finish's noise, and what it is worth where."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.background import slow_change
from vision.face.raster import Image, Mask, Region, reduce, spread
from vision.records import Picture, TrayPictures

# Frames are brought to this full scale, so that the constants below mean the same on every sensor.
_FULL = 255.0
# At or above this share of full scale a pixel is blown.
_BLOWN = 0.97
# Below this level (of 255) a frame shows no texture, only the steps of its own quantisation: worth nothing at half of
# it, in full from one and a half times.
_SHADOW = 4.0
# Added before the logarithm: keeps the steps of the darkest levels from growing without bound.
_PEDESTAL = 2.0
# A blown spot smaller than this is a bright defect, not the light's own reflection (mm).
_GLARE_MM = 0.8
# The blur about a blown reflection, and the width over which a look fades in beside a mask (mm).
_SKIRT_MM = 0.2
_TAPER_MM = 0.4
# The finish's noise is read finer than this (mm: the width of a line or a small pit) over a window of so much.
_FINER_MM = 0.3
_NOISE_MM = 3.0
# Contrast beyond this many standard deviations adds no more to a look's noise, nor to the picture of lines: neither
# dust nor a glint can pass for a line.
LIMIT = 6.0
# Contrast in the dome of a defect that has unit contrast under a low light (docs/benchmarks/face.md).
_DOME_GAIN = -0.03
# The nearer to its own reflection, the less a defect adds to a low light's level: e-folding level.
_FADE_LEVEL = 128.0
# Of a dark level much came by way of the face's surroundings, to which a defect adds nothing: level of which half did.
_INDIRECT = 8.0
# Means of a standard normal's absolute value and of its root.
_MEAN_ABS, _MEAN_ROOT = 0.7979, 0.8222
_THIN = 2


@dataclass(frozen=True, slots=True, eq=False)
class FrameContrast:
    """One front-lit frame over the region.

    `brightness` (broad) and `brightness_coarse`: the frame itself, of 255. `contrast` (fine): natural logarithm of
    level over its slow change, 0 where not valid; `contrast_coarse` its mean on the coarse raster. `blown` (fine): at
    the sensor's end. `level` (coarse): the slow change, of 255. `noise` (coarse): local standard deviation of the
    contrast. `weight` (coarse): expected contrast of a defect over variance, signed, 0 where blown or lost in shadow.
    `valid` (coarse): seen, neither blown nor dark.
    """

    picture: Picture
    brightness: Image
    brightness_coarse: Image
    contrast: Image
    contrast_coarse: Image
    blown: Mask
    level: Image
    noise: Image
    weight: Image
    valid: Mask


def frame_contrasts(region: Region, pictures: TrayPictures) -> tuple[FrameContrast, ...]:
    """Every front-lit frame of a shot over the region."""
    return tuple(contrast_of(region, picture) for picture in (pictures.dome, *pictures.low) if picture is not None)


def contrast_of(region: Region, picture: Picture) -> FrameContrast:
    """One front-lit frame over the region."""
    metal = reduce(region.metal.astype(np.float32), region.coarse.shape) > 0.99
    pitch = region.pitch_mm(region.coarse)
    raw = region.fine.cut(picture.pixels).astype(np.float32)
    level = reduce(raw * np.float32(_FULL / picture.full_scale), region.fine.shape)
    blown = level >= _BLOWN * _FULL
    glare = _glare(blown, region.coarse.shape, pitch)
    valid = metal & ~glare
    okay = valid.astype(np.float32)
    contrast = np.asarray(cv2.log(level + np.float32(_PEDESTAL)), np.float32)
    slow, slow_coarse = slow_change(reduce(contrast, region.coarse.shape), okay, region)
    contrast -= slow
    contrast *= spread(okay, region.fine.shape, cv2.INTER_NEAREST)
    ground = np.maximum(cv2.exp(slow_coarse) - np.float32(_PEDESTAL), 0)
    contrast_coarse = reduce(contrast, region.coarse.shape)
    noise = _local_noise(contrast_coarse, okay, pitch)
    # half a count: the quantisation's steps run along contours of level and do not average out
    noise = np.maximum(noise, np.float32(0.5) / (ground + np.float32(_PEDESTAL)))
    # half of a window about a pixel at the edge of what is valid, all of one so deep inside
    inside = 2 * cv2.blur(okay, (2 * round(_TAPER_MM / pitch) + 1,) * 2) - 1
    taper = np.maximum(inside, 0) * okay * np.clip(ground / np.float32(_SHADOW) - 0.5, 0, 1)
    weight = np.asarray(_gain(picture, ground) * taper / noise**2, np.float32)
    seen = valid & (ground >= _SHADOW / 2)
    coarse = reduce(level, region.coarse.shape)
    brightness = reduce(coarse, region.broad.shape)
    return FrameContrast(picture, brightness, coarse, contrast, contrast_coarse, blown, ground, noise, weight, seen)


def _gain(picture: Picture, ground: Image) -> Image:
    """Contrast expected of a defect where a frame's level is `ground`: under a low light of middling level, about 1."""
    if picture.light == "dome":
        return np.full_like(ground, _DOME_GAIN)
    direct = ground / (ground + np.float32(_INDIRECT))
    return np.asarray(direct * cv2.exp(ground * np.float32(-1 / _FADE_LEVEL)))


def _glare(blown: Mask, shape: tuple[int, int], pitch: float) -> Mask:
    """The light's own reflection and the blur about it, on the coarse raster."""
    beside = cv2.dilate(blown.astype(np.uint8), np.ones((3, 3), np.uint8))
    wide = (reduce(beside.astype(np.float32), shape) > 0).astype(np.uint8)
    core = cv2.morphologyEx(wide, cv2.MORPH_OPEN, _disc(_GLARE_MM / 2 / pitch))
    return np.asarray(cv2.dilate(core, _disc(_SKIRT_MM / pitch)) > 0)


def _disc(radius: float) -> NDArray[np.uint8]:
    size = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), np.uint8)


def _local_noise(contrast: Image, okay: Image, pitch: float) -> Image:
    """Standard deviation of a contrast's fine part: from the local mean of absolute values, limited against defects.

    The limit is a local one too: beside a reflection the wheel's lines are many times stronger than elsewhere. It is
    read from the mean of square roots, on which few strong pixels tell little.
    """
    finer = np.abs(contrast - cv2.GaussianBlur(contrast, (0, 0), _FINER_MM / pitch))[::_THIN, ::_THIN]
    thin = np.ascontiguousarray(okay[::_THIN, ::_THIN])
    size = (round(_NOISE_MM / pitch / _THIN),) * 2
    share = np.maximum(cv2.blur(thin, size, borderType=cv2.BORDER_CONSTANT), np.float32(1e-3))

    def mean(values: Image) -> Image:
        return np.asarray(cv2.blur(values * thin, size, borderType=cv2.BORDER_CONSTANT) / share, np.float32)

    rough = (mean(np.sqrt(finer)) / np.float32(_MEAN_ROOT)) ** 2
    noise = mean(np.minimum(finer, rough * np.float32(LIMIT))) / np.float32(_MEAN_ABS) + np.float32(1e-4)
    return spread(noise, contrast.shape)
