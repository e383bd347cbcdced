"""All lights of one face made into one picture in which the finish has even noise and a defect is positive.

A scratch or a pit scatters the light about it: under a low light it is brighter than the finish around it, in the dome's
mirror image darker. Each frame becomes relative contrast (logarithm less its slow change), is weighted by the contrast
expected of a defect over the local variance of the finish, and all are added: the best linear combination of
independent looks (a matched filter's weights; Kay 1998, Fundamentals of Statistical Signal Processing II, ch. 4).
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.measure.face_region import Image, Mask, Region
from vision.records.given import Picture, TrayPictures

# Frames are brought to this full scale, so that the constants below mean the same on every sensor.
_FULL = 255.0
# At or above this share of full scale a pixel is blown.
_BLOWN = 0.97
# Below this level (of 255) a frame shows no texture, only the steps of its own quantisation.
_SHADOW = 4.0
# Added before the logarithm: keeps the steps of the darkest levels from growing without bound.
_PEDESTAL = 2.0
# A blown spot smaller than this is a bright defect, not the light's own reflection (mm).
_GLARE_MM = 0.5
# The blur and the steep skirt about a blown reflection (mm).
_SKIRT_MM = 0.2
_TAPER_MM = 0.4
# Window of the slow change of brightness, and of the finish's local noise (mm).
_SLOW_MM = 1.6
_NOISE_MM = 3.0
SIG=3.0
# Contrast beyond this many local standard deviations adds no more: dust and glints can't pass for a line.
_LIMIT = 6.0
# Contrast in the dome of a defect of unit contrast under a low light; see docs/benchmarks/face.md.
_DOME_GAIN = -0.03
# The nearer to its own reflection, the less a defect adds to a low light's level: e-folding level.
_FADE_LEVEL = 128.0


@dataclass(frozen=True, slots=True, eq=False)
class LightLook:
    """One front-lit frame over the region.

    `brightness` (broad): the frame itself, of 255; `contrast` (fine): natural logarithm of level over its slow change, 0 where not valid; `blown` (fine): at the sensor's
    end; `level` (coarse): the slow
    change itself, of 255; `weight` (coarse): signal over variance, signed, 0 where blown or lost in shadow;
    `noise` (coarse): local standard deviation of the contrast; `valid` (coarse): seen, neither blown nor dark.
    """

    picture: Picture
    brightness: Image
    contrast: Image
    blown: Mask
    level: Image
    noise: Image
    weight: Image
    valid: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Both pictures have a noise of about 1 and a defect positive.

    `lines` (fine): contrast limited, for lines; `spots` (fine): relative contrast, not limited, for spots and their size;
    `seen` (coarse): valid in one frame at least.
    """

    region: Region
    looks: tuple[LightLook, ...]
    lines: Image
    spots: Image
    seen: Mask


def look_through(region: Region, pictures: TrayPictures) -> tuple[LightLook, ...]:
    """Every front-lit frame of a shot over the region."""
    return tuple(_look(region, picture) for picture in (pictures.dome, *pictures.low) if picture is not None)


def combine(region: Region, looks: tuple[LightLook, ...]) -> Evidence:
    """All looks in one, each pixel weighted for the best signal over noise."""
    power = np.full(region.coarse.shape, 1e-6, np.float32)
    for look in looks:
        power += look.weight**2 * look.noise**2
    scale = 1.0 / np.sqrt(power)
    lines = np.zeros(region.fine.shape, np.float32)
    spots = np.zeros(region.fine.shape, np.float32)
    for look in looks:
        limit = _spread(look.noise * _LIMIT, region)
        weight = _spread(look.weight * scale, region)
        lines += np.clip(look.contrast, -limit, limit) * weight
        spots += (cv2.exp(look.contrast) - 1) * weight
    seen = np.zeros(region.coarse.shape, bool)
    for look in looks:
        seen |= look.valid
    return Evidence(region, looks, lines, spots, seen)


