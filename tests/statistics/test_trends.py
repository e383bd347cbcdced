"""Trends of wear: slopes and their intervals, strokes left, regrinds; against a reference library and by simulation."""

import numpy as np
import pytest
from scipy.linalg import toeplitz
from scipy.stats import norm
from statsmodels.api import GLS, RLM, add_constant
from statsmodels.robust import norms

from app.report.die_charts import trend_chart
from app.statistics import breaks
from app.statistics.breaks import regrinds
from app.statistics.places import Ground, Mark
from app.statistics.run_length import cusum_run_length, ewma_run_length
from app.statistics.trends import LIKENESS, fit_lines, strokes_left, trend, whitened
from app.studies.die_study import chart_widths, study_dies, zone_bounds
from app.studies.die_wear import DieTray, put_together, study_die
from tests.statistics.trend_simulation import simulate
from vision.records.inputs import Limit, Limits

RATE, SCATTER = 2e-7, 0.004
GROUND = Ground(300.0, 800.0)


def course(rng: np.random.Generator, trays: int, regrind: float | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Strokes and values of a die that wears evenly over 400,000 strokes."""
    strokes = np.linspace(0.0, 400_000.0, trays)
    since = strokes if regrind is None else np.where(strokes < regrind, strokes, strokes - regrind)
    return strokes, 0.01 + RATE * since + rng.normal(0.0, SCATTER, trays)


def test_lines_are_generalized_least_squares() -> None:
    # Against statsmodels' GLS with the correlations r^|i - j| of an autoregression.
    strokes, values = course(np.random.default_rng(1), 25)
    design = add_constant(strokes / 4e5)
    found = fit_lines(design, values)
    for k, likeness in enumerate(LIKENESS):
        theirs = GLS(values, design, sigma=toeplitz(likeness ** np.arange(25.0))).fit()
        assert found.beta[k] == pytest.approx(theirs.params, rel=1e-8)
        assert found.cov[k] == pytest.approx(theirs.cov_params(), rel=1e-8)


def test_one_stray_tray_hardly_moves_the_slope() -> None:
    strokes, values = course(np.random.default_rng(1), 25)
    stray = values.copy()
    stray[7] += 0.5
    assert trend(strokes, stray).slope == pytest.approx(trend(strokes, values).slope, abs=0.1 * RATE)  # type: ignore[union-attr]


def test_a_step_of_calibration_is_fitted_and_told() -> None:
    strokes, values = course(np.random.default_rng(2), 40)
    names = ["ST-1, calibration 1"] * 22 + ["ST-1, calibration 2"] * 18
    found = trend(strokes, values + np.where(np.arange(40) < 22, 0.03, 0.0), factors=names)
    assert found is not None
    (step,) = found.steps
    assert step.name == "ST-1, calibration 1"
    assert step.ci[0] < 0.03 < step.ci[1]
    assert found.slope_ci[0] < RATE < found.slope_ci[1]
    assert regrinds(strokes, values + np.where(np.arange(40) < 22, 0.03, 0.0), factors=names) == ()


@pytest.mark.parametrize("kind", ["independent", "likeness 0.6", "daily shifts", "calibration step"])
def test_noise_of_many_kinds_makes_no_wear_and_no_change(kind: str) -> None:
    """Forty trays, 12 dies of each kind: the full table is trend_simulation's.

    At 5 % false wear more than 3 of 12 come by a chance of 0.2 %, at 2 % false changes more than 2 of 0.2 %, at 95 %
    fewer than 9 intervals that hold of 0.2 %; the draws are fixed.
    """
    found = simulate(kind, 40, 12)
    assert found.worn <= 3 / 12
    assert found.changed <= 2 / 12
    assert found.held >= 9 / 12


def test_intervals_hold_as_often_as_they_say() -> None:
    # 100 dies at 95 %: fewer than 88 by a chance of about 1 in 250; the draws are fixed.
    held, told = 0, 0
    for seed in range(100):
        strokes, values = course(np.random.default_rng(seed), 30)
        found = trend(strokes, values)
        assert found is not None
        held += found.slope_ci[0] <= RATE <= found.slope_ci[1]
        left = strokes_left(found, 400_000.0, 0.15)
        assert left.ci is not None
        told += left.ci[0] <= (0.15 - 0.01) / RATE - 400_000.0 <= left.ci[1]
    assert held >= 88
    assert told >= 88


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
    # 40 dies at 1 false find in 100 stretches: more than 3 by a chance of about 7 in 10,000.
    false = sum(bool(regrinds(*course(np.random.default_rng(seed), 40), seed)) for seed in range(40))
    assert false <= 3


def test_the_slope_is_close_to_a_robust_regression() -> None:
    # Against statsmodels' RLM with Huber's weights: another robust line through the same trays, five of them stray.
    strokes, values = course(np.random.default_rng(12), 40)
    values[::8] += 0.05
    found = trend(strokes, values)
    other = RLM(values, add_constant(strokes / 1e5), M=norms.HuberT()).fit()
    assert found is not None
    assert found.slope * 1e5 == pytest.approx(other.params[1], abs=2.5 * other.bse[1])


@pytest.mark.parametrize("trays", [8, 12, 30])
def test_the_band_holds_one_more_tray(trays: int) -> None:
    # 100 dies at 95 %: fewer than 87 by a chance of about 1 in 1000.
    held = 0
    for seed in range(100):
        rng = np.random.default_rng([trays, seed])
        strokes, values = course(rng, trays)
        found = trend(strokes, values)
        assert found is not None
        held += abs(0.01 + RATE * 440_000.0 + rng.normal(0.0, SCATTER) - found.value(440_000.0)) <= found.reach(
            440_000.0
        )
    assert held >= 87


def test_zones_share_the_chance_of_a_false_trend() -> None:
    strokes, values = course(np.random.default_rng(6), 30)
    one, of_four = trend(strokes, values), trend(strokes, values, zones=4)
    assert one is not None
    assert of_four is not None
    assert of_four.slope_ci[0] < one.slope_ci[0] < one.slope_ci[1] < of_four.slope_ci[1]


def test_thousands_of_trays_are_followed_as_well() -> None:
    strokes, values = course(np.random.default_rng(8), 4_000, regrind=180_000.0)
    (at,) = regrinds(strokes, values)
    assert at == pytest.approx(180_000.0, abs=8_000.0)
    later = strokes > at
    found = trend(strokes[later], values[later])
    assert found is not None
    assert found.slope == pytest.approx(RATE, rel=0.03)
    assert found.scatter == pytest.approx(SCATTER, rel=0.1)


def test_a_change_gains_what_two_fitted_lines_gain() -> None:
    # Against least squares of the whitened trays, line by line, for every likeness and split.
    strokes, values = course(np.random.default_rng(10), 20)
    line = add_constant(strokes / 4e5)
    splits = np.arange(5, 16)

    def best(designs: list[np.ndarray]) -> float:
        found = []
        for likeness in breaks._COARSE:
            y = whitened(values, likeness)
            for design in designs:
                x = whitened(design, likeness)
                left = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
                found.append(np.log(1.0 - likeness**2) - 20 * np.log((left**2).sum()))
        return float(max(found))

    two = [np.column_stack([line, line * (np.arange(20) >= split)[:, None]]) for split in splits]
    assert breaks._gains(line, splits, values[:, None])[1][0] == pytest.approx(best(two) - best([line]))


def test_too_few_trays_are_no_trend() -> None:
    assert trend(np.array([0.0, 1.0]), np.zeros(2)) is None
    assert trend(np.zeros(5), np.arange(5.0)) is None
    assert regrinds(np.arange(6.0), np.arange(6.0)) == ()


def history(rng: np.random.Generator, rate_at: np.ndarray, trays: int = 30):  # type: ignore[no-untyped-def]
    s_mm = np.arange(0.0, 300.0, 0.5)
    strokes = np.linspace(0.0, 400_000.0, trays)
    # Deviations of neighbouring places go together, as smoothed profiles do.
    noise = np.array([np.convolve(rng.normal(0.0, 0.003, len(s_mm) + 8), np.ones(9) / 3.0, "valid") for _ in strokes])
    made = [DieTray(f"T-{k:03}", s, 3, rate_at * s + noise[k]) for k, s in enumerate(strokes)]
    zone = tuple("bowl" if s < 120.0 else "handle" for s in s_mm)
    return put_together(made[::-1], s_mm, zone, "D1")


def test_the_map_shows_where_a_die_wears_and_nothing_on_a_clean_one() -> None:
    places = np.arange(0.0, 300.0, 0.5)
    worn = study_die(history(np.random.default_rng(4), np.where((places > 60.0) & (places < 80.0), 3e-7, 0.0)), {}).map
    assert worn is not None
    assert worn.worn[125:155].all()
    assert not worn.worn[:100].any()
    assert not worn.worn[180:].any()
    assert worn.rate_mm[130:150] == pytest.approx(0.03, abs=0.004)
    # 40 clean dies at 5 in 100: more than 7 with any place worn by a chance of about 1 in 1000.
    clean = [study_die(history(np.random.default_rng(100 + k), np.zeros(600)), {}).map for k in range(40)]
    assert sum(bool(one is not None and one.worn.any()) for one in clean) <= 7


def test_a_tray_that_shows_nothing_of_a_zone_costs_only_itself() -> None:
    places = np.arange(0.0, 300.0, 0.5)
    whole = history(np.random.default_rng(11), np.where(places < 120.0, 3e-7, 0.0))
    whole.deviation_mm[7, :240] = np.nan
    found = study_die(whole, {"bowl": (None, 0.15), "handle": (None, 0.15)})
    assert (found.zone, found.breaks) == ("bowl", ())
    assert found.trend is not None
    assert found.trend.trays == 29
    assert found.trend.slope == pytest.approx(3e-7, rel=0.05)
    assert "<svg" in trend_chart(found)


@pytest.mark.parametrize("trays", [8, 14])
def test_charts_of_few_trays_seldom_alarm_without_cause(trays: int) -> None:
    # Their run lengths give an alarm in less than 3 dies of 100. Of 60, more than 7 by a chance of about 1 in 1000.
    alarms = {"mean": 0, "sums": 0}
    for seed in range(60):
        rng = np.random.default_rng([30, trays, seed])
        strokes, values = course(rng, trays)
        made = [DieTray(f"T-{k:02}", strokes[k], 3, np.full(10, values[k])) for k in range(trays)]
        one = put_together(made, np.arange(10.0), ("bowl",) * 10, "D1")
        charts = study_dies((one,), (), {"D1": 3 * trays}, GROUND, None).charts["D1"]
        alarms["mean"] += bool(charts.mean.outside.any())
        alarms["sums"] += bool(charts.sums.outside.any())
    assert max(alarms.values()) <= 7


def test_counts_of_marks_are_of_trays_and_pieces() -> None:
    one = history(np.random.default_rng(31), np.full(600, 2e-7), trays=10)
    marks = [Mark("nick", 10.0, 0.0, "T-003", 1, "D1"), Mark("burr", 90.0, 0.0, "T-003", 1, "D1")]
    charts = study_dies((one,), [*marks, Mark("pit", 5.0, 0.0, "T-004", 1, "D1")], {"D1": 30}, GROUND, None).charts[
        "D1"
    ]
    assert charts.marks.points.tolist() == pytest.approx([0.0, 0.0, 0.0, 2 / 3, *[0.0] * 6])
    assert charts.marked.points.tolist() == pytest.approx([0.0, 0.0, 0.0, 1 / 3, *[0.0] * 6])


def test_sums_run_as_long_as_the_report_says() -> None:
    # Five charts together once in 370 trays: each alone once in 1850.
    widths = chart_widths()
    assert cusum_run_length(0.0, 0.5, widths.sums) == pytest.approx(1850.0, rel=0.01)
    assert ewma_run_length(0.0, 0.2, widths.mean) == pytest.approx(1850.0, rel=0.01)
    assert 1 / (2 * norm.sf(widths.single)) == pytest.approx(1850.0)


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
