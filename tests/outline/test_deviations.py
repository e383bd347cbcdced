"""Places, deviations, bumps and holes from exact points, without any frame."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from synthetic_images.spoons import DESSERT_SPOON, TEASPOON, Pattern, outline
from vision.geometry.rigid import Motion
from vision.outline.bumps import find_bumps
from vision.outline.holes import Rim, measure_holes
from vision.outline.nominal import Nominal, prepare_nominal
from vision.outline.placement import find_placement
from vision.outline.profile import make_profile, raw_profile
from vision.outline.zone_measures import OpticsLeft, extent, outline_seen
from vision.records.inputs import Array, Part, Station, Zone


def part_of(pattern: Pattern) -> Part:
    """A pattern of the renderer as a part without holes."""
    zones = tuple(Zone(zone.name, zone.x_mm, zone.datum, zone.bend) for zone in pattern.zones)
    return Part(pattern.part, pattern.name, np.array(outline(pattern).points_mm), (), zones, None)


PART = part_of(TEASPOON)
STATION = Station("ST-1", np.diag((0.05, -0.05, 1.0)), None, None, 0.0005, 1e-5)


def nominal() -> Nominal:
    return prepare_nominal(PART, 0.05)


def moved_out(off: Array | float) -> Array:
    """The nominal's points moved along their outward normals."""
    drawn = nominal()
    return drawn.points + np.broadcast_to(off, len(drawn.points))[:, None] * drawn.normals


@settings(deadline=None, max_examples=25)
@given(angle=st.floats(-3.1, 3.1), x=st.floats(-200, 200), y=st.floats(-200, 200), grown=st.floats(-0.1, 0.1))
def test_a_piece_is_placed_wherever_it_lies_and_growth_is_not_absorbed(
    angle: float, x: float, y: float, grown: float
) -> None:
    lain = Motion(angle, (x, y)).apply(moved_out(grown))
    placement = find_placement(lain, nominal())
    assert placement is not None
    back = placement.datum.motion.apply(lain)
    assert np.abs(back - moved_out(grown)).max() < 0.001
    assert placement.datum.offset_mm == pytest.approx(grown, abs=0.0003)


@pytest.mark.parametrize("delta", [0.02, -0.035])
def test_profile_of_a_line_of_an_offset_outline_is_twice_the_offset(delta: float) -> None:
    # ISO 1101 and ISO 1660: the zone is enveloped by circles centred on the exact profile, so its width is twice the
    # largest normal distance, and an outline off by d all along has a profile-of-a-line value of 2 d.
    raw, seen = raw_profile(moved_out(delta), Motion(0.0, (0.0, 0.0)), nominal())
    assert seen.all()
    assert 2 * np.abs(raw).max() == pytest.approx(2 * abs(delta), abs=2e-4)


@settings(deadline=None, max_examples=20)
@given(
    height=st.floats(0.02, 0.5),
    outward=st.booleans(),
    sigma=st.floats(0.35, 2.0),
    at=st.floats(0.0, 1.0, exclude_max=True),
)
def test_a_bell_is_found_with_its_height_length_and_place(
    height: float, outward: bool, sigma: float, at: float
) -> None:
    drawn = nominal()
    count = len(drawn.points)
    steps = (np.arange(count) - round(at * count) + count // 2) % count - count // 2
    signed = height if outward else -height
    raw = signed * np.exp(-0.5 * (steps * drawn.step_mm / sigma) ** 2)
    raw = raw + np.random.default_rng(3).normal(0, 0.0006, count)
    profile = make_profile(raw, np.ones(count, bool), drawn, 0.0)
    (bump,) = find_bumps(profile.raw, profile, drawn, np.zeros(count))
    assert bump.height_mm == pytest.approx(signed, rel=0.02, abs=0.001)
    assert bump.sigma_mm == pytest.approx(sigma, rel=0.05)
    assert abs((bump.index - round(at * count) + count // 2) % count - count // 2) * drawn.step_mm < 0.15
    assert bump.kind == ("burr" if outward else "nick")
    # The smoothed profile keeps the bell's top.
    top = profile.value.max() if outward else profile.value.min()
    assert top == pytest.approx(signed, rel=0.01, abs=0.0015)


def test_noise_alone_gives_no_bump_and_hardly_any_deviation() -> None:
    # 3 seeds of 5999 points at six standard deviations: chance of a false bump about 1 in 10,000.
    drawn = nominal()
    for seed in range(3):
        raw = np.random.default_rng(seed).normal(0, 0.0015, len(drawn.points))
        profile = make_profile(raw, np.ones(len(raw), bool), drawn, 0.0)
        assert find_bumps(raw, profile, drawn, np.zeros(len(raw))) == ()
        assert np.abs(profile.value).max() < 0.0015


@pytest.mark.parametrize("first", [1, 1500, 4000])
def test_a_zone_is_as_wide_wherever_the_drawing_begins(first: int) -> None:
    spoon = part_of(DESSERT_SPOON)
    turned = np.roll(spoon.outline, -first, axis=0)
    midway = np.vstack(((0.6 * turned[0] + 0.4 * turned[1])[None], turned[1:], turned[:1]))
    begun = replace(spoon, outline=midway)
    assert widths(prepare_nominal(begun, 0.05)) == pytest.approx(widths(prepare_nominal(spoon, 0.05)), abs=1e-4)


def widths(drawn: Nominal) -> list[float]:
    """Widths of all zones of a perfect piece."""
    raw, seen = raw_profile(drawn.points, Motion(0.0, (0.0, 0.0)), drawn)
    profile = make_profile(raw, seen, drawn, 0.0)
    shape = outline_seen(drawn, profile, np.zeros(len(raw)), STATION, None, OpticsLeft(0.0, 0.0, None))
    return [extent(shape, 1, zone).value or 0.0 for zone in range(len(drawn.part.zones))]


def test_geometric_circle_fit_of_gander_golub_and_strebel() -> None:
    # Gander, Golub and Strebel 1994, BIT 34:558: the six points' geometric fit has its centre at (4.7398, 2.9835) and
    # a radius of 4.7142.
    points = np.array([[1.0, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]])
    turn = np.linspace(0, 2 * np.pi, 3000, endpoint=False)
    drawn = np.array([4.5, 3.2]) + 4.9 * np.column_stack((np.cos(turn), np.sin(turn)))
    part = Part("X", "X", PART.outline, (drawn,), PART.zones, None)
    # Points on one side only: each stands for two, so that there are enough of them to be taken for a rim.
    rim = Rim(np.vstack((points, points)), 0.0)
    offset, error = measure_holes([rim], Motion(0.0, (0.0, 0.0)), 0.0, part, STATION)
    assert offset.value == pytest.approx(np.hypot(4.7398 - 4.5, 2.9835 - 3.2), abs=1e-3)
    assert error.value == pytest.approx(2 * (4.7142 - 4.9), abs=1e-3)


def test_without_a_hole_in_sight_its_measures_are_missing() -> None:
    drawn = np.array([120.0, 0.0]) + 2 * np.column_stack((np.cos(np.arange(6.0)), np.sin(np.arange(6.0))))
    part = Part("X", "X", PART.outline, (drawn,), PART.zones, None)
    assert [m.value for m in measure_holes([], Motion(0.0, (0.0, 0.0)), 0.0, part, STATION)] == [None, None]