def spot_patches(evidence: Evidence, column: float, row: float, half: int) -> list[tuple[Image, Mask]]:
    """Pictures of a spot to size it on, noise of about 1, each with the pixels that may be used: (2 half + 1) square.

    A bright spot that the sensor cuts off looks wider than it is: first the spots picture less the pixels at which a light that
    counts there is blown; and where there are such, the dome's picture alone, which no spot blows.
    """
    c, r = round(column), round(row)
    step = evidence.region.coarse.step // evidence.region.fine.step
    at = min(r // step, evidence.region.coarse.shape[0] - 1), min(c // step, evidence.region.coarse.shape[1] - 1)
    size = (2 * half + 1, 2 * half + 1)
    use = np.ones(size, bool)
    for look in evidence.looks:
        if look.weight[at]:
            use &= cv2.getRectSubPix(look.blown.view(np.uint8), size, (c, r)) == 0
    patches = [(cv2.getRectSubPix(evidence.spots, size, (c, r)), use)]
    if not use.all():
        for look in evidence.looks:
            if look.picture.light == "dome" and look.valid[at]:
                dark = (1 - cv2.exp(cv2.getRectSubPix(look.contrast, size, (c, r)))) / look.noise[at]
                patches.append((dark, np.ones(size, bool)))
    return patches


# A light other than the one that shows a spot best has a say when the spot should stand out there by so much; it denies the spot
# when it shows less than so much (standard deviations of the finish).
_SPOT_SIDE = 9
_DUE = 6.0
_DENIED = 2.5
_CONFIRMED = 3.5
# Below this level a face shows a light by way of its surroundings, not by its own lobe, and a mark may add nothing.
_DIRECT = 10.0


def seen_by_one(evidence: Evidence, column: float, row: float) -> bool:
    """Whether a small spot stands out under one low light and is denied by the others: a glint, not a mark on the metal.

    The dome can only confirm: by how much a mark darkens it differs too much from mark to mark.
    """
    c, r = round(column), round(row)
    step = evidence.region.coarse.step // evidence.region.fine.step
    at = min(r // step, evidence.region.coarse.shape[0] - 1), min(c // step, evidence.region.coarse.shape[1] - 1)
    heights, dues = [], []
    for look in evidence.looks:
        if look.weight[at] == 0 or look.level[at] < _DIRECT:
            continue
        patch = cv2.exp(cv2.getRectSubPix(look.contrast, (_SPOT_SIDE, _SPOT_SIDE), (c, r))) - 1
        edge = np.ones(patch.shape, bool)
        edge[2:-2, 2:-2] = False
        height = (float(patch[3:-3, 3:-3].mean()) - float(np.median(patch[edge]))) * np.sqrt(9.0)
        # signal over noise that a defect of unit contrast has under this light
        gain = look.weight[at] * look.noise[at]
        stands = height / look.noise[at] * np.sign(gain)
        if look.picture.light == "dome":
            if stands > _CONFIRMED:
                return False
            continue
        heights.append(stands)
        dues.append(abs(gain))
    if len(heights) < 2:
        return False
    height, due = np.array(heights), np.array(dues)
    best = int(np.argmax(height))
    others = np.arange(len(height)) != best
    power = np.sqrt((due[others] ** 2).sum())
    expected = height[best] / due[best] * power
    return bool(expected > _DUE and (height[others] @ due[others]) / power < _DENIED)


def _look(region: Region, picture: Picture) -> LightLook:
    raw = region.fine.cut(picture.pixels)
    level = reduce(raw.astype(np.float32) * np.float32(_FULL / picture.full_scale), region.fine.shape)
    pitch = region.coarse_mm
    blown = level >= _BLOWN * _FULL
    beside = cv2.dilate(blown.astype(np.uint8), np.ones((3, 3), np.uint8))
    wide = reduce(beside.astype(np.float32), region.coarse.shape) > 0
    glare = cv2.morphologyEx(wide.astype(np.uint8), cv2.MORPH_OPEN, _disc(_GLARE_MM / 2 / pitch))
    glare = cv2.dilate(glare, _disc(_SKIRT_MM / pitch))
    metal = reduce(region.metal.astype(np.float32), region.coarse.shape) > 0.99
    valid = metal & (glare == 0)
    okay = valid.astype(np.float32)
    log = cv2.log(level + np.float32(_PEDESTAL))
    slow, slow_coarse = _slow_change(reduce(log, region.coarse.shape), okay, region)
    contrast = log - slow
    valid_fine = _spread(okay, region, cv2.INTER_NEAREST)
    contrast *= valid_fine
    coarse = reduce(contrast, region.coarse.shape)
    ground = np.maximum(cv2.exp(slow_coarse) - np.float32(_PEDESTAL), 0)
    noise = _local_noise(coarse - cv2.GaussianBlur(coarse, (0, 0), SIG), okay, round(_NOISE_MM / pitch))
    # half a count: the quantisation's steps run along contours of level and do not average out
    noise = np.maximum(noise, 0.5 / (ground + _PEDESTAL) * (_FULL / 255.0))
    depth = cv2.distanceTransform(valid.astype(np.uint8), cv2.DIST_L2, 3) * np.float32(pitch)
    taper = np.clip(depth / _TAPER_MM, 0, 1) * np.clip(ground / _SHADOW - 0.5, 0, 1)
    gain = np.float32(_DOME_GAIN) if picture.light == "dome" else np.exp(-ground / np.float32(_FADE_LEVEL))
    weight = (gain * taper / noise**2).astype(np.float32)
    return LightLook(
        picture,
        reduce(level, region.broad.shape),
        contrast,
        blown,
        ground,
        noise,
        weight,
        valid & (ground >= _SHADOW / 2),
    )


def _disc(radius: float) -> np.ndarray:
    size = 2 * max(1, round(radius)) + 1
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))


