"""How polished metal throws light at a camera straight above: a mirror lobe, haze, grooves, and the lights themselves.

Reflection follows the microfacet model (Cook & Torrance 1982; the distribution and shadowing of Walter et al. 2007,
"GGX"; its anisotropic form after Burley 2012; all from memory): a light of irradiance E from direction l shows as
L = E F D(h) G(l) / (4 n.v), h halfway between l and v. Interreflection between pieces, tray and bowl is left out, and
so is the change of the reflectance F with angle: both are smooth, and no defect is made of them.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from synthetic_images.faces.surface import Slopes, normals
from synthetic_images.outlines.coverage import Float32

# Lights across a low bar: its half-width in azimuth and how many directions stand for it.
_BAR_HALF_DEG = 15.0
_BAR_POINTS = 5
# Height of a low bar in the sky, as the standard deviation of its elevation; the facet slopes see half of it.
_BAR_SIGMA_RAD = np.deg2rad(3.0)
# The wide lobe that a buffed finish adds to its mirror lobe.
HAZE_ALPHA = 0.35
# A dome's segments, its hole for the camera, and how much darker hole and seams are than the dome: own choices.
_SEAM_AZIMUTHS_DEG = (22.5, 82.5, 142.5, 202.5, 262.5, 322.5)
_SEAM_DEPTH, _SEAM_WIDTH_RAD = 0.12, np.deg2rad(1.2)
_HOLE_RAD, _HOLE_DEPTH = np.deg2rad(7.0), 0.8
_DOME_EDGE_RAD = np.deg2rad(4.0)


@dataclass(frozen=True, slots=True, eq=False)
class Facets:
    """Roughness of a finish: GGX alpha along and across `direction` (unit vector, tray axes), and the share of haze."""

    along: Float32 | float
    across: Float32 | float
    direction: tuple[Float32 | float, Float32 | float]
    haze: Float32 | float = 0.0


def direction(azimuth_deg: float, elevation_deg: float) -> tuple[float, float, float]:
    """Unit vector towards a light, tray axes; azimuth counter-clockwise from +X."""
    turn, up = np.deg2rad(azimuth_deg), np.deg2rad(elevation_deg)
    return float(np.cos(up) * np.cos(turn)), float(np.cos(up) * np.sin(turn)), float(np.sin(up))


def ggx(normal: tuple[Float32, Float32, Float32], half: tuple[float, float, float], facets: Facets) -> Float32:
    """Anisotropic GGX density D(h) of facets that face `half`, 1/sr; `facets.haze` is not looked at."""
    nx, ny, nz = normal
    tx, ty = facets.direction
    facing = nx * half[0] + ny * half[1] + nz * half[2]
    tilt = tx * nx + ty * ny
    along = (tx * half[0] + ty * half[1] - tilt * facing) / np.sqrt(1.0 - tilt**2)
    across2 = np.maximum(1.0 - facing**2 - along**2, 0.0)
    spread = along**2 / np.square(facets.along) + across2 / np.square(facets.across) + facing**2
    return np.asarray(1.0 / (np.pi * facets.along * facets.across * spread**2), dtype=np.float32)


def low_light(field: Slopes, facets: Facets, azimuth_deg: float, elevation_deg: float) -> Float32:
    """Radiance of a face under one low bar of unit irradiance; attached shadows included, cast ones not."""
    normal = normals(field)
    widen = 0.5 * _BAR_SIGMA_RAD
    mirror = Facets(np.hypot(facets.along, widen), np.hypot(facets.across, widen), facets.direction)
    haze = Facets(HAZE_ALPHA, HAZE_ALPHA, facets.direction)
    total = np.zeros_like(field.x)
    for offset in np.linspace(-_BAR_HALF_DEG, _BAR_HALF_DEG, _BAR_POINTS):
        light = direction(azimuth_deg + float(offset), elevation_deg)
        length = float(np.sqrt(light[0] ** 2 + light[1] ** 2 + (1.0 + light[2]) ** 2))
        half = (light[0] / length, light[1] / length, (1.0 + light[2]) / length)
        towards = np.maximum(normal[0] * light[0] + normal[1] * light[1] + normal[2] * light[2], 0.0)
        density = (1.0 - facets.haze) * ggx(normal, half, mirror) + facets.haze * ggx(normal, half, haze)
        # Smith's shadowing of the incoming light for GGX; towards the camera it is 1 within a per cent here.
        tangent2 = 1.0 / np.maximum(towards, 1e-3) ** 2 - 1.0
        shadowing = 2.0 / (1.0 + np.sqrt(1.0 + HAZE_ALPHA**2 * tangent2)) * (towards > 0.0)
        total += density * shadowing / (4.0 * normal[2] * _BAR_POINTS)
    return np.asarray(total, dtype=np.float32)


def dome_light(field: Slopes, facets: Facets) -> Float32:
    """Radiance of a face under the dome, 1 where it mirrors the dome's bright part.

    The dome is looked up in the mirror direction, its edges softened by the width of the finish's lobe (prefiltering),
    which is right for a light that changes slowly and blurs the hole and the seams as much as the lobe does.
    """
    nx, ny, nz = normals(field)
    x, y, z = 2.0 * nz * nx, 2.0 * nz * ny, 2.0 * nz**2 - 1.0
    lobe = np.sqrt(np.asarray(facets.along) * np.asarray(facets.across), dtype=np.float32)
    from_zenith = np.arccos(np.clip(z, -1.0, 1.0))
    soft = 0.5 * _HOLE_RAD * 0.2 + lobe
    level = 0.8 + 0.2 * np.maximum(z, 0.0)
    level *= 1.0 - _HOLE_DEPTH * expit((_HOLE_RAD - from_zenith) / soft)
    width = np.hypot(_SEAM_WIDTH_RAD, lobe)
    for azimuth in np.deg2rad(_SEAM_AZIMUTHS_DEG):
        aside = -np.sin(azimuth) * x + np.cos(azimuth) * y
        ahead = np.cos(azimuth) * x + np.sin(azimuth) * y
        depth = _SEAM_DEPTH * _SEAM_WIDTH_RAD / width
        level *= 1.0 - depth * np.exp(-0.5 * (aside / width) ** 2) * expit(ahead / width)
    level *= expit((0.5 * np.pi - _DOME_EDGE_RAD - from_zenith) / soft)
    return np.asarray((1.0 - facets.haze) * level + facets.haze * 0.8, dtype=np.float32)
