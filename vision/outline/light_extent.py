"""How wide a backlight is of which nobody knows: what the edges' mean profile says beyond anything up to 80 degrees.

A lens blurs an edge alike to either side on average over all directions, whatever its point spread; a bright band does
not. So the even part of the mean profile tells, and the odd part hardly. Every half angle and mean rim radius gets a
likelihood, with the blur, the edge's place and both levels left free (marginalised as linear unknowns); times what is
known beforehand that makes the chances of all of them. Where they leave no room for a collimated light the band is seen
and its width known well enough to be fitted; where they do, nothing says how far the half level moved but that a wider
band would have shown.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from vision.outline.band_model import BAND_MODEL
from vision.outline.edges import places_across
from vision.outline.rim_light import band_share, staircase
from vision.records import Array, RimRadius

# Gauss-Hermite nodes and weights of a normal distribution: of a piece's mean radius, and of its places' about it.
_NODES, _SHARES = np.array([-1.732, 0.0, 1.732]), np.array([1 / 6, 2 / 3, 1 / 6])


@dataclass(frozen=True, slots=True)
class LightExtentSettings:
    """What an unknown backlight may be, and how an edge's profile tells of it."""

    # Half angles are evenly likely from collimated to nearly all around (degrees) ...
    half_deg: tuple[float, float] = (0.0, 80.0)
    # ... tried this far apart.
    half_step_deg: float = 10.0
    # No rim is less round (mm).
    least_radius_mm: float = 0.02
    # What a mean profile's even part, which no lens makes, may depart from a plain edge's, as a share of the light
    # (measured on edges rendered by two makers: 0.0003; a camera off its line by 1 % makes 0.0005 of it) ...
    even: float = 0.0015
    # ... and its odd part, by which point spreads differ from a Gaussian.
    odd: float = 0.01
    # The edge's place and blur (px) ...
    free_px: float = 0.2
    # ... and both levels (shares of the light) are left as free as they may ever need be.
    free_level: float = 0.01
    # A light is taken for collimated up to this half angle (degrees), at which no spoon's rim moves an edge by 2 um ...
    collimated_deg: float = 10.0
    # ... and a band for seen where the chance of such a light is less than this.
    unseen: float = 0.01
    # Bands that fit worse than the best by so much (chi squared: three standard deviations) are excluded.
    excluded: float = 9.0
    # How far apart the widths are that are tried, as a share of the width: none is told better.
    coarse: float = 0.15
    # Halvings that find a half level.
    halvings: int = 16
    # Bands are reckoned anew where the blur differs by more than this share.
    blur_step: float = 0.02


LIGHT_EXTENT = LightExtentSettings()


def _half_angles_deg() -> Array:
    return np.arange(LIGHT_EXTENT.half_deg[0], LIGHT_EXTENT.half_deg[1] + 0.1, LIGHT_EXTENT.half_step_deg)


@dataclass(frozen=True, slots=True)
class LightExtent:
    """What the frame says of an unknown backlight: `seen` a band, `half_deg` on average over all that are likely.

    The band's mean width `width_px` with its standard uncertainty `u_px`; `shift_px`: how far the half level may
    have moved at most, for two standard uncertainties.
    """

    seen: bool
    half_deg: float
    width_px: float
    u_px: float
    shift_px: float


@dataclass(frozen=True, slots=True, eq=False)
class _Bands:
    """Bands of every half angle (a) and mean radius (n), each a mixture of m radii, behind one blur.

    `inside` (a, n, m, k): how far inside the half level their steps lie, px; `fall` (a, k) of these; `width`, `shift`
    (a, n): mean width, and how far the half level lies inside the true edge, px.
    """

    inside: Array
    fall: Array
    width: Array
    shift: Array


