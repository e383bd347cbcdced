"""Blur, light and silhouettes against what they must be."""

import numpy as np
import pytest
from scipy.special import ndtr

from synthetic_images.outlines.coverage import coverage
from synthetic_images.outlines.optics import Backlight, Silhouette, backlit, blurred, light_field, shadow


def half_plane(at_px: float) -> Silhouette:
    """Everything right of a vertical edge."""
    return Silhouette((np.array([[at_px, -60.0], [200.0, -60.0], [200.0, 120.0], [at_px, 120.0]]),))


def blurred_edge(at_px: float, sigma_px: float, columns: np.ndarray) -> np.ndarray:
    """Closed form: a step blurred by a Gaussian, averaged over each pixel (the integral of Phi is z Phi + phi)."""

    def integral(x: np.ndarray) -> np.ndarray:
        z = (x - at_px) / sigma_px
        return sigma_px * (z * ndtr(z) + np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))

    return integral(columns + 0.5) - integral(columns - 0.5)


def test_blur_keeps_the_total():
    ring = np.array([[14.2, 15.1], [30.3, 14.4], [28.1, 26.2], [15.9, 27.8]])
    sharp = coverage([ring], (50, 40))
    assert blurred(sharp, 1.3).sum(dtype=float) == pytest.approx(sharp.sum(dtype=float), rel=1e-5)
    assert shadow([Silhouette((ring,))], (50, 40), 0.7).sum(dtype=float) == pytest.approx(
        sharp.sum(dtype=float), rel=1e-5
    )


@pytest.mark.parametrize("sigma", [0.7, 0.9, 1.4])
def test_an_edge_lies_where_it_was_put_wherever_in_its_pixel(sigma):
    columns = np.arange(10, 34)
    for phase in np.linspace(0.0, 1.0, 9):
        seen = shadow([half_plane(20.0 + phase)], (60, 40), sigma)[20, columns]
        expected = blurred_edge(20.0 + phase, sigma, columns)
        slope = np.gradient(expected)
        # The shift that best explains the difference, by least squares on the profile's slope.
        moved = np.sum((seen - expected) * slope) / np.sum(slope**2)
        assert abs(moved) < 0.0016
        assert np.abs(seen - expected).max() < 0.009


def test_the_corners_lose_what_the_vignette_says():
    field = light_field(Backlight(lit=0.8, vignette=0.3, slope=(0.0, 0.0)), (301, 201))
    assert field[100, 150] == pytest.approx(0.8, rel=1e-6)
    # The corner pixel's centre lies half a pixel inside the corner.
    assert field[0, 0] == pytest.approx(0.8 * 0.7, rel=0.003)


def test_light_falls_from_the_field_to_the_dark_level():
    field = np.full((3, 4), 0.9, dtype=np.float32)
    taken = np.zeros((3, 4), dtype=np.float32)
    taken[1, 1], taken[2, 2] = 1.0, 0.5
    light = backlit(field, taken, 0.1)
    assert light[1, 1] == pytest.approx(0.1)
    assert light[2, 2] == pytest.approx(0.5)
    assert light[0, 0] == pytest.approx(0.9)


def test_what_lies_outside_the_frame_casts_no_shadow():
    ring = np.array([[-40.0, 5.0], [-20.0, 5.0], [-20.0, 25.0], [-40.0, 25.0]])
    assert not shadow([Silhouette((ring,))], (60, 40), 0.7).any()
