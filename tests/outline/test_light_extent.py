"""What edges say of a backlight that nobody knows: covered at every half angle, seen where it is wide."""

import numpy as np
import pytest

from tests.outline.test_band_fit import BLUR_PX, MM_PER_PX, mean_blur, profiles, radii
from vision.outline.edges import profile_offsets
from vision.outline.light_extent import LightExtent, light_extent
from vision.outline.rim_light import band_share, half_level_shift
from vision.records import RimRadius

ANY_RIM = RimRadius(0.3, 0.15)


def told(half_angle_deg: float, seed: int) -> tuple[LightExtent, np.ndarray]:
    """What the mean profile of a piece with varying rims tells, and the rims' radii."""
    rng = np.random.default_rng([seed, round(half_angle_deg)])
    radius = radii(rng)
    blocks = profiles(radius, half_angle_deg, rng)
    at = profile_offsets()
    aligned = [np.interp(at, at - edge, light) for edge, light in zip(blocks.edge_px, blocks.light, strict=True)]
    return light_extent(np.mean(aligned, axis=0), mean_blur(blocks), ANY_RIM, MM_PER_PX), radius


@pytest.mark.parametrize("angle", [0.0, 20.0, 40.0, 60.0])
def test_what_can_not_be_seen_is_covered(angle: float) -> None:
    for seed in range(4):
        found, radius = told(angle, seed)
        assert not found.seen
        # The stated bound is for two standard uncertainties: 19 of 20 places and more, of rims up to twice as round.
        shift = np.array([half_level_shift(float(r), angle, BLUR_PX * MM_PER_PX) for r in radius])
        assert MM_PER_PX * found.shift_px > np.mean(shift)
        # Nor is a frame without any band left without a value: the bound stays under the blur.
        assert found.shift_px < BLUR_PX


def test_a_wide_band_is_seen_and_its_width_told_or_covered() -> None:
    seen = 0
    for seed in range(4):
        found, radius = told(75.0, seed)
        width = float(np.mean(radius)) * band_share(75.0) / MM_PER_PX
        seen += found.seen
        # Thin rims of a piece may hide it: then the bound covers.
        assert abs(found.width_px - width) < 2.5 * found.u_px
        assert found.half_deg > 50.0
    assert seen >= 2