def light_extent(profile: Array, blur_px: float, rim: RimRadius, mm_per_px: float) -> LightExtent:
    """From the mean profile (k,) of a piece's edge, and the blur that a plain edge would have."""
    step = LIGHT_EXTENT.blur_step
    bands = _bands(float(np.exp(round(np.log(blur_px) / step) * step)), rim, mm_per_px)
    misfit = _misfit(profile, places_across(profile), bands, blur_px)
    chance = np.exp(-0.5 * (misfit - misfit.min())) * _SHARES
    chance /= chance.sum()
    width = float((chance * bands.width).sum())
    # Whatever the light is, the truth is hardly among what the profile excludes: that covers at every half angle alike,
    # where chances would cover on average over all.
    possible = misfit - misfit.min() + _NODES**2 < LIGHT_EXTENT.excluded
    return LightExtent(
        seen=bool(chance[_half_angles_deg() <= LIGHT_EXTENT.collimated_deg].sum() < LIGHT_EXTENT.unseen),
        half_deg=float((chance.sum(axis=1) * _half_angles_deg()).sum()),
        width_px=width,
        u_px=float(np.hypot(np.sqrt((chance * (bands.width - width) ** 2).sum()), LIGHT_EXTENT.coarse * width)),
        shift_px=float(bands.shift[possible].max()),
    )


@lru_cache(maxsize=16)
def _bands(blur_px: float, rim: RimRadius, mm_per_px: float) -> _Bands:
    mean = np.maximum(rim.mm + rim.u_mm / np.sqrt(2) * _NODES, LIGHT_EXTENT.least_radius_mm)
    radius = np.maximum(mean[:, None] + rim.u_mm / np.sqrt(2) * _NODES, LIGHT_EXTENT.least_radius_mm) / mm_per_px
    stairs = [staircase(float(half)) for half in _half_angles_deg()]
    fall = np.stack([steps.fall for steps in stairs])
    shares = np.array([band_share(float(half)) for half in _half_angles_deg()])
    depth = np.stack([share * radius[:, :, None] * one.depth for share, one in zip(shares, stairs, strict=True)])
    edge = _half_level(depth, fall, blur_px)
    return _Bands(depth - edge[..., None], fall, depth[..., -1] @ _SHARES, edge @ _SHARES)


def _half_level(depth: Array, fall: Array, blur_px: float) -> Array:
    """How far inside the true edge the light is half blocked, steps at `depth` (a, n, m, k) of it: (a, n, m)."""
    low, high = np.zeros(depth.shape[:-1]), depth[..., -1]
    for _ in range(LIGHT_EXTENT.halvings):
        middle = (low + high) / 2
        above = np.einsum("anmk,ak->anm", ndtr((depth - middle[..., None]) / blur_px), fall) > 0.5
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.asarray((low + high) / 2)


def _misfit(profile: Array, at: Array, bands: _Bands, blur_px: float) -> Array:
    """Chi squared of a profile (k,) under each of the bands: (a, n)."""
    mixed = np.einsum("anmk,ak,m->an", bands.inside**2, bands.fall, _SHARES)
    middle = np.einsum("anmk,ak,m->an", bands.inside, bands.fall, _SHARES)
    blur = np.sqrt(np.maximum(blur_px**2 - mixed + middle**2, BAND_MODEL.least_blur_px**2))
    weight = bands.fall[:, None, :] * _SHARES[:, None]
    sides = np.eye(len(at))
    tolerance = LIGHT_EXTENT.even**2 * (sides + sides[::-1]) / 2 + LIGHT_EXTENT.odd**2 * (sides - sides[::-1]) / 2
    # Once for the blur that suits each band best, once more for how well it then fits.
    rest, free, solved = _departure(profile, at, bands, blur, weight, tolerance)
    blur = np.maximum(blur + LIGHT_EXTENT.free_px * (free[..., 1] * solved).sum(axis=-1), BAND_MODEL.least_blur_px)
    rest, _, solved = _departure(profile, at, bands, blur, weight, tolerance)
    return np.asarray((rest * solved).sum(axis=-1))


def _departure(
    profile: Array, at: Array, bands: _Bands, blur: Array, weight: Array, tolerance: Array
) -> tuple[Array, Array, Array]:
    """What bands leave of the profile (a, n, k), what is left free (a, n, k, 4), and the former over its covariance."""
    z = (at[:, None, None] + bands.inside[:, :, None]) / blur[..., None, None, None]
    bell = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi) / blur[..., None, None, None]
    light, place, wider = (np.einsum("ankms,ams->ank", each, weight) for each in (ndtr(z), bell, -bell * z))
    levels = np.stack((1 - light, -light), axis=-1) * LIGHT_EXTENT.free_level
    free = np.concatenate((np.stack((place, wider), axis=-1) * LIGHT_EXTENT.free_px, levels), axis=-1)
    rest = profile - light
    solved = np.linalg.solve(tolerance + free @ free.swapaxes(-1, -2), rest[..., None])[..., 0]
    return rest, free, solved
