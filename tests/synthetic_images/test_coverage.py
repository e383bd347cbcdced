"""Exact area of polygons in pixels, against closed forms and shapely."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings, strategies as st

from synthetic_images.outlines.coverage import coverage

# Single precision sums: some 1e-6 a pixel.
PER_PIXEL = 5e-6


def pixel_areas(area: shapely.Geometry, width: int, height: int) -> np.ndarray:
    """What shapely says that a shape covers of each pixel."""
    boxes = [[shapely.box(u - 0.5, v - 0.5, u + 0.5, v + 0.5) for u in range(width)] for v in range(height)]
    return shapely.area(shapely.intersection(np.array(boxes), area))


@pytest.mark.parametrize(("radius", "center"), [(7.3, (20.0, 15.0)), (3.0, (9.77, 12.31)), (0.4, (8.2, 8.9))])
def test_a_disc_has_the_area_of_its_circle(radius, center):
    turn = np.linspace(0.0, 2.0 * np.pi, 4000, endpoint=False)
    ring = np.asarray(center) + radius * np.column_stack((np.cos(turn), np.sin(turn)))
    total = coverage([ring], (40, 30)).sum(dtype=float)
    # The 4000-gon itself lacks pi r^2 (2 pi / 4000)^2 / 6 of the circle, 4e-7 of it.
    assert total == pytest.approx(np.pi * radius**2, rel=1e-5)


corner = st.tuples(st.floats(-4.0, 12.0), st.floats(-4.0, 10.0))


@given(st.lists(corner, min_size=3, max_size=3))
@settings(max_examples=60, deadline=None)
def test_every_pixel_of_any_triangle_agrees_with_shapely(corners):
    covered = coverage([np.array(corners)], (9, 7))
    np.testing.assert_allclose(covered, pixel_areas(shapely.Polygon(corners), 9, 7), atol=PER_PIXEL)


def test_a_hole_runs_the_other_way_round_and_is_left_out():
    outer = np.array([[1.2, 1.1], [8.3, 1.4], [8.1, 6.2], [0.9, 5.8]])
    hole = np.array([[3.1, 2.2], [3.3, 4.1], [6.4, 4.4], [6.2, 2.3]])
    covered = coverage([outer, hole], (10, 8))
    np.testing.assert_allclose(covered, pixel_areas(shapely.Polygon(outer, [hole]), 10, 8), atol=PER_PIXEL)


def test_either_turn_of_the_outline_gives_the_same():
    ring = np.array([[1.2, 1.1], [8.3, 1.4], [8.1, 6.2], [0.9, 5.8]])
    np.testing.assert_allclose(coverage([ring], (10, 8)), coverage([ring[::-1]], (10, 8)), atol=PER_PIXEL)


def test_edges_on_the_grid_lines_cover_whole_pixels():
    ring = np.array([[0.5, 0.5], [3.5, 0.5], [3.5, 2.5], [0.5, 2.5]])
    expected = np.zeros((5, 6))
    expected[1:3, 1:4] = 1.0
    np.testing.assert_allclose(coverage([ring], (6, 5)), expected, atol=PER_PIXEL)
