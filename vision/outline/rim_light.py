"""What a round, mirror-bright rim shows of the backlight, reckoned in the plane across the edge.

Seen from above, the ray that meets a round rim of radius r at the grazing angle gamma lies r (1 - cos gamma) inside the
edge and leaves turned by 2 gamma. Up to gamma = A / 2 it meets the backlight, A being its half angle as seen from
the rim: a band r (1 - cos(A / 2)) wide inside the edge is as bright as the light times what the metal reflects there
(Fresnel's equations with a complex index: Born and Wolf, Principles of Optics, on metals). One reflection, no haze. The
edge's profile is then no step but a staircase, and the half level lies inside the metal.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from vision.records import Array


@dataclass(frozen=True, slots=True)
class RimLightSettings:
    """The metal of a rim, and how finely its band is reckoned."""

    # Refractive index taken for spoon metal: of the kind of steel (own choice). Silver reflects more ...
    steel_n: float = 2.8
    # ... and its imaginary part, by which metal takes up light.
    steel_k: float = 3.3
    # Steps that the staircase has.
    steps: int = 6
    # Places in each of them over which brightness is averaged by area.
    places: int = 8


RIM_LIGHT = RimLightSettings()
STEEL = complex(RIM_LIGHT.steel_n, RIM_LIGHT.steel_k)


@dataclass(frozen=True, slots=True, eq=False)
class Staircase:
    """How light falls from the true edge inward over a band of width 1: in steps at `depth` (k,), `fall` (k,) high.

    `fall` adds up to 1: all light is gone at the band's inner end, depth 1. `brightness`: the band's mean.
    """

    depth: Array
    fall: Array

    @property
    def brightness(self) -> float:
        """Mean brightness of the band, as a share of the light: how far in its centre of gravity pulls the edge."""
        return float((self.depth * self.fall).sum())


def reflectance(grazing_rad: Array, metal: complex = STEEL) -> Array:
    """Share of unpolarised light that a metal reflects, by Fresnel's equations: (n,).

    `grazing_rad` (n,): angle between ray and surface; `metal`: its complex refractive index n + i k.
    """
    cosine = np.sin(grazing_rad)
    inside = np.sqrt(metal**2 - 1.0 + cosine**2)
    across = np.abs((cosine - inside) / (cosine + inside)) ** 2
    within = np.abs((metal**2 * cosine - inside) / (metal**2 * cosine + inside)) ** 2
    return np.asarray((across + within) / 2)


def band_share(half_angle_deg: float) -> float:
    """Width of the band as a share of the rim's radius."""
    return float(1.0 - np.cos(np.radians(half_angle_deg) / 2))


@lru_cache(maxsize=64)
def staircase(half_angle_deg: float, metal: complex = STEEL) -> Staircase:
    """The band's brightness in steps of equal angle, each as bright as it is on average by area."""
    end = np.radians(max(half_angle_deg, 1e-3)) / 2
    bounds = np.linspace(0.0, end, RIM_LIGHT.steps)
    at = bounds[:-1, None] + end / (RIM_LIGHT.steps - 1) * (np.arange(RIM_LIGHT.places) + 0.5) / RIM_LIGHT.places
    weight = np.sin(at)
    shown = (reflectance(at, metal) * weight).sum(axis=1) / weight.sum(axis=1)
    depth = (1.0 - np.cos(bounds)) / (1.0 - np.cos(end))
    return Staircase(depth, np.append(1.0, shown) - np.append(shown, 0.0))


def half_level_shift(radius_mm: float, half_angle_deg: float, blur_mm: float) -> float:
    """How far inside the true edge of a round rim the light is half blocked.

    Parameters
    ----------
    radius_mm
        The rim's radius, mm.
    half_angle_deg
        Half the angle under which the rim sees the backlight, degrees.
    blur_mm
        Sigma of the optics' Gaussian blur, mm.

    Returns
    -------
    float
        The shift, mm, inward positive.

    Examples
    --------
    >>> round(half_level_shift(0.3, 40.0, 0.0425), 4)
    0.0102
    """
    steps = staircase(half_angle_deg)
    depth = steps.depth * radius_mm * band_share(half_angle_deg)
    low, high = 0.0, float(depth[-1])
    for _ in range(40):
        middle = (low + high) / 2
        light = float((steps.fall * ndtr((depth - middle) / blur_mm)).sum())
        low, high = (middle, high) if light > 0.5 else (low, middle)
    return (low + high) / 2
