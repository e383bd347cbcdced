"""What is wrong with a piece is exactly as wrong as said."""

import numpy as np
import pytest
import shapely

from synthetic_images.outlines.defects import (
    Bump,
    Defects,
    HoleError,
    bent_mm,
    displacement_mm,
    true_holes,
    true_outline_mm,
)
from synthetic_images.spoons import DESSERT_SPOON, TEASPOON, outline

NOMINAL = outline(TEASPOON)


def test_a_bump_is_a_gaussian_of_its_height_and_sigma():
    moved = displacement_mm(NOMINAL, Defects((Bump("burr", 60.0, 0.3, 0.8),)))
    at = np.interp([60.0, 60.8, 58.4], NOMINAL.s_mm, moved)
    assert at == pytest.approx([0.3, 0.3 * np.exp(-0.5), 0.3 * np.exp(-2.0)], abs=1e-4)


def test_a_bump_runs_on_across_the_first_vertex():
    moved = displacement_mm(NOMINAL, Defects((Bump("nick", 0.2, -0.3, 0.8),)))
    assert np.interp(NOMINAL.perimeter_mm - 0.6, NOMINAL.s_mm, moved) == pytest.approx(-0.3 * np.exp(-0.5), abs=1e-4)


def test_even_growth_is_the_offset_curve():
    grown = shapely.Polygon(true_outline_mm(TEASPOON, NOMINAL, Defects(growth_mm=0.05)))
    # Steiner's formula for a parallel curve: area + perimeter x g + pi g^2.
    expected = shapely.Polygon(NOMINAL.points_mm).area + NOMINAL.perimeter_mm * 0.05 + np.pi * 0.05**2
    assert grown.area == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("bend", [-0.5, 0.4])
def test_a_bend_turns_the_handle_as_a_whole_and_leaves_the_bowl(bend):
    points = NOMINAL.points_mm
    bent = bent_mm(TEASPOON, points, bend)
    bowl, handle = points[:, 0] <= 46.0, points[:, 0] >= 58.0
    np.testing.assert_allclose(bent[bowl], points[bowl], atol=1e-12)
    cos, sin = np.cos(np.deg2rad(bend)), np.sin(np.deg2rad(bend))
    turned = (points[handle] - [52.0, 0.0]) @ np.array([[cos, sin], [-sin, cos]]) + [52.0, 0.0]
    np.testing.assert_allclose(bent[handle], turned, atol=1e-12)
    # Blended between: no step anywhere along the outline.
    assert np.hypot(*np.diff(bent, axis=0).T).max() < 0.0255


def test_holes_shift_grow_and_go_with_the_bend():
    made = true_holes(DESSERT_SPOON, Defects(bend_deg=0.3, holes=(HoleError((0.1, -0.2), 0.05),)))[0]
    turn = np.deg2rad(0.3)
    arm = np.array([174.1 - 68.5, -0.2])
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ arm
    assert made.center_mm == pytest.approx((68.5 + turned[0], turned[1]))
    assert made.diameter_mm == pytest.approx(4.55)
