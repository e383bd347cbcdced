"""The additive model by hand-made curves, and which side of a spot shines."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, strategies as st

from tests.face.scenes import Mark, pictures, view
from vision.face.evidence import combine
from vision.face.features import Feature
from vision.face.frames import take_frames
from vision.face.judging import chances_of, judged_by, weighed_most
from vision.face.raster import find_region
from vision.face.spots.lights import spots_in_lights
from vision.records import FeatureCurve, MarkModel

NAMES = (Feature("one", "its first"), Feature("two", "its second"))
MODEL = MarkModel(-1.0, (FeatureCurve("two", (0.0, 10.0), (-2.0, 0.5, 3.0)),))


def test_a_curve_is_looked_up_by_name_and_its_edge_belongs_below():
    told = judged_by(MODEL, np.array([[9.0, -1.0], [9.0, 0.0], [9.0, 5.0], [9.0, 99.0]]), NAMES)
    np.testing.assert_allclose(told.added[:, 1], [-2.0, -2.0, 0.5, 3.0])
    assert not told.added[:, 0].any()
    np.testing.assert_allclose(told.chance, 1 / (1 + np.exp([3.0, 3.0, 0.5, -2.0])))


def test_a_feature_that_is_not_read_is_an_error():
    with pytest.raises(KeyError):
        judged_by(MODEL, np.zeros((1, 1)), NAMES[:1])


@given(st.lists(st.floats(-20, 20), min_size=1, max_size=20))
def test_a_calibration_keeps_order_and_its_bounds(sums):
    model = replace(MODEL, calibration=((-3.0, 0.01), (0.0, 0.4), (2.0, 0.97)))
    chances = chances_of(model, np.sort(sums))
    assert (np.diff(chances) >= 0).all()
    assert chances.min() >= 0.01
    assert chances.max() <= 0.97


def test_what_weighed_most_is_told_with_its_sign():
    assert weighed_most(np.array([0.5, -2.0]), NAMES) == ("against: its second", "for: its first")
    assert weighed_most(np.array([0.0, 0.0]), NAMES) == ()


@pytest.mark.parametrize("azimuths", [(0.0, 90.0, 180.0, 270.0), (30.0, 150.0, 270.0), (10.0, 170.0)])
def test_a_hollow_shines_on_the_far_side_and_a_grain_does_not(azimuths):
    """Drawn by the scenes' own rule, which is no renderer's: from nothing at the near end to twice the mean."""
    marks = (Mark((3.0, -2.0), None, 0.4, 0.3), Mark((-3.0, 2.0), None, 0.08, 2.0))
    seen = view(pictures(np.random.default_rng(1), marks, azimuths=azimuths))
    region = find_region(seen, seen.part.surface)
    evidence = combine(region, take_frames(seen, region).contrasts)
    places = region.fine.from_px(seen.to_px(np.array([mark.a for mark in marks])))
    hollow, grain = spots_in_lights(evidence, places, 0.0).bright_side_mm
    assert hollow < -0.02
    assert abs(grain) < 0.01
