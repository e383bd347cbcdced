"""Rendered rims: layers, their light, and a lens's tails."""

import numpy as np
import pytest

from synthetic_images.outlines.optics import Tails, tailed
from synthetic_images.outlines.rims import STEEL, along, layers, reflected
from synthetic_images.spoons import PATTERNS, outline


def test_layers_take_all_light_and_end_where_the_band_does() -> None:
    made = layers(np.array([0.1, 0.6]), np.array([40.0, 20.0]), 50.0, STEEL)
    assert sum(layer.opacity for layer in made) == pytest.approx(1.0)
    assert made[0].depth_mm == pytest.approx([0.0, 0.0])
    # r (1 - cos(A / 2)), by hand: 0.1 x 0.060307 and 0.6 x 0.015192 mm.
    assert made[-1].depth_mm == pytest.approx([0.0060307, 0.0091154], abs=1e-6)


def test_the_band_is_as_bright_as_the_metal_reflects() -> None:
    radius, half = 0.4, 60.0
    made = layers(np.array([radius]), np.array([half]), half, STEEL)
    depth = np.array([layer.depth_mm[0] for layer in made])
    shown = 1.0 - np.cumsum([layer.opacity for layer in made])
    drawn = np.sum(shown[:-1] * np.diff(depth))
    angle = (np.arange(20_000) + 0.5) / 20_000 * np.deg2rad(half) / 2
    exact = np.sum(reflected(angle, STEEL) * radius * np.sin(angle)) * (angle[1] - angle[0])
    assert drawn == pytest.approx(exact, rel=1e-3)


def test_radii_stand_where_they_were_given() -> None:
    nominal = outline(PATTERNS["TS-135"])
    found = along((0.2, 0.5, 0.3, 0.4), nominal)
    quarter = len(nominal.s_mm) // 4
    assert found[[0, quarter, 2 * quarter, 3 * quarter]] == pytest.approx([0.2, 0.5, 0.3, 0.4], abs=1e-3)


def test_tails_keep_the_light_and_coma_its_mean() -> None:
    u = np.arange(161) - 80.0
    bell = np.exp(-0.5 * (u / 1.5) ** 2)
    spot = (np.outer(bell, bell) / bell.sum() ** 2).astype(np.float32)
    seen = tailed(spot, Tails(flare=0.05, flare_px=4.0, coma_px=0.6, coma_deg=0.0)).astype(float)
    assert seen.sum() == pytest.approx(1.0, abs=1e-3)
    assert np.sum(seen * u[None, :]) == pytest.approx(0.0, abs=0.01)
    narrow = tailed(spot, Tails(coma_px=0.6)).astype(float)
    from_mean = u - np.sum(narrow * u[None, :])
    # Third central moment of an exponential: 2 c^3.
    assert np.sum(narrow * from_mean[None, :] ** 3) == pytest.approx(2 * 0.6**3, rel=0.1)
    assert np.sum(narrow * u[:, None] ** 3) == pytest.approx(0.0, abs=0.01)
