"""The microfacet model and the form of the face against closed forms."""

import numpy as np
import pytest

from synthetic_images.faces.reflect import Facets, direction, dome_light, ggx, low_light
from synthetic_images.faces.surface import Slopes, height_mm, lit_share, normals, slopes
from synthetic_images.spoons import PATTERNS, TEASPOON


def flat(count=1):
    return Slopes(np.zeros(count, np.float32), np.zeros(count, np.float32))


@pytest.mark.parametrize(("along", "across"), [(0.1, 0.1), (0.08, 0.4), (0.5, 0.5)])
def test_the_facets_cover_the_face_once(along, across):
    # Integral of D(h) cos over the hemisphere is 1 (Walter et al. 2007, eq. 4), by quadrature in tan(theta).
    t = np.exp(np.linspace(np.log(1e-4), np.log(1e4), 3000))
    turns = np.linspace(0.0, 2.0 * np.pi, 240, endpoint=False)
    total = 0.0
    facets = Facets(along, across, (1.0, 0.0))
    normal = normals(flat())
    for turn in turns:
        cos = 1.0 / np.sqrt(1.0 + t**2)
        half = (t * cos * np.cos(turn), t * cos * np.sin(turn), cos)
        density = ggx(tuple(np.broadcast_to(n, t.shape).astype(float) for n in normal), half, facets)
        # d omega = sin theta d theta d phi; d theta = cos^2 dt; sin = t cos.
        total += np.trapezoid(density * cos * t * cos * cos**2, t) * (2.0 * np.pi / len(turns))
    assert total == pytest.approx(1.0, abs=2e-3)


def test_the_even_lobe_is_the_published_one():
    alpha, theta = 0.2, 0.3
    half = (np.sin(theta), 0.0, np.cos(theta))
    published = alpha**2 / (np.pi * np.cos(theta) ** 4 * (alpha**2 + np.tan(theta) ** 2) ** 2)
    assert ggx(normals(flat()), half, Facets(alpha, alpha, (0.6, 0.8)))[0] == pytest.approx(published, rel=1e-5)


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 135.0, 270.0])
def test_the_highlight_lies_where_the_face_mirrors_the_light(azimuth):
    elevation = 25.0
    # A face mirrors a light of elevation e straight up when it leans (90 - e)/2 towards it.
    lean = np.tan(np.deg2rad(0.5 * (90.0 - elevation)))
    grid = np.linspace(-1.0, 1.0, 201).astype(np.float32)
    x, y = np.meshgrid(grid, grid)
    seen = low_light(Slopes(x, y), Facets(0.06, 0.06, (1.0, 0.0)), azimuth, elevation)
    row, column = np.unravel_index(np.argmax(seen), seen.shape)
    turn = np.deg2rad(azimuth)
    # Leaning towards the light means falling towards it: slope against its direction.
    assert (x[row, column], y[row, column]) == pytest.approx((-lean * np.cos(turn), -lean * np.sin(turn)), abs=0.06)


def test_a_groove_shows_under_lights_across_it_not_along_it():
    finish, groove = Facets(0.065, 0.065, (1.0, 0.0)), Facets(0.065, 0.45, (1.0, 0.0))
    across = low_light(flat(), groove, 90.0, 25.0) / low_light(flat(), finish, 90.0, 25.0)
    along = low_light(flat(), groove, 0.0, 25.0) / low_light(flat(), finish, 0.0, 25.0)
    assert across[0] > 5.0
    assert along[0] < 0.5


def test_a_face_turned_from_the_light_is_dark():
    away = Slopes(np.array([1.0], np.float32), np.zeros(1, np.float32))
    assert low_light(away, Facets(0.1, 0.1, (1.0, 0.0)), 0.0, 20.0)[0] == 0.0


def test_the_dome_has_a_dark_hole_above_and_no_light_below_the_horizon():
    lean = np.tan(np.deg2rad([0.0, 20.0, 50.0])).astype(np.float32)
    hole, side, below = dome_light(Slopes(np.zeros(3, np.float32), lean), Facets(0.03, 0.03, (1.0, 0.0)))
    assert hole < 0.3
    assert side > 0.85
    assert below < 0.1


def test_light_directions_turn_counter_clockwise_from_x():
    assert direction(0.0, 0.0) == pytest.approx((1.0, 0.0, 0.0))
    assert direction(90.0, 0.0) == pytest.approx((0.0, 1.0, 0.0))
    assert direction(30.0, 90.0) == pytest.approx((0.0, 0.0, 1.0))


@pytest.mark.parametrize("pattern", PATTERNS.values(), ids=PATTERNS.keys())
def test_the_bowl_is_dished_and_the_handle_crowned(pattern):
    middle, end = 0.4 * pattern.zones[0].x_mm[1], 0.8 * pattern.length_mm
    across = np.array([-4.0, 0.0, 4.0])
    bowl = height_mm(pattern, np.column_stack((np.full(3, middle), across)))
    handle = height_mm(pattern, np.column_stack((np.full(3, end), across)))
    assert bowl[1] < bowl[0] == pytest.approx(bowl[2])
    assert handle[1] > handle[0] == pytest.approx(handle[2])
    assert bowl[1] < -0.5 * pattern.bowl_depth_mm


def test_slopes_are_those_of_the_closed_form_in_the_bowl():
    # Inside the dish, far from the rim, log(1 + exp(a)) = a: z = -D (1 - 0.7 rho^2 - 0.3 rho^4).
    half_length, depth = 25.0, TEASPOON.bowl_depth_mm
    x = np.array([20.0, 25.0, 31.0])
    u = (x - half_length) / half_length
    expected = depth * (1.4 * u + 1.2 * u**3) / half_length
    field = slopes(TEASPOON, np.column_stack((x, np.zeros(3))), 0.0)
    np.testing.assert_allclose(field.x, expected, atol=2e-4)
    np.testing.assert_allclose(field.y, 0.0, atol=1e-6)


def test_slopes_turn_with_the_piece():
    at = np.array([[12.0, 5.0], [90.0, -3.0]])
    straight, turned = slopes(TEASPOON, at, 0.0), slopes(TEASPOON, at, np.deg2rad(30.0))
    cos, sin = np.cos(np.deg2rad(30.0)), np.sin(np.deg2rad(30.0))
    np.testing.assert_allclose(turned.x, cos * straight.x - sin * straight.y, atol=1e-6)
    np.testing.assert_allclose(turned.y, sin * straight.x + cos * straight.y, atol=1e-6)


@pytest.mark.parametrize(("azimuth", "turned"), [(0.0, 0), (90.0, 1), (180.0, 2), (270.0, 3)])
def test_a_post_casts_its_shadow_away_from_the_light(azimuth, turned):
    # 4 mm high under a light of 30 degrees: a shadow of 4 / tan 30 = 6.9 mm, on a grid of 1 mm.
    heights = np.zeros((41, 41))
    heights[20, 20] = 4.0
    # Turned back, every light comes from the right.
    share = np.rot90(lit_share(heights, 1.0, azimuth, 30.0), -turned)
    assert share[20, 14:20].max() < 0.05
    assert share[20, :12].min() > 0.95
    assert share[20, 21:].min() > 0.95
    assert share[19].min() > 0.95
