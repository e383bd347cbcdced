"""The line bank and tracing against analytic lines, noise, and scikit-image's ridge filter."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from skimage.filters import sato

from vision.face.lines.curves import line_profile, resample, step_profile, strip
from vision.face.lines.filters import LineField, line_field
from vision.face.lines.joining import Candidate, joined
from vision.face.lines.scratches import LinePictures, Search, candidates
from vision.face.whitening import power_of

ROWS, COLUMNS = 320, 400
SCORED = np.zeros((ROWS, COLUMNS), bool)
SCORED[12:-12, 12:-12] = True
DIRECTIONS = 20


def line(angle_deg: float, length_px: float, height: float, sigma: float = 0.6) -> np.ndarray:
    """A line with a Gaussian profile through the middle, counter-clockwise as seen."""
    y, x = np.mgrid[:ROWS, :COLUMNS]
    a = np.radians(angle_deg)
    dx, dy = x - COLUMNS / 2, ROWS / 2 - y
    along, across = dx * np.cos(a) + dy * np.sin(a), dy * np.cos(a) - dx * np.sin(a)
    ends = np.clip(length_px / 2 - np.abs(along) + 0.5, 0, 1)
    return (height * np.exp(-0.5 * (across / sigma) ** 2) * ends).astype(np.float32)


def noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=(ROWS, COLUMNS)).astype(np.float32)


def field_of(picture: np.ndarray, directions: int = DIRECTIONS) -> LineField:
    return line_field(picture, SCORED, directions)


def search_of(picture: np.ndarray, directions: int = DIRECTIONS) -> Search:
    picture = picture.astype(np.float32)
    return Search(LinePictures(picture, picture), power_of(picture), field_of(picture, directions), SCORED, 7.0)


def lines_in(picture: np.ndarray) -> list[Candidate]:
    return candidates([search_of(picture)])[0]


def test_filters_have_unit_gain_for_white_noise():
    field = field_of(noise(1))
    # each standard deviation is read from about 2000 independent responses: 2 % each, 10 % is five of them
    np.testing.assert_allclose(field.noise, 1.0, atol=0.1)


@settings(max_examples=12, deadline=None)
@given(st.floats(0, 179))
def test_the_strongest_direction_is_the_lines_own(angle_deg):
    field = field_of(noise(2) * 0.1 + line(angle_deg, 80, 1.0))
    near = field.stack[:, ROWS // 2 - 3 : ROWS // 2 + 4, COLUMNS // 2 - 3 : COLUMNS // 2 + 4]
    found = float(near.max(axis=(1, 2)).argmax()) * 180 / DIRECTIONS
    assert abs((found - angle_deg + 90) % 180 - 90) <= 180 / DIRECTIONS


@pytest.mark.parametrize("angle_deg", [0.0, 33.0, 90.0, 141.0])
def test_a_line_deep_in_noise_is_traced_end_to_end(angle_deg):
    picture = noise(3) + line(angle_deg, 90, 1.7)
    (found,) = lines_in(picture)
    a = np.radians(angle_deg)
    half = 45 * np.array([np.cos(a), -np.sin(a)])
    middle = np.array([COLUMNS / 2, ROWS / 2])
    for end in (middle - half, middle + half):
        assert np.hypot(*(found.curve[[0, -1]] - end).T).min() <= 12


def test_lines_looked_for_in_several_pictures_at_once_are_those_of_each():
    searches = [
        search_of(noise(9) + line(33.0, 90, 2.0)),
        search_of(noise(10)),
        search_of(noise(11) + line(110.0, 60, 3.0), 12),
    ]
    together = candidates(searches)
    assert [len(found) > 0 for found in together] == [True, False, True]
    for search, found in zip(searches, together, strict=True):
        (alone,) = candidates([search])
        assert [c.snr for c in found] == [c.snr for c in alone]


def test_a_weaker_scratch_to_which_a_trace_leads_on_is_found_too():
    y, x = np.mgrid[:ROWS, :COLUMNS]
    # two on one line of the wheel, which the trace follows from one to the other
    height = np.select([(x >= 80) & (x < 130), (x >= 130) & (x < 210), (x >= 210) & (x < 270)], [12.0, 1.5, 4.0], 0.0)
    strong, weak = lines_in(noise(12) + height * np.exp(-0.5 * ((y - 160) / 0.7) ** 2))
    np.testing.assert_allclose(strong.curve[[0, -1], 0], [80, 129], atol=3)
    assert weak.curve[-1, 0] == pytest.approx(269, abs=3)


def test_the_centre_line_agrees_with_a_ridge_filter_where_that_works():
    clean = line(20.0, 90, 1.0)
    picture = clean + noise(4) * 0.05
    (found, *_) = lines_in(picture)
    ridge = sato(clean.astype(float), sigmas=[1.0], black_ridges=False).astype(np.float32)
    across = np.arange(-4, 4.1, 0.25)
    inner = found.curve[8:-8]
    peak = across[strip(ridge, inner, across).argmax(axis=1)]
    assert np.abs(peak).max() <= 0.5


def test_a_ridge_filter_misses_what_the_bank_finds():
    # one rule for both (nothing in the noise alone): Hessian ridges have no reach along the line
    picture = noise(5) + line(60.0, 90, 1.7)
    alone = sato(noise(6).astype(float), sigmas=[1.0], black_ridges=False)[SCORED].max()
    ridge = sato(picture.astype(float), sigmas=[1.0], black_ridges=False)
    on = line(60.0, 90, 1.0) > 0.8
    assert (ridge[on] > alone).mean() < 0.1
    assert lines_in(picture)


def test_noise_alone_gives_no_line():
    # a line of noise passes 6 in fewer than one picture in fifty, and 7 far less often: chance of failing below 0.02
    for seed in range(10):
        picture = noise(50 + seed)
        assert lines_in(picture) == []


def test_lines_beside_a_line_are_told_as_a_comb():
    y = np.mgrid[:ROWS, :COLUMNS][0]
    ridges = noise(8) * 0.7 + np.cos(2 * np.pi * y / 5.3).astype(np.float32) * (np.abs(y - 160) < 30)
    (beside,) = candidates([replace(search_of(ridges), least_snr=2.0)])
    assert max(one.comb for one in beside) > 0.4
    assert lines_in(noise(8) * 0.3 + line(60.0, 90, 1.7))[0].comb < 0.2


@pytest.mark.parametrize(("aside_px", "spans"), [(0, 2), (4, 2), (0, 3)])
def test_lines_in_a_row_with_gaps_between_them_are_as_many(aside_px, spans):
    y, x = np.mgrid[:ROWS, :COLUMNS]
    row = np.where(x < 150, 160, 160 - aside_px)
    told = [[100, 140], [165, 205], [230, 270]][:spans]
    there = sum((x >= first) & (x < last) for first, last in told)
    picture = noise(3) * 0.5 + (6 * np.exp(-0.5 * ((y - row) / 0.8) ** 2) * there).astype(np.float32)
    ends = sorted(sorted(round(e / 5) * 5 for e in c.curve[[0, -1], 0]) for c in lines_in(picture))
    assert ends == told


def straight(first: float, last: float, row: float, snr: float) -> Candidate:
    columns = np.arange(first, last + 1.0)
    return level(np.column_stack((columns, np.full(len(columns), row))), snr)


def level(curve: np.ndarray, snr: float) -> Candidate:
    """A line that stands out as far all along."""
    return Candidate(curve, snr, np.full(len(curve), snr / np.sqrt(len(curve))))


def test_of_lines_along_each_other_the_strongest_stands_carried_on_by_the_others():
    strong, apart = straight(50, 90, 100, 12.0), straight(50, 90, 140, 7.0)
    # the second runs the other way; the third goes on from it; the last is too weak to be believed
    back, on, faint = straight(70, 120, 101, 9.0), straight(95, 150, 100, 8.0), straight(30, 90, 100, 5.0)
    back = level(back.curve[::-1], back.snr)
    found = joined([strong, back, on, apart, faint], (ROWS, COLUMNS))
    ends = [(round(c.curve[:, 0].min()), round(c.curve[:, 0].max()), c.snr) for c in found]
    assert ends == [(50, 150, 12.0), (50, 90, 7.0)]
    steps = np.hypot(*np.diff(found[0].curve, axis=0).T)
    assert 0.9 <= steps.min() <= steps.max() <= 1.1


def test_what_does_not_stand_out_beyond_an_end_is_not_joined_on():
    strong, other = straight(50, 90, 100, 12.0), straight(75, 105, 100, 7.0)
    # all of the other's height lies on what both share
    other = replace(other, heights=np.where(other.curve[:, 0] <= 90, 2.4, 0.0))
    (found,) = joined([strong, other], (ROWS, COLUMNS))
    np.testing.assert_allclose(found.curve, strong.curve)


def test_a_line_that_crosses_another_at_a_small_angle_carries_neither_on():
    strong = straight(50, 150, 100, 12.0)
    columns = np.arange(60.0, 146.0)
    other = level(np.column_stack((columns, 100 + 0.1 * (columns - 75))), 9.0)
    (found,) = joined([strong, other], (ROWS, COLUMNS))
    np.testing.assert_allclose(found.curve, strong.curve)


def test_profiles_are_unit_and_blind_to_a_level():
    for profile in (line_profile(4, 0, 0.8), step_profile(4, 0.8)):
        assert profile @ profile == pytest.approx(1.0)
        assert profile.sum() == pytest.approx(0.0, abs=1e-12)
    assert line_profile(4, 0, 0.8) @ step_profile(4, 0.8) == pytest.approx(0.0, abs=1e-12)


@given(st.integers(2, 40), st.floats(0.3, 3.0))
def test_resampling_keeps_the_ends_and_evens_the_steps(count, step):
    t = np.linspace(0, 1, count)
    curve = np.column_stack((10 * t**2, 5 * np.sin(3 * t)))
    out = resample(curve, step)
    np.testing.assert_allclose(out[[0, -1]], curve[[0, -1]], atol=1e-9)
    chords = np.hypot(*np.diff(out, axis=0).T)
    assert chords.max() <= 1.6 * step + 1e-9