def reduce(image: Image, shape: tuple[int, int]) -> Image:
    """Area mean on a coarser raster."""
    return image if image.shape == shape else cv2.resize(image, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)


def _spread(image: Image, region: Region, how: int = cv2.INTER_LINEAR) -> Image:
    """From the coarse raster to the fine one."""
    rows, columns = region.fine.shape
    return cv2.resize(image, (columns, rows), interpolation=how)


def _local_noise(contrast: Image, okay: Image, window: int) -> Image:
    """Standard deviation of Gaussian noise from the local mean of absolute values, limited against defects."""
    inside = contrast[okay > 0]
    if not len(inside):
        return np.ones_like(contrast)
    cap = _LIMIT * 1.4826 * float(np.median(np.abs(inside)))
    size = np.minimum(np.abs(contrast), cap) * okay
    return np.float32(1.2533) * _box(size, window) / np.maximum(_box(okay, window), 1e-3) + np.float32(1e-4)


def _box(image: Image, size: int) -> Image:
    return cv2.blur(image, (size, size), borderType=cv2.BORDER_CONSTANT)


def _slow_change(log: Image, okay: Image, region: Region) -> tuple[Image, Image]:
    """The slow part of a coarse image over its valid pixels, at the fine pitch and at the coarse one."""
    broad = region.broad.shape
    share = reduce(okay, broad)
    mean = reduce(log * okay, broad) / np.maximum(share, 1e-3)
    window = max(3, round(_SLOW_MM / 0.2) | 1)
    first = _local_plane(mean, share, window)
    # twice: what the first pass leaves of curvature is fitted again (Tukey's twicing)
    slow = first + _local_plane((mean - first) * (share > 0), share, window)
    rows, columns = region.fine.shape
    fine = cv2.resize(slow, (columns, rows), interpolation=cv2.INTER_CUBIC)
    rows, columns = region.coarse.shape
    return fine, cv2.resize(slow, (columns, rows), interpolation=cv2.INTER_CUBIC)


def _local_plane(image: Image, weight: Image, window: int) -> Image:
    """Value at each pixel of a plane fitted by weighted least squares in a box window passed twice."""
    rows, columns = image.shape
    y, x = np.mgrid[:rows, :columns].astype(np.float32)

    def total(values: Image) -> Image:
        return _box(_box(values, window), window)

    m, mx, my = total(weight), total(weight * x), total(weight * y)
    xx = total(weight * x * x) - 2 * x * mx + x * x * m
    yy = total(weight * y * y) - 2 * y * my + y * y * m
    xy = total(weight * x * y) - x * my - y * mx + x * y * m
    mx, my = mx - x * m, my - y * m
    v = total(weight * image)
    vx, vy = total(weight * image * x) - x * v, total(weight * image * y) - y * v
    # a plane that too few pixels on one side carry falls back to their mean
    ridge = 0.02 * window * window / 6 * np.maximum(m, 1e-4)
    xx, yy = xx + ridge, yy + ridge
    det = xx * yy - xy * xy
    ax, ay = (yy * mx - xy * my) / det, (xx * my - xy * mx) / det
    return np.asarray((v - ax * vx - ay * vy) / np.maximum(m - ax * mx - ay * my, 1e-5), np.float32)
