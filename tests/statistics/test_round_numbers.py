"""Numbers that a person would write: between two, as steps, and in grids."""

import pytest

from app.statistics.round_numbers import grid, round_step, roundest


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(0.1431, 0.1587, 0.15), (0.0, 1.0, 0.5), (134.912, 134.914, 134.913), (-0.52, -0.48, -0.5), (3.0, 4.0, 3.5)],
)
def test_roundest_number_between_two(low: float, high: float, expected: float) -> None:
    assert roundest(low, high) == expected


def test_round_steps_and_grids() -> None:
    assert round_step(1.0, 10) == pytest.approx(0.1)
    assert round_step(0.9, 4) == pytest.approx(0.5)
    points = grid(0.0, 14.3, 120)
    assert points[0] == 0.0
    assert points[-1] >= 14.3
    assert len(points) <= 122
