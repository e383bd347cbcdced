"""The bright band along a round rim: Fresnel's reflectance and the half level's shift, against other reckonings."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ndtr

from vision.outline.rim_light import STEEL, band_share, half_level_shift, reflectance, staircase

# Metals in sodium light (589.3 nm) by Drude (1890), n, k and reflectance at normal incidence in per cent, as printed in
# handbooks (Smithsonian Physical Tables); the figures are from memory.
DRUDE = [
    ("steel", 2.41, 3.40, 58.5),
    ("nickel", 1.79, 3.32, 62.0),
    ("silver", 0.181, 3.67, 95.3),
    ("gold", 0.366, 2.82, 85.1),
    ("copper", 0.641, 2.62, 73.2),
    ("aluminium", 1.44, 5.23, 82.7),
    ("tin", 1.48, 5.25, 82.5),
    ("zinc", 2.12, 5.48, 78.6),
]
# Shift of the half level in um by rim radius (mm), for half angles of the backlight in degrees: reckoned elsewhere, in
# a plane, for a telecentric camera, n = 2.8 + 3.3i and a blur of 0.0425 mm, rounded to 0.5 um or so.
ANGLES_DEG = (2.0, 5.0, 10.0, 20.0, 40.0, 60.0, 75.0)
SHIFTS_UM = {
    0.1: (0.0, 0.0, 0.0, 1.0, 3.0, 7.0, 11.0),
    0.2: (0.0, 0.0, 0.5, 2.0, 6.5, 14.0, 22.0),
    0.3: (0.0, 0.0, 0.5, 3.0, 10.0, 21.5, 33.0),
    0.6: (0.0, 0.5, 1.5, 5.5, 20.0, 43.5, 69.5),
}
BLUR_MM = 0.0425


@pytest.mark.parametrize(("metal", "n", "k", "per_cent"), DRUDE)
def test_reflectance_at_normal_incidence_is_as_tabulated(metal: str, n: float, k: float, per_cent: float) -> None:
    found = reflectance(np.array([np.pi / 2]), complex(n, k))
    assert 100 * found[0] == pytest.approx(per_cent, abs=0.2), metal


def test_reflectance_at_any_angle_agrees_with_the_equations_in_real_numbers() -> None:
    # The form without complex numbers: 2 a^2 = sqrt((n^2 - k^2 - s^2)^2 + 4 n^2 k^2) + (n^2 - k^2 - s^2), b alike with
    # the second sign turned, s the sine of incidence (Born and Wolf, Principles of Optics, on metals; from memory).
    n, k = STEEL.real, STEEL.imag
    incidence = np.radians(np.array([0.0, 30.0, 60.0, 77.0, 85.0, 89.5]))
    s, c = np.sin(incidence), np.cos(incidence)
    part, root = n**2 - k**2 - s**2, np.sqrt((n**2 - k**2 - s**2) ** 2 + 4 * n**2 * k**2)
    a, b = np.sqrt((root + part) / 2), np.sqrt((root - part) / 2)
    across = ((a - c) ** 2 + b**2) / ((a + c) ** 2 + b**2)
    t = s * np.tan(incidence)
    within = across * ((a - t) ** 2 + b**2) / ((a + t) ** 2 + b**2)
    assert reflectance(np.pi / 2 - incidence) == pytest.approx((across + within) / 2, abs=1e-12)


def shift_by_quadrature_mm(radius_mm: float, half_angle_deg: float) -> float:
    """The half level's place from the definition: adaptive quadrature over the band, then a root."""
    width = radius_mm * (1 - np.cos(np.radians(half_angle_deg) / 2))

    def light(at_mm: float) -> float:
        def from_band(angle: float) -> float:
            # Depth below the edge by the angle at which the surface rises, so that the band's outer end is no spike.
            depth, stretch = radius_mm * (1 - np.cos(angle)), radius_mm * np.sin(angle)
            bell = np.exp(-0.5 * ((depth - at_mm) / BLUR_MM) ** 2) / (np.sqrt(2 * np.pi) * BLUR_MM)
            return float(reflectance(np.array([angle]))[0] * bell * stretch)

        seen, _ = quad(from_band, 0.0, np.radians(half_angle_deg) / 2, epsabs=1e-10)
        return float(ndtr(-at_mm / BLUR_MM)) + seen

    return float(brentq(lambda at: light(at) - 0.5, -1e-9, width, xtol=1e-8))


@pytest.mark.parametrize("radius_mm", SHIFTS_UM)
def test_the_half_level_moves_as_quadrature_says(radius_mm: float) -> None:
    for angle, elsewhere in zip(ANGLES_DEG, SHIFTS_UM[radius_mm], strict=True):
        exact = shift_by_quadrature_mm(radius_mm, angle)
        found = half_level_shift(radius_mm, angle, BLUR_MM)
        assert 1000 * found == pytest.approx(1000 * exact, abs=0.05, rel=0.004)
        # The two agree to rounding and 5 %: how a reckoning averages the band's brightness makes that.
        assert 1000 * exact == pytest.approx(elsewhere, abs=0.4, rel=0.05)


@pytest.mark.parametrize("angle", ANGLES_DEG)
def test_the_staircase_ends_in_the_dark_and_is_as_bright_as_the_band(angle: float) -> None:
    steps = staircase(angle)
    assert steps.fall.sum() == pytest.approx(1.0)
    assert (steps.depth[0], steps.depth[-1]) == pytest.approx((0.0, 1.0))
    radius = 0.3
    end = np.radians(angle) / 2
    mean, _ = quad(lambda g: float(reflectance(np.array([g]))[0]) * np.sin(g), 0.0, end)
    assert steps.brightness == pytest.approx(mean / (1 - np.cos(end)), abs=0.002)
    assert radius * band_share(angle) == pytest.approx(radius * (1 - np.cos(end)))
