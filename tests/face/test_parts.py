"""The smaller parts of the face: blur, width, rims, buffing lines, the slow change."""

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from tests.face.scenes import BLUR_PX, Mark, pictures, view
from vision.face.background import slow_change
from vision.face.blur import edge_blur_px
from vision.face.contrast import frame_contrasts
from vision.face.evidence import combine
from vision.face.finish import buffing_lines
from vision.face.lines.rims import circle_goes_on, shares_on_rims
from vision.face.lines.width import scratch_width
from vision.face.raster import find_region
from vision.records.inputs import Picture, TrayPictures


def test_blur_is_read_from_the_backlit_outline():
    assert edge_blur_px(view(pictures(np.random.default_rng(1)))) == pytest.approx(BLUR_PX, rel=0.15)


@pytest.mark.parametrize("width_mm", [0.06, 0.12, 0.25])
def test_width_is_read_with_the_blur_taken_off(width_mm):
    seen = view(pictures(np.random.default_rng(2), (Mark((-5.0, 1.0), (5.0, 3.0), width_mm, 0.3),)))
    region = find_region(seen, seen.part.surface)
    evidence = combine(region, frame_contrasts(region, seen.pictures))
    curve = region.fine.from_px(seen.to_px(np.linspace([-4.5, 1.1], [4.5, 2.9], 60)))
    assert scratch_width(evidence, curve, BLUR_PX) * 0.05 == pytest.approx(width_mm, abs=0.02)


def arc(center, radius, start_deg, stop_deg):
    t = np.radians(np.linspace(start_deg, stop_deg, 40))
    return np.column_stack((center[0] + radius * np.cos(t), center[1] + radius * np.sin(t)))


@given(st.floats(15, 40), st.floats(60, 200), st.floats(0, 360))
def test_arcs_that_close_are_a_rim(radius, place, turn):
    arcs = [arc((place, 150), radius, turn + a, turn + a + 80) for a in (0, 95, 190)]
    assert min(shares_on_rims(arcs)) > 0.9


def test_lines_and_single_arcs_are_no_rim():
    lines = [np.linspace((20, 20 + 8 * k), (80, 25 + 8 * k), 30) for k in range(4)]
    assert shares_on_rims(lines) == [0.0] * 4
    assert shares_on_rims([arc((100, 100), 150, 0, 40), arc((90, 90), 30, 0, 60)]) == [0.0, 0.0]
    assert shares_on_rims([]) == []


@pytest.mark.parametrize(("rest", "low", "high"), [(0.0, -1.0, 4.0), (0.5, 6.0, 12.0)])
def test_the_rest_of_a_circle_through_a_bent_line_tells_how_it_goes_on(rest, low, high):
    rng = np.random.default_rng(4)

    def along(curve):
        """A third of a circle of radius 30 about (100, 100) is a line of height 2, the rest of height 2 `rest`."""
        x, y = (curve - 100).T
        on = np.exp(-0.5 * (np.hypot(x, y) - 30) ** 2)
        return on * np.where(np.abs(np.arctan2(y, x)) < np.pi / 3, 2.0, 2.0 * rest) + rng.normal(size=len(curve))

    assert low < circle_goes_on(arc((100, 100), 30, -60, 60), along) < high
    # straight, or round more than a rim's radii, it is none whatever stands beside it
    assert circle_goes_on(np.linspace((70, 130), (130, 130), 60), lambda curve: np.full(len(curve), 2.0)) == 0.0


def lined(rng, amplitude):
    """Frames whose low lights show a sine of 0.5 mm pitch along x, of this amplitude of relative contrast."""
    frames = pictures(rng)
    rows = np.mgrid[: frames.back.pixels.shape[0], : frames.back.pixels.shape[1]][0]
    ripple = 1 + amplitude * np.sin(2 * np.pi * rows * 0.05 / 0.5)

    def rippled(picture: Picture) -> Picture:
        pixels = np.clip(picture.pixels * ripple + rng.uniform(0, 1, ripple.shape), 0, 255).astype(np.uint8)
        return Picture(picture.light, picture.azimuth_deg, pixels, picture.full_scale, picture.name)

    return TrayPictures(frames.back, frames.dome, tuple(rippled(p) for p in frames.low))


def test_buffing_level_is_the_lines_standard_deviation():
    levels = []
    for amplitude in (0.0, 0.05, 0.1):
        seen = view(lined(np.random.default_rng(3), amplitude))
        region = find_region(seen, seen.part.surface)
        levels.append(buffing_lines(region, frame_contrasts(region, seen.pictures)))
    # the light falls off across the face and its slow change is taken off, which costs the sine a few per cent
    assert levels[1][0] == pytest.approx(100 * 0.05 / np.sqrt(2), rel=0.15)
    assert levels[2][0] == pytest.approx(100 * 0.1 / np.sqrt(2), rel=0.15)
    assert levels[0][0] < 1.0
    assert all(error > 0 for _, error in levels)


def test_buffing_uncertainty_is_what_repeats_show():
    seen = [view(lined(np.random.default_rng(10 + k), 0.05)) for k in range(6)]
    region = find_region(seen[0], seen[0].part.surface)
    levels = np.array([buffing_lines(region, frame_contrasts(region, v.pictures)) for v in seen])
    # the lines stay and only the noise is new: repeats spread less than the uncertainty stated, that of new lines
    assert levels[:, 0].std() <= levels[:, 1].mean()


@settings(max_examples=10, deadline=None)
@given(st.floats(-0.05, 0.05), st.floats(-0.05, 0.05))
def test_a_slope_is_slow_change_even_beside_a_mask(gx, gy):
    seen = view(pictures(np.random.default_rng(4)))
    region = find_region(seen, seen.part.surface)
    rows, columns = region.coarse.shape
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    log = (3 + gx * x + gy * y).astype(np.float32)
    okay = (x > columns / 3).astype(np.float32)
    _, coarse = slow_change(log, okay, region)
    assert np.abs((log - coarse)[okay > 0][::7]).max() < 0.05 * max(abs(gx) + abs(gy), 0.01) * 20
