"""The polished face as a height field: a dished bowl, a crowned handle, and their true normals.

    z(x, y) = -D d log(1 + exp((1 - 0.7 rho^2 - 0.3 rho^4) / d)) - w(x) (y^2 / (2 R) + (x - m)^2 / (2 A))

with rho^2 = ((x - a)/a)^2 + (y/b)^2 in the drawing (mm), D the bowl's depth, d its rounding at the rim, R and A the
radii of the handle's crown and arch, m the arch's top and w a smooth step from bowl to handle. Slopes are central
differences of this formula, exact to 1e-6.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from synthetic_images.outlines.coverage import Float32
from synthetic_images.spoons import Array, Pattern, outline

# Share of the bowl's half-axis over which its dish runs out into the flat rim; own choice.
_RIM_ROUNDING = 0.1
# Radius of the handle's arch along its length, and where its top lies between the neck and the end; own choice.
_ARCH_MM, _ARCH_TOP = 200.0, 0.35
# The handle's form replaces the bowl's over the neck and this far beyond it on both sides (mm).
_BLEND_MM = 4.0
# Half the difference step of the slopes: small against every radius of the form (5 mm and more).
_STEP_MM = 1e-3
# Shadow edges are softened by the light's own height in the sky: tangents of its elevation over this range.
SHADOW_SOFT = 0.025
# Ground beyond the box of a piece: far below anything that could block a light.
_NOTHING_MM = -1e6


@dataclass(frozen=True, slots=True, eq=False)
class Slopes:
    """Slopes dz/dX and dz/dY in the tray's directions at each pixel looked at (any one shape)."""

    x: Float32
    y: Float32


def height_mm(pattern: Pattern, points_mm: Array) -> Array:
    """Height (n,) of the face over the plane of its rim at drawing points (n, 2)."""
    datum_end = max(zone.x_mm[1] for zone in pattern.zones if zone.datum)
    bend_from = next(zone.x_mm[0] for zone in pattern.zones if zone.bend)
    # The dish is an ellipse: from the tip to a little beyond the bowl's zone, as wide as the bowl.
    half_length = 0.5 * datum_end + 2.0
    half_width = float(outline(pattern, 0.5).points_mm[:, 1].max())
    x, y = points_mm.T
    rho2 = ((x - half_length) / half_length) ** 2 + (y / half_width) ** 2
    dish = np.logaddexp(0.0, (1.0 - 0.7 * rho2 - 0.3 * rho2**2) / _RIM_ROUNDING) * _RIM_ROUNDING
    share = np.clip((x - datum_end + _BLEND_MM) / (bend_from - datum_end + 2.0 * _BLEND_MM), 0.0, 1.0)
    # Quintic step: slopes and curvatures stay continuous, so that no line shows where the forms meet.
    crowned = share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
    top = bend_from + _ARCH_TOP * (pattern.length_mm - bend_from)
    handle = y**2 / (2.0 * pattern.crown_radius_mm) + (x - top) ** 2 / (2.0 * _ARCH_MM)
    height: Array = -pattern.bowl_depth_mm * dish - crowned * handle
    return height


def slopes(pattern: Pattern, points_mm: Array, turn_rad: float) -> Slopes:
    """True slopes at drawing points (n, 2), in the tray's directions for a piece turned by `turn_rad`."""
    step_x, step_y = np.array([_STEP_MM, 0.0]), np.array([0.0, _STEP_MM])
    along = (height_mm(pattern, points_mm + step_x) - height_mm(pattern, points_mm - step_x)) / (2.0 * _STEP_MM)
    across = (height_mm(pattern, points_mm + step_y) - height_mm(pattern, points_mm - step_y)) / (2.0 * _STEP_MM)
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    return Slopes((cos * along - sin * across).astype(np.float32), (sin * along + cos * across).astype(np.float32))


def normals(field: Slopes) -> tuple[Float32, Float32, Float32]:
    """Unit normals of slopes: X, Y and Z part."""
    up = 1.0 / np.sqrt(1.0 + field.x**2 + field.y**2)
    return -field.x * up, -field.y * up, up


def lit_share(
    heights_mm: Array, pitch_mm: float, azimuth_deg: float, elevation_deg: float, soft: float = SHADOW_SOFT
) -> NDArray[np.float32]:
    """Share (rows, columns) of a light that reaches each point of a height field over its own rim.

    `heights_mm` is sampled every `pitch_mm` of the tray, rows down; a point lies in cast shadow when the ground between
    it and the light rises above the ray. `soft`: range of tangents of elevation over which a shadow's edge fades.
    """
    rise = np.tan(np.deg2rad(elevation_deg))
    turn = np.deg2rad(azimuth_deg)
    highest = np.full(heights_mm.shape, -np.inf)
    reach = int(np.ceil(np.ptp(heights_mm) / (rise * pitch_mm))) + 1
    rows, columns = heights_mm.shape
    column, row = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
    ground = heights_mm.astype(np.float32)
    for step in range(1, reach + 1):
        # Towards the light: +X is to the right, +Y is up, against the rows. Beyond the box nothing blocks.
        at = (column + np.float32(step * np.cos(turn)), row - np.float32(step * np.sin(turn)))
        there = cv2.remap(ground, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=_NOTHING_MM)
        highest = np.maximum(highest, (there - ground) / (step * pitch_mm))
    return np.asarray(expit((rise - highest) / soft), dtype=np.float32)
