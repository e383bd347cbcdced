"""Decision risk on the lot's own distribution: the standard's worked example, and lots with known truth."""

import numpy as np
import pytest
from scipy.stats import gamma, norm

from app.report.risk_charts import figure_words, risk_chart, risk_words
from app.statistics.deconvolution import true_values
from app.studies.camera_and_people import PieceKey
from app.studies.capability_study import study_capability
from app.studies.columns import PieceColumns, columns_of
from app.studies.decision_risk import study_risk
from tests.studies.lots import columns_of_lengths
from vision.records.inputs import Limit, Limits
from vision.records.judged import JudgedPiece

LIMITS = Limits("TS-135", 1, "draft", 0.95, (Limit("length_mm", "major", max=1.0), Limit("bend_deg", "major", max=1.0)))


def lot(values: np.ndarray, u: float) -> PieceColumns:
    """Pieces that have a length and a bend, (pieces, 2)."""
    names = ("length_mm", "bend_deg")
    return columns_of(
        (
            PieceKey(f"T-{k // 20}", k),
            JudgedPiece(k, "pass", (), None, None, dict(zip(names, row, strict=True)), dict.fromkeys(names, u), (), ()),
        )
        for k, row in enumerate(values.tolist())
    )


def example(true: np.ndarray, u: float, limit: Limit, guard: float) -> tuple[float, float]:
    """Consumer's and producer's risk told of a lot whose pieces are measured once.

    `guard`: how far within the limits a piece is accepted. What lies in it the standard rejects, and we review.
    """
    seen = true + u * norm.ppf((np.random.default_rng(5).permutation(len(true)) + 0.5) / len(true))
    limits = Limits("TS-135", 1, "draft", float(norm.cdf(guard / u)), (limit,))
    (one,) = study_risk(columns_of_lengths(seen, u), limits)
    return one.now.consumer, one.now.producer


def test_global_risks_of_the_standards_bearings_and_resistors() -> None:
    """JCGM 106:2012, 9.5 (inputs as quoted elsewhere): the risks of a whole lot of 4000, told from its measured values.

    Ball bearings: at most 2 um, made as gamma(4) of mean 1, measured with 0.25: 0.8 % and 1.7 % without a guard band
    (the first is the standard's, both recomputed). Resistors: 1500 +- 0.2 ohm, made with 0.12, measured with 0.04,
    accepted within 0.18: 1.0 % (recomputed; the standard's as remembered: 1 %).
    """
    even = (np.arange(4000) + 0.5) / 4000
    consumer, producer = example(gamma.ppf(even, 4.0, scale=0.25), 0.25, Limit("length_mm", "major", max=2.0), 0.0)
    assert consumer == pytest.approx(0.0080, abs=0.002)
    assert producer == pytest.approx(0.0174, abs=0.003)
    resistors = Limit("length_mm", "major", min=1499.8, max=1500.2)
    consumer, _ = example(1500.0 + 0.12 * norm.ppf(even), 0.04, resistors, 0.02)
    assert consumer == pytest.approx(0.0099, abs=0.002)


def test_measurement_uncertainty_is_taken_out() -> None:
    rng = np.random.default_rng(6)
    true = np.where(rng.random(2000) < 0.9, rng.normal(0.0, 0.3, 2000), rng.normal(2.0, 0.2, 2000))
    u = np.full(2000, 0.3)
    found = true_values(true + rng.normal(0.0, 0.3, 2000), u)
    assert found is not None
    mean = found.weight @ found.at
    spread = np.sqrt(found.weight @ (found.at - mean) ** 2)
    # the spread of the measured values is larger by 10 %
    assert spread == pytest.approx(true.std(), rel=0.04)


def test_risks_are_those_of_the_truth() -> None:
    """2500 pieces of two measures: shares of 0.4 to 3 % are seen with standard errors of 0.13 to 0.34 %.

    Four of those are allowed; the draws are fixed.
    """
    rng = np.random.default_rng(7)
    true = rng.normal(0.6, 0.2, (2500, 2))
    u = 0.08
    seen = true + rng.normal(0.0, u, true.shape)
    found = study_risk(lot(seen, u), LIMITS)
    assert [one.name for one in found] == ["all limits together", "length_mm", "bend_deg"]
    guard = 1.645 * u
    for one, bad, passed, rejected in (
        (found[0], (true > 1.0).any(axis=1), (seen <= 1.0 - guard).all(axis=1), (seen > 1.0 + guard).any(axis=1)),
        (found[1], true[:, 0] > 1.0, seen[:, 0] <= 1.0 - guard, seen[:, 0] > 1.0 + guard),
    ):
        assert one.bad == pytest.approx(bad.mean(), abs=0.012)
        assert one.now.consumer == pytest.approx((passed & bad).mean(), abs=0.004)
        assert one.now.producer == pytest.approx((rejected & ~bad).mean(), abs=0.004)
        assert one.now.reviewed == pytest.approx((~passed & ~rejected).mean(), abs=0.03)
    for one in found:
        assert (np.diff([risk.consumer for risk in one.curve]) <= 1e-12).all()
        assert (np.diff([risk.producer for risk in one.curve]) <= 1e-12).all()
    assert "<svg" in risk_chart(found[0])
    assert "all limits together" in risk_words(found[0])


def test_a_lot_without_what_the_limits_bound_has_no_risk() -> None:
    nothing = Limits("TS-135", 1, "draft", 0.95, (Limit("width_mm", "major", max=1.0),))
    assert study_risk(lot(np.zeros((5, 2)), 0.1), nothing) == ()


def test_capability_is_told_of_each_measured_limit() -> None:
    rng = np.random.default_rng(8)
    rows = study_capability(lot(rng.normal(0.4, 0.2, (260, 2)), 0.05), LIMITS)
    assert [one.name for one in rows] == ["length_mm", "bend_deg"]
    assert rows[0].found.ppk.value == pytest.approx(1.0, abs=0.15)
    assert rows[0].found.pp.value is None
    assert figure_words(rows[0].found.pp) == "–"
    assert "to" in figure_words(rows[0].found.ppk)
