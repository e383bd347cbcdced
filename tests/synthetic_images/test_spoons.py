"""The invented patterns: closed, smooth, as long as their names say."""

import numpy as np
import pytest
import shapely

from synthetic_images.spoons import PATTERNS, Hole, centroid_mm, circle_mm, half_width_mm, outline


@pytest.fixture(params=PATTERNS.values(), ids=PATTERNS.keys())
def pattern(request):
    return request.param


def test_the_outline_is_simple_closed_and_as_long_as_stated(pattern):
    shape = outline(pattern)
    ring = shapely.LinearRing(shape.points_mm)
    assert ring.is_simple
    assert ring.is_ccw
    assert ring.length == pytest.approx(shape.perimeter_mm, rel=1e-5)
    assert np.ptp(shape.points_mm[:, 0]) == pytest.approx(pattern.length_mm, abs=1e-4)


def test_steps_are_even_and_no_longer_than_asked(pattern):
    shape = outline(pattern, 0.1)
    steps = np.hypot(*(np.roll(shape.points_mm, -1, axis=0) - shape.points_mm).T)
    assert steps.max() <= 0.1
    assert steps.min() > 0.099


def test_normals_are_unit_point_outward_and_turn_smoothly(pattern):
    shape = outline(pattern)
    area = shapely.Polygon(shape.points_mm)
    assert np.hypot(*shape.normals.T) == pytest.approx(1.0)
    outside = shape.points_mm[::50] + 0.01 * shape.normals[::50]
    assert not shapely.contains_xy(area, *outside.T).any()
    turn = np.hypot(*(np.roll(shape.normals, -1, axis=0) - shape.normals).T)
    # No radius of curvature below 5 mm: nothing on the drawing is as sharp as a burr.
    assert (0.025 / turn).min() > 5.0


def test_both_sides_mirror_each_other(pattern):
    x = np.linspace(0.0, pattern.length_mm, 500)
    ring = shapely.LinearRing(outline(pattern).points_mm)
    for side in (1.0, -1.0):
        points = shapely.points(np.column_stack((x, side * half_width_mm(pattern, x))))
        assert shapely.distance(points, ring).max() < 1e-4


def test_zones_cover_the_drawing_without_overlap(pattern):
    ends = [end for zone in pattern.zones for end in zone.x_mm]
    assert ends[0] == 0.0
    assert ends[-1] == pattern.length_mm
    assert ends[1:-1:2] == ends[2:-1:2]
    assert sum(zone.datum for zone in pattern.zones) == sum(zone.bend for zone in pattern.zones) == 1


def test_holes_lie_inside_the_outline(pattern):
    area = shapely.Polygon(outline(pattern).points_mm)
    assert all(area.contains(shapely.Polygon(circle_mm(hole))) for hole in pattern.holes)


def test_a_rim_has_its_circles_area():
    ring = shapely.Polygon(circle_mm(Hole((3.0, -2.0), 4.5)))
    assert ring.area == pytest.approx(np.pi * 4.5**2 / 4.0, rel=1e-12)
    assert ring.exterior.is_ccw


def test_the_centroid_agrees_with_shapely(pattern):
    points = outline(pattern).points_mm
    middle = shapely.Polygon(points).centroid
    assert centroid_mm(points) == pytest.approx((middle.x, middle.y), abs=1e-9)
