"""Round, mirror-bright rims before a backlight that has an extent: a bright band inside the true edge.

Seen from above, a ray that meets a round rim of radius r where its surface still rises by gamma against the ray lies
r (1 - cos gamma) inside the edge. It leaves turned by 2 gamma, so it meets the backlight up to gamma = A / 2, A the
backlight's half angle as seen from the rim, and carries the share that the metal reflects at that angle (Fresnel's
equations for a metal: Born and Wolf, Principles of Optics, chapter on metals). Reflected once; a polish without haze.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from synthetic_images.spoons import Array, Outline

# Complex refractive index of a steel: a round figure, not a measured one.
STEEL = 2.8 + 3.3j
# Strips of equal angle that the band is drawn in.
_STRIPS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """Metal inside a curve `depth_mm` (n,) within the outline takes `opacity` more of the light than outside it."""

    depth_mm: Array
    opacity: float


def along(values: tuple[float, ...], nominal: Outline) -> Array:
    """Values at even steps along the outline, smooth and never beyond their neighbours between them, at its vertices.

    (n,); nought without any.
    """
    if len(values) < 2:
        return np.full(len(nominal.s_mm), values[0] if values else 0.0)
    step = nominal.perimeter_mm / len(values)
    # Two more on either side close the curve smoothly.
    around = np.arange(-2, len(values) + 3)
    return np.asarray(PchipInterpolator(around * step, np.take(values, around, mode="wrap"))(nominal.s_mm))


def reflected(gamma_rad: Array, metal: complex) -> Array:
    """Share of unpolarised light that a metal reflects at grazing angles (n,), by Fresnel's equations."""
    cosine = np.sin(gamma_rad)
    inside = np.sqrt(metal**2 - np.cos(gamma_rad) ** 2)
    across = np.abs((cosine - inside) / (cosine + inside)) ** 2
    within = np.abs((metal**2 * cosine - inside) / (metal**2 * cosine + inside)) ** 2
    return np.asarray((across + within) / 2.0)


def layers(radius_mm: Array, half_angle_deg: Array, widest_deg: float, metal: complex) -> list[Layer]:
    """The band as nested layers, from the outline inward; their opacities add up to 1.

    `radius_mm`, `half_angle_deg` (n,): the rim's radius and the backlight's half angle against the ray that sees it, at
    each vertex (none or less shows no band); `widest_deg` at least the largest of these.
    """
    end = np.deg2rad(np.clip(half_angle_deg, 0.0, 180.0)) / 2.0
    bounds = np.linspace(0.0, np.deg2rad(max(widest_deg, 1e-6)) / 2.0, _STRIPS + 1)
    # Mean over each strip by area: an even rule in angle weighted with sin gamma, the depth's own slope.
    angle = bounds[:-1, None] + np.diff(bounds)[:, None] * (np.arange(16) + 0.5) / 16
    share = (reflected(angle, metal) * np.sin(angle)).sum(axis=1) / np.sin(angle).sum(axis=1)
    depths = [radius_mm * (1.0 - np.cos(np.minimum(bound, end))) for bound in bounds]
    steps = np.append(1.0, share) - np.append(share, 0.0)
    return [Layer(depth, float(step)) for depth, step in zip(depths, steps, strict=True)]
