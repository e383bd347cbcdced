"""Polylines against closed forms and against shapely (a reference library)."""

import numpy as np
import pytest
from hypothesis import given, strategies as st
from scipy.special import ellipe
from shapely.geometry import Polygon

from vision.geometry.polyline import arc_lengths, centroid, curvature, moments, resample, signed_area
from vision.geometry.rigid import Motion
from vision.records.inputs import Array


def ellipse(a: float, b: float, count: int = 4000) -> Array:
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.column_stack((a * np.cos(t), b * np.sin(t)))


def pear(count: int = 2000) -> Array:
    """An outline with a heavy end, not symmetric end for end."""
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.column_stack((3 * np.cos(t) + 0.5 * np.cos(2 * t), np.sin(t) * (1 + 0.2 * np.cos(t))))


def test_area_and_centroid_agree_with_shapely() -> None:
    shape = pear() + np.array([7.0, -2.0])
    reference = Polygon(shape)
    assert signed_area(shape) == pytest.approx(reference.area, rel=1e-10)
    assert centroid(shape) == pytest.approx((reference.centroid.x, reference.centroid.y), rel=1e-9)
    assert signed_area(shape[::-1]) == pytest.approx(-reference.area, rel=1e-10)


@pytest.mark.parametrize(
    ("a", "b", "perimeter"),
    # 4 a E(1 - b^2 / a^2), the complete elliptic integral of the second kind; values computed with scipy's `ellipe`.
    [(1.0, 0.5, 4.844224110), (2.0, 1.0, 9.688448221), (21.0, 10.0, 100.479882195), (10.0, 10.0, 20 * np.pi)],
)
def test_perimeter_of_ellipses(a: float, b: float, perimeter: float) -> None:
    assert 4 * a * ellipe(1 - b**2 / a**2) == pytest.approx(perimeter, abs=5e-9 * a)
    assert arc_lengths(ellipse(a, b, 20000))[-1] == pytest.approx(perimeter, rel=1e-7)


def test_moments_of_an_ellipse_are_those_of_the_closed_form() -> None:
    # Second moments of a filled ellipse: a^2 / 4 and b^2 / 4 times its area (any table of section properties).
    found = moments(ellipse(6.0, 2.0))
    assert found.area == pytest.approx(np.pi * 12, rel=1e-5)
    assert found.spread == pytest.approx((3.0, 1.0), rel=1e-5)


@given(angle=st.floats(-3.1, 3.1), x=st.floats(-50, 50), y=st.floats(-50, 50))
def test_moments_move_with_the_shape(angle: float, x: float, y: float) -> None:
    at_rest = moments(pear())
    moved = moments(Motion(angle, (x, y)).apply(pear()))
    turn = (moved.axis_rad - at_rest.axis_rad - angle) % np.pi
    assert min(turn, np.pi - turn) == pytest.approx(0.0, abs=1e-6)
    assert moved.spread == pytest.approx(at_rest.spread, rel=1e-6)


def test_curvature_of_a_circle_is_one_over_its_radius() -> None:
    assert curvature(ellipse(5.0, 5.0, 600), 2.0) == pytest.approx(0.2, rel=1e-3)
    assert curvature(ellipse(5.0, 5.0, 600)[::-1], 2.0) == pytest.approx(-0.2, rel=1e-3)


@given(step=st.floats(0.01, 0.1))
def test_resampling_is_even_and_keeps_the_area(step: float) -> None:
    points = resample(ellipse(6.0, 2.0), step)
    gaps = np.diff(arc_lengths(points))
    assert gaps == pytest.approx(gaps.mean(), rel=0.01)
    assert signed_area(points) == pytest.approx(np.pi * 12, rel=0.02 * step + 1e-4)


@given(first=st.floats(-3, 3), second=st.floats(-3, 3), x=st.floats(-9, 9), y=st.floats(-9, 9))
def test_motions_undo_and_follow_one_another(first: float, second: float, x: float, y: float) -> None:
    a, b, points = Motion(first, (x, y)), Motion(second, (y, -x)), pear(50)
    assert a.inverse().apply(a.apply(points)) == pytest.approx(points, abs=1e-9)
    assert b.after(a).apply(points) == pytest.approx(b.apply(a.apply(points)), abs=1e-9)
