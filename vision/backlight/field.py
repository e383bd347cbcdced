"""The backlight: how bright the empty tray and how dark the metal is, everywhere in the frame.

An edge lies where the light is half blocked, so both levels must be known to about 0.3 % beside every edge
(1 % of error moves an edge by about 0.016 px); the lamp is never that even. Both are fields on a grid of
blocks: a polynomial for the lamp's broad shape, times what blocks nearby say beyond it.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import Array, Picture

BLOCK_PX = 8


@dataclass(frozen=True, slots=True)
class FieldSettings:
    """How the levels of light and metal are found, and when a frame shows no usable light."""

    # Monomials of the lamp's broad shape go up to this degree: four follows vignetting to 0.1 % at nine tenths fall-
    # off.
    degree: int = 4
    # Blocks are pure when neither they nor their neighbours depart from their level by more than this share of the
    # step.
    pure_share: float = 0.12
    # Averaging beyond the polynomial (standard deviation, blocks): about 30 px, so that photon noise stays under 0.05
    # %.
    near_blocks: float = 4.0
    # The same on metal, of which less is seen (standard deviation, blocks).
    dark_blocks: float = 6.0
    # A Gaussian's tails beyond so many standard deviations are left out.
    blur_ends: float = 2.5
    # The brightest and darkest parts of a frame, in per cent of its blocks: glints and dead pixels lie beyond.
    extremes_pct: tuple[float, float] = (0.5, 99.5)
    # A frame of fewer blocks than this to either side holds no piece with light around it.
    least_blocks: int = 8
    # The empty tray must be this share of full scale brighter than the metal for anything to be measured.
    least_step: float = 0.1
    # An empty tray shows light along the frame's edges; with a larger share of them dark the frame is no backlit
    # tray.
    dark_edges: float = 0.6
    # Nothing before the light is this many times brighter than it ...
    brighter: float = 1.5
    # ... but for a share of glints: with more the frame is inverted, or lit from the front.
    brighter_share: float = 0.01
    # A backlight at or above this share of full scale has lost the very edge profile that is measured.
    saturated: float = 0.99
    # Share of the blocks that must be pure light for its level to be found: with less the frame is covered or inverted.
    least_pure: float = 0.05
    # The lamp's shape is first taken from blocks above this share of the brightest nearby: metal is far below ...
    near_brightest: float = 0.7
    # ... then from those within these shares of the shape fitted last, which are narrowed so that metal falls out.
    shape_within: tuple[float, ...] = (0.2, 0.1, 0.05, 0.05)


FIELD = FieldSettings()


Field = NDArray[np.float32]


class NoBacklight(Exception):
    """The backlit frame shows no usable light; the text says what is wrong with it."""


@dataclass(frozen=True, slots=True, eq=False)
class Backlight:
    """Levels of the backlit frame in its own counts, one value a block of `BLOCK_PX` x `BLOCK_PX` px.

    `bright`, `dark`: (rows, columns) of blocks; `blocks`: the frame's own block means; `saturated`: share of the
    empty tray at full scale.
    """

    bright: Field
    dark: Field
    blocks: Field
    saturated: float

    def at(self, points_px: Array) -> tuple[Array, Array]:
        """Bright and dark level at image points (n, 2): two arrays (n,)."""
        where = ((points_px - (BLOCK_PX - 1) / 2) / BLOCK_PX).astype(np.float32)
        return _sample(self.bright, where), _sample(self.dark, where)

    def half_level(self) -> Field:
        """The level that an edge crosses, per block."""
        return np.asarray((self.bright + self.dark) / 2, np.float32)


def _sample(field: Field, where: NDArray[np.float32]) -> Array:
    # remap takes at most 32766 columns, so the points stand in rows of a thousand
    count, width = len(where), 1000
    padded = np.resize(where, (-(-count // width) * width, 2)).reshape(-1, width, 2)
    x, y = np.ascontiguousarray(padded[..., 0]), np.ascontiguousarray(padded[..., 1])
    found = cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found, np.float64).ravel()[:count]


def model_backlight(back: Picture) -> Backlight:
    """Fit the levels of a backlit frame.

    Parameters
    ----------
    back
        The backlit frame, (rows, columns), silhouettes dark.

    Returns
    -------
    Backlight
        Levels of light and metal by blocks, in the frame's own counts.

    Raises
    ------
    NoBacklight
        The frame is all dark, all bright, or shows bright pieces on a dark ground.

    Examples
    --------
    >>> from vision.records import Picture
    >>> pixels = np.full((400, 400), 200, np.uint8)
    >>> pixels[150:250, 100:300] = 10
    >>> light = model_backlight(Picture("back", None, pixels, 255.0))
    >>> bright, dark = light.at(np.array([[200.0, 200.0]]))
    >>> bright.round().tolist(), dark.round().tolist()
    ([200.0], [10.0])
    """
    rows, columns = (side // BLOCK_PX for side in back.pixels.shape)
    if min(rows, columns) < FIELD.least_blocks:
        raise NoBacklight("the frame is too small to hold a piece")
    whole = back.pixels[: rows * BLOCK_PX, : columns * BLOCK_PX]
    blocks = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA).astype(np.float32)
    low, high = np.percentile(blocks[::2, ::2], FIELD.extremes_pct)
    if high < FIELD.least_step * back.full_scale:
        share = high / back.full_scale
        raise NoBacklight(f"the backlit frame is dark: its brightest parts reach {share:.0%} of full scale")
    if high - low < FIELD.least_step * back.full_scale:
        if low >= FIELD.saturated * back.full_scale:
            raise NoBacklight("the backlit frame is at full scale everywhere: expose less")
        # An empty tray, evenly lit: nothing is darker than its light.
        return Backlight(blocks, np.zeros_like(blocks), blocks, 0.0)
    lamp = _broad_shape(blocks)
    step_low = float(low)
    pure_bright = _pure(np.abs(blocks - lamp) < FIELD.pure_share * (lamp - step_low))
    if pure_bright.mean() < FIELD.least_pure:
        raise NoBacklight("too little of the tray's light is seen: is the frame inverted, or covered?")
    ratio = np.where(pure_bright, blocks / lamp, 0).astype(np.float32)
    bright = lamp * _near(ratio, pure_bright, FIELD.near_blocks)
    if (blocks > FIELD.brighter * lamp).mean() > FIELD.brighter_share:
        raise NoBacklight("parts of the frame are far brighter than its ground: is it inverted, or lit from the front?")
    below = blocks < (bright + step_low) / 2
    if np.concatenate((below[[0, -1]], below[:, [0, -1]]), axis=None).mean() > FIELD.dark_edges:
        raise NoBacklight("the frame's edges are dark: is it inverted, or lit from the wrong side?")
    core = blocks[blocks < (bright + step_low) / 2]
    dark_level = float(np.median(core)) if core.size else step_low
    pure_dark = _pure(np.abs(blocks - dark_level) < FIELD.pure_share * (bright - dark_level))
    offset = np.where(pure_dark, blocks - dark_level, 0).astype(np.float32)
    near = _near(offset, pure_dark, FIELD.dark_blocks, elsewhere=0.0)
    full = blocks[pure_bright] >= FIELD.saturated * back.full_scale
    return Backlight(bright, (near + dark_level).astype(np.float32), blocks, float(full.mean()))


def _broad_shape(blocks: Field) -> Field:
    """Polynomial through the bright blocks, found by leaving out what lies clearly below it."""
    rows, columns = blocks.shape
    every = max(1, int(np.sqrt(blocks.size / 6000)))
    powers = _monomials(rows, columns, every)
    in_y, in_x, wanted, basis = powers.in_y, powers.in_x, powers.wanted, powers.thinned
    grid = np.s_[::every, ::every]
    values = blocks[grid].ravel().astype(np.float64)
    # A spoon is narrower than a quarter of the frame: the brightest block in such a neighbourhood is the lamp.
    reach = max(3, min(rows, columns) // (4 * every))
    calm = np.ascontiguousarray(cv2.medianBlur(blocks, 3)[grid])
    keep = values > FIELD.near_brightest * np.asarray(cv2.dilate(calm, np.ones((reach, reach), np.uint8))).ravel()
    factors = np.zeros(in_y.shape[1] * in_x.shape[1])
    for tolerance in FIELD.shape_within:
        if keep.sum() < 10 * len(wanted):
            raise NoBacklight("the backlight is too uneven, or too little of it is seen, to find its level")
        used = basis[keep]
        # Monomials to the fourth degree on [-1, 1] are conditioned well enough for the normal equations.
        factors[wanted] = np.linalg.solve(used.T @ used, used.T @ values[keep])
        fitted = basis @ factors[wanted]
        keep = np.abs(values - fitted) < tolerance * np.maximum(fitted, 1.0)
    lamp = in_y @ factors.reshape(in_y.shape[1], -1) @ in_x.T
    return np.maximum(lamp, 1.0).astype(np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class _Monomials:
    """Powers of y (rows, k) and x (columns, k), which of their k^2 products are used, and those on a thinned grid."""

    in_y: Array
    in_x: Array
    wanted: NDArray[np.int64]
    thinned: Array


@lru_cache(maxsize=4)
def _monomials(rows: int, columns: int, every: int) -> _Monomials:
    powers = np.arange(FIELD.degree + 1)
    in_y = np.linspace(-1, 1, rows)[:, None] ** powers
    in_x = np.linspace(-1, 1, columns)[:, None] ** powers
    wanted = np.flatnonzero(np.add.outer(powers, powers).ravel() <= FIELD.degree)
    products = np.einsum("ri,cj->rcij", in_y[::every], in_x[::every])
    thinned = np.ascontiguousarray(products.reshape(-1, len(powers) ** 2)[:, wanted])
    return _Monomials(in_y, in_x, wanted, thinned)


def _pure(near_level: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return cv2.erode(near_level.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0


def _near(values: Field, valid: NDArray[np.bool_], sigma: float, elsewhere: float = 1.0) -> Field:
    """Mean of valid blocks nearby by Gaussian weight; `elsewhere` where there is none."""
    size = (2 * round(FIELD.blur_ends * sigma) + 1,) * 2
    weight = cv2.GaussianBlur(valid.astype(np.float32), size, sigma)
    total = cv2.GaussianBlur(values, size, sigma)
    return np.where(weight > 1e-4, total / np.maximum(weight, 1e-4), elsewhere).astype(np.float32)
