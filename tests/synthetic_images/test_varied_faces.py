"""Faces that vary widely: the same number gives the same face, and what is on it is told."""

import numpy as np
import pytest

from synthetic_images.faces.varied import scaled, varied_shot
from synthetic_images.spoons import TEASPOON, outline


@pytest.mark.long
def test_a_number_gives_the_same_face_and_another_another():
    first, again, other = (varied_shot(np.random.default_rng([77, number])) for number in (3, 3, 4))
    assert all(np.array_equal(a[2], b[2]) for a, b in zip(first.frames, again.frames, strict=True))
    assert first.truth == again.truth
    assert first.frames[1][2].shape != other.frames[1][2].shape
    lights = [light for light, _, _ in first.frames]
    assert lights[0] == "back"
    assert 3 <= lights.count("low") <= 8


def test_a_scaled_pattern_is_as_much_larger_all_over():
    larger = scaled(TEASPOON, 1.2, 0.5)
    assert outline(larger, 0.5).points_mm.max() == pytest.approx(1.2 * outline(TEASPOON, 0.5).points_mm.max(), rel=1e-6)
    assert larger.bowl_depth_mm == pytest.approx(0.6 * TEASPOON.bowl_depth_mm)
    assert larger.surface_inset_mm == TEASPOON.surface_inset_mm
    assert [z.name for z in larger.zones] == [z.name for z in TEASPOON.zones]
