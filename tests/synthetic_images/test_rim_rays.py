"""The renderer's bands against rays traced through a rim's section: another reckoning that knows no formula of a band.

Rays come straight down, meet a section given as a fine polyline, are reflected at its segments' own normals, never meet
it again, and carry the metal's reflectance (in real numbers: Born and Wolf, Principles of Optics, on metals; from
memory) if they end within the backlight's half angle.
"""

import numpy as np
import pytest
from scipy.special import ndtr

from synthetic_images.outlines.rims import STEEL, layers
from vision.outline.rim_light import half_level_shift

BLUR_MM = 0.0425


def section(upper_mm: float, lower_mm: float) -> np.ndarray:
    """A rim's section (n, 2): x inward from the edge, z up; round above and below, with a radius for each."""
    turn = np.linspace(-np.pi / 2, np.pi / 2, 8001)
    radius = np.where(turn < 0, lower_mm, upper_mm)
    return np.column_stack((radius * (1 - np.cos(turn)), radius * np.sin(turn)))


def reflected(incidence_rad: np.ndarray) -> np.ndarray:
    n, k = STEEL.real, STEEL.imag
    s, c = np.sin(incidence_rad), np.cos(incidence_rad)
    part, root = n**2 - k**2 - s**2, np.sqrt((n**2 - k**2 - s**2) ** 2 + 4 * n**2 * k**2)
    a, b = np.sqrt((root + part) / 2), np.sqrt((root - part) / 2)
    across = ((a - c) ** 2 + b**2) / ((a + c) ** 2 + b**2)
    t = s * np.tan(incidence_rad)
    return np.asarray(across * (1 + ((a - t) ** 2 + b**2) / ((a + t) ** 2 + b**2)) / 2)


def meets_again(start: np.ndarray, ahead: np.ndarray, solid: np.ndarray) -> bool:
    """Whether a ray from a point of the section runs into the section (every 40th vertex: ample for a convex one)."""
    coarse = solid[::40]
    a, b = coarse[:-1] - start, coarse[1:] - start
    side_a, side_b = ahead[0] * a[:, 1] - ahead[1] * a[:, 0], ahead[0] * b[:, 1] - ahead[1] * b[:, 0]
    crossed = side_a * side_b < 0
    part = side_a[crossed] / (side_a[crossed] - side_b[crossed])
    met = a[crossed] + part[:, None] * (b[crossed] - a[crossed])
    return bool((met @ ahead > 1e-3).any())


def traced(upper_mm: float, lower_mm: float, half_angle_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Depths below the edge (n,) and the share of the light that the camera sees there (n,)."""
    solid = section(upper_mm, lower_mm)
    depth = (np.arange(1500) + 0.5) / 1500 * 0.5 * upper_mm
    top = solid[len(solid) // 2 :]
    at = np.searchsorted(top[:, 0], depth) - 1
    along = top[at + 1] - top[at]
    normal = np.column_stack((-along[:, 1], along[:, 0])) / np.hypot(*along.T)[:, None]
    down = np.array([0.0, -1.0])
    facing = normal @ down
    ahead = down - 2 * facing[:, None] * normal
    leaves = np.degrees(np.arctan2(-ahead[:, 0], -ahead[:, 1]))
    share = np.where(np.abs(leaves) < half_angle_deg, reflected(np.arccos(np.clip(-facing, 0.0, 1.0))), 0.0)
    z = np.interp(depth, top[:, 0], top[:, 1])
    for k in np.flatnonzero(share)[::50]:
        assert not meets_again(np.array([depth[k], z[k]]) + 1e-6 * normal[k], ahead[k], solid)
    return depth, share


@pytest.mark.parametrize("half_angle_deg", [10.0, 40.0, 75.0])
@pytest.mark.parametrize(("upper_mm", "lower_mm"), [(0.3, 0.3), (0.6, 0.1), (0.1, 0.6)])
def test_rays_see_the_band_that_is_rendered(upper_mm: float, lower_mm: float, half_angle_deg: float) -> None:
    depth, share = traced(upper_mm, lower_mm, half_angle_deg)
    made = layers(np.array([upper_mm]), np.array([half_angle_deg]), half_angle_deg, STEEL)
    ends = np.array([layer.depth_mm[0] for layer in made])
    drawn = 1.0 - np.cumsum([layer.opacity for layer in made])
    step = depth[1] - depth[0]
    # As much light in all, from as wide a band, whatever the rim is like below its edge.
    assert share.sum() * step == pytest.approx(np.sum(drawn[:-1] * np.diff(ends)), rel=0.03, abs=step)
    assert depth[share > 0].max() == pytest.approx(ends[-1], abs=2 * step)


@pytest.mark.parametrize(("radius_mm", "half_angle_deg"), [(0.3, 40.0), (0.6, 60.0), (0.6, 75.0)])
def test_rays_move_the_half_level_as_reckoned(radius_mm: float, half_angle_deg: float) -> None:
    depth, share = traced(radius_mm, radius_mm, half_angle_deg)
    at = np.linspace(0.0, 0.2, 401)
    step = depth[1] - depth[0]
    bell = np.exp(-0.5 * ((depth - at[:, None]) / BLUR_MM) ** 2) / (np.sqrt(2 * np.pi) * BLUR_MM)
    light = ndtr(-at / BLUR_MM) + (bell @ share) * step
    found = float(np.interp(-0.5, -light, at))
    assert 1000 * found == pytest.approx(1000 * half_level_shift(radius_mm, half_angle_deg, BLUR_MM), abs=0.3)
