"""Trends of wear: slopes and their intervals, strokes left, regrinds; against a reference library and by simulation."""

import numpy as np
import pytest
from scipy import stats

from app.study.die_study import zone_bounds
from app.study.die_wear import put_together, study_die, wear_map
from app.study.wear_trend import regrinds, strokes_left, trend
from vision.records.given import Limit, Limits

RATE, SCATTER = 2e-7, 0.004


def course(rng: np.random.Generator, trays: int, regrind: float | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Strokes and values of a die that wears evenly over 400,000 strokes."""
    strokes = np.linspace(0.0, 400_000.0, trays)
    since = strokes if regrind is None else np.where(strokes < regrind, strokes, strokes - regrind)
    return strokes, 0.01 + RATE * since + rng.normal(0.0, SCATTER, trays)


def test_the_slope_is_theil_and_sens() -> None:
    # Against the reference library's theilslopes (Theil 1950; Sen 1968).
    strokes, values = course(np.random.default_rng(1), 25)
    found = trend(strokes, values)
    assert found is not None
    slope, _, low, high = stats.theilslopes(values, strokes, 0.95)
    assert (found.slope, *found.slope_ci) == (slope, low, high)
    stray = values.copy()
    stray[7] += 0.5
    assert trend(strokes, stray).slope == pytest.approx(slope, abs=0.1 * RATE)  # type: ignore[union-attr]


def test_intervals_hold_as_often_as_they_say() -> None:
    # 200 dies at 95 %: fewer than 180 by a chance of about 1 in 400 were they exact; theirs is a little wider.
    held, told = 0, 0
    for seed in range(200):
        strokes, values = course(np.random.default_rng(seed), 30)
        found = trend(strokes, values)
        assert found is not None
        held += found.slope_ci[0] <= RATE <= found.slope_ci[1]
        left = strokes_left(found, 400_000.0, 0.15)
        assert left.ci is not None
        told += left.ci[0] <= (0.15 - 0.01) / RATE - 400_000.0 <= left.ci[1]
    assert held >= 180
    assert told >= 180


@pytest.mark.parametrize(
    ("trays", "rate", "limit", "word"),
    [
        (6, RATE, 0.15, "too few trays"),
        (30, 0.0, 0.15, "no wear seen"),
        (30, RATE, 0.05, "already reached"),
        (30, RATE, 0.50, "too far to tell"),
        (30, RATE, 0.15, "told"),
        (30, -RATE, -0.15, "told"),
    ],
)
def test_what_can_not_be_told_is_said(trays: int, rate: float, limit: float, word: str) -> None:
    rng = np.random.default_rng(3)
    strokes = np.linspace(0.0, 400_000.0, trays)
    found = trend(strokes, rate * strokes + rng.normal(0.0, SCATTER, trays))
    assert strokes_left(found, 400_000.0, limit).word == word


def test_a_regrind_is_found_within_two_hundredths_of_the_strokes() -> None:
    rng = np.random.default_rng(9)
    for seed in range(20):
        at = float(rng.uniform(120_000.0, 280_000.0))
        found = regrinds(*course(np.random.default_rng(seed), 50, regrind=at), seed)
        assert len(found) >= 1
        assert min(abs(one - at) for one in found) < 8_000.0


def test_a_die_without_a_regrind_shows_none() -> None:
    # 100 dies at 1 false find in 100 stretches: more than 5 by a chance of about 5 in 10,000.
    false = sum(bool(regrinds(*course(np.random.default_rng(seed), 40), seed)) for seed in range(100))
    assert false <= 5


def test_too_few_trays_are_no_trend() -> None:
    assert trend(np.array([0.0, 1.0]), np.zeros(2)) is None
    assert trend(np.zeros(5), np.arange(5.0)) is None
    assert regrinds(np.arange(6.0), np.arange(6.0)) == ()


def history(rng: np.random.Generator, rate_at: np.ndarray, trays: int = 30):  # type: ignore[no-untyped-def]
    s_mm = np.arange(0.0, 300.0, 0.5)
    strokes = np.linspace(0.0, 400_000.0, trays)
    # Deviations of neighbouring places go together, as smoothed profiles do.
    noise = np.array([np.convolve(rng.normal(0.0, 0.003, len(s_mm) + 8), np.ones(9) / 3.0, "valid") for _ in strokes])
    made = [(f"T-{k:03}", s, 3, rate_at * s + noise[k]) for k, s in enumerate(strokes)]
    zone = tuple("bowl" if s < 120.0 else "handle" for s in s_mm)
    return put_together(made[::-1], s_mm, zone, "D1")


def test_the_map_shows_where_a_die_wears_and_nothing_on_a_clean_one() -> None:
    places = np.arange(0.0, 300.0, 0.5)
    worn = wear_map(history(np.random.default_rng(4), np.where((places > 60.0) & (places < 80.0), 3e-7, 0.0)))
    assert worn is not None
    assert worn.worn[125:155].all()
    assert not worn.worn[:100].any()
    assert not worn.worn[180:].any()
    assert worn.rate_mm[130:150] == pytest.approx(0.03, abs=0.004)
    # 40 clean dies at 5 in 100: more than 7 with any place worn by a chance of about 1 in 1000 (Bonferroni is careful).
    clean = [wear_map(history(np.random.default_rng(100 + k), np.zeros(600))) for k in range(40)]
    assert sum(bool(one is not None and one.worn.any()) for one in clean) <= 7


def test_a_die_is_studied_in_its_most_telling_zone() -> None:
    places = np.arange(0.0, 300.0, 0.5)
    limits = Limits(
        "P",
        1,
        "draft",
        0.95,
        (Limit("outline_out_mm", "major", max=0.15), Limit("outline_in_mm", "minor", "bowl", max=0.1)),
    )
    bounds = zone_bounds(limits, ("bowl", "handle"))
    assert bounds == {"bowl": (-0.1, 0.15), "handle": (None, 0.15)}
    found = study_die(history(np.random.default_rng(5), np.where(places > 120.0, 2e-7, 0.0)), bounds)
    assert (found.zone, found.limit_mm, found.breaks) == ("handle", 0.15, ())
    assert found.trend is not None
    assert found.trend.slope_ci[0] < 2e-7 < found.trend.slope_ci[1]
    assert found.left is not None
    assert found.left.left == pytest.approx(0.15 / 2e-7 - 400_000.0, rel=0.05)
