"""Edges to sub-pixels: discs of known radius, the photon-noise bound, blur, dust."""

import numpy as np
import pytest

from tests.outline.scene import backlit, grid, shade
from vision.backlight.field import Backlight, model_backlight
from vision.outline.edges import Outline, blur_px, far_blur_px, trace_edge
from vision.outline.regions import Region, find_regions
from vision.records.inputs import Picture

CENTER, RADIUS = (400.3, 300.7), 150.0


def disc(blur: float) -> np.ndarray:
    u, v = grid(600, 800)
    return shade(np.hypot(u - CENTER[0], v - CENTER[1]) - RADIUS, blur)


def traced(frame: np.ndarray) -> tuple[Picture, Backlight, Region, Outline]:
    picture = backlit(frame)
    light = model_backlight(picture)
    (region,) = find_regions(picture, light, 500.0)
    return picture, light, region, trace_edge(picture.pixels, light, region.outer)


@pytest.mark.parametrize("blur", [0.7, 0.85, 1.1])
def test_radius_of_a_disc_to_a_hundredth_of_a_pixel(blur: float) -> None:
    *_, outline = traced(disc(blur))
    radius = np.hypot(*(outline.points_px - CENTER).T)
    assert outline.valid.mean() > 0.99
    # The scene is drawn from distances, so the inward pull of a curved edge, s^2 / (2 R) = 0.004 px, is not in it.
    assert radius.mean() == pytest.approx(RADIUS, abs=0.006)
    assert radius.std() < 0.012


def test_noise_of_an_edge_point_is_near_the_photon_bound() -> None:
    # Cramer-Rao for 1 px of contour, sd = 1 / sqrt(J), J the integral of (step x g)^2 / variance over the edge.
    # 95 of 100 seeds give a ratio between 0.7 and 1.3 (an edge point shares pixels with its neighbours).
    rng = np.random.default_rng(5)
    counts_per_electron = 215.0 / 10_000
    clean = disc(0.85).astype(np.float64)
    noisy = rng.poisson(clean / counts_per_electron) * counts_per_electron + rng.normal(0, 0.3, clean.shape)
    *_, outline = traced(np.clip(np.rint(noisy), 0, 255).astype(np.uint8))
    x = np.linspace(-5, 5, 2001)
    bell = np.exp(-0.5 * (x / 0.85) ** 2) / (np.sqrt(2 * np.pi) * 0.85)
    level = 9 + 206 * np.cumsum(bell) * (x[1] - x[0])
    variance = level * counts_per_electron + 0.3**2 + 1 / 12
    bound = 1 / np.sqrt(np.sum((206 * bell) ** 2 / variance) * (x[1] - x[0]))
    radius = np.hypot(*(outline.points_px - CENTER).T)
    assert 0.7 < radius.std() / bound < 1.3


@pytest.mark.parametrize("blur", [0.7, 1.1, 1.5])
def test_blur_is_read_from_the_edge_itself(blur: float) -> None:
    *_, outline = traced(disc(blur))
    # Bilinear sampling along a normal adds about 1/6 px^2 of its own.
    assert blur_px(outline.profile) == pytest.approx(np.sqrt(blur**2 + 1 / 6), abs=0.06)


def test_a_soft_edge_is_measured_from_afar() -> None:
    picture, light, region, outline = traced(disc(5.0))
    assert outline.valid.mean() < 0.5
    assert far_blur_px(picture.pixels, light, region.outer) == pytest.approx(5.0, rel=0.1)


def test_dust_against_the_edge_is_not_measured() -> None:
    frame = disc(0.8).astype(np.float64)
    u, v = grid(600, 800)
    frame *= 1 - 0.4 * np.exp(-(((u - CENTER[0] - RADIUS - 3) ** 2 + (v - CENTER[1]) ** 2) / (2 * 2.0**2)))
    *_, outline = traced(np.rint(frame).astype(np.uint8))
    beside = np.hypot(*(outline.points_px - (CENTER[0] + RADIUS, CENTER[1])).T) < 1.5
    assert not outline.valid[beside].any()
    radius = np.hypot(*(outline.points_px[outline.valid] - CENTER).T)
    assert np.abs(radius - RADIUS).max() < 0.05


def test_without_a_profile_there_is_no_blur() -> None:
    assert np.isnan(blur_px(np.full(15, np.nan)))
