"""ROC areas and DeLong's interval against published data."""

import numpy as np
import pytest

from app.statistics.roc import placements, roc_area, roc_curve
from tests.statistics.published import NDKA, POOR, S100B, WFNS


@pytest.mark.parametrize(
    ("marker", "area", "low", "high"),
    [
        # R pROC 1.18.0, ci(roc(aSAH$outcome, ...)), DeLong; s100b also in its documentation
        (S100B, 0.7313686, 0.6301182, 0.8326189),
        (WFNS, 0.8236789, 0.7485349, 0.8988228),
        (NDKA, 0.6119580, 0.5012450, 0.7226710),
    ],
)
def test_area_and_interval_of_the_published_brain_injury_data(
    marker: np.ndarray, area: float, low: float, high: float
) -> None:
    found = roc_area(marker[POOR], marker[~POOR])
    assert found.value == pytest.approx(area, abs=5e-8)
    assert found.ci == pytest.approx((low, high), abs=5e-8)


def test_paired_covariance_of_the_published_brain_injury_data() -> None:
    # R pROC 1.18.0: covariance of s100b and wfns .00119616, Z of their difference -2.20898
    one, two = (placements(marker[POOR], marker[~POOR]) for marker in (S100B, WFNS))
    shared = np.cov(one.of_bad, two.of_bad)[0, 1] / 41 + np.cov(one.of_good, two.of_good)[0, 1] / 72
    assert shared == pytest.approx(0.00119616, abs=5e-9)
    variances = [parts.of_bad.var(ddof=1) / 41 + parts.of_good.var(ddof=1) / 72 for parts in (one, two)]
    assert variances == pytest.approx([0.00266868, 0.00146991], abs=5e-9)
    assert (one.area - two.area) / np.sqrt(sum(variances) - 2 * shared) == pytest.approx(-2.20898, abs=5e-6)


def test_ratings_of_hanley_and_mcneil() -> None:
    # Hanley and McNeil 1982, Radiology 143:29: 58 normal and 51 abnormal, rated 1 to 5; area .893
    normal = np.repeat([1.0, 2.0, 3.0, 4.0, 5.0], [33, 6, 6, 11, 2])
    abnormal = np.repeat([1.0, 2.0, 3.0, 4.0, 5.0], [3, 2, 2, 11, 33])
    found = roc_area(abnormal, normal)
    assert found.value == pytest.approx(0.893, abs=5e-4)
    # the curve's trapezia add up to the same area
    curve = roc_curve(abnormal, normal)
    assert np.trapezoid(curve.detected, curve.false_alarm) == pytest.approx(found.value, abs=1e-12)
    assert curve.detected[-1] == curve.false_alarm[-1] == 1.0


def test_classes_that_do_not_overlap_have_area_one_and_no_spread() -> None:
    found = roc_area(np.array([2.0, 3.0, 4.0]), np.array([0.0, 1.0]))
    assert (found.value, found.se, found.ci) == (1.0, 0.0, (1.0, 1.0))


def test_one_class_only_has_no_area_and_one_piece_no_interval() -> None:
    assert roc_area(np.array([]), np.array([1.0, 2.0])).value is None
    one = roc_area(np.array([2.0]), np.array([1.0, 3.0]))
    assert (one.value, one.ci) == (0.5, None)


def test_interval_covers_the_true_area() -> None:
    # 60 bad and 90 good normal values 1 apart: area Phi(1 / sqrt 2). 1500 lots: the seen coverage of a true 95 % has
    # standard error 0.56 %, so that outside 93 to 97 % it lies by chance less than once in 2000.
    truth = 0.7602499389
    rng = np.random.default_rng(20)
    hits = 0
    for _ in range(1500):
        ci = roc_area(rng.normal(1, 1, 60), rng.normal(0, 1, 90)).ci
        hits += ci is not None and ci[0] <= truth <= ci[1]
    assert 0.93 <= hits / 1500 <= 0.97
