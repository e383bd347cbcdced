"""What errors that differ along an outline do to largest deviations and to sizes."""

from dataclasses import replace

import numpy as np
import pytest

from vision.outline.place_errors import PlaceErrors

PLACES = 20


def errors(sd_mm: float) -> PlaceErrors:
    """Independent errors of one size at even places; each point of the outline is a place."""
    step = np.arange(PLACES, dtype=np.float64)
    alone = np.full(PLACES, sd_mm)
    return PlaceErrors(step, PLACES, sd_mm * np.eye(PLACES), 0.0, alone, np.arange(PLACES))


def test_the_largest_of_a_level_zone_grows_as_its_errors_do() -> None:
    # What a level zone shows is errors alone. By chance its values spread less or more than these do on average.
    rng = np.random.default_rng(1)
    shown = rng.normal(size=(60, PLACES))
    grown = float(np.sqrt(np.mean(shown.max(axis=1) ** 2)))
    told = [errors(1.0).of_largest(values, np.arange(PLACES)) for values in shown]
    assert 0.75 * grown < np.mean(told) < 1.1 * grown


def test_the_largest_of_a_zone_with_one_bump_errs_as_its_place_does() -> None:
    values = np.zeros(PLACES)
    values[7] = 50.0
    assert errors(1.0).of_largest(values, np.arange(PLACES)) == pytest.approx(1.0, rel=0.1)


def test_a_size_takes_both_ends_deviations() -> None:
    alike = replace(errors(1.0), deviation_mm=np.ones((PLACES, 1)))
    assert alike.of_extent(2, 12) == pytest.approx(2.0)
    assert errors(1.0).of_extent(2, 12) == pytest.approx(np.sqrt(2.0))
    # A shift moves one end out and the other in.
    facing = np.where(np.arange(PLACES) < PLACES // 2, 1.0, -1.0)[:, None]
    assert replace(errors(1.0), deviation_mm=facing).of_extent(2, 12) == pytest.approx(0.0)
