"""Probability of detection against published logit fits and statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize

from app.statistics.logit import LogitFit, fit_logit
from app.statistics.pod import detectability, size_found, wald_bound
from app.statistics.pod_ceiling import Hits, fit_ceiling
from tests.statistics.pod_simulation import Truth, simulate
from tests.statistics.published import printed
from vision.errors import Unusable

# Venables and Ripley, Modern Applied Statistics with S, section 7.2: tobacco budworms, 20 a dose, log2 dose 0 to 5
DOSE = np.arange(6.0)
TWENTY = np.full(6, 20.0)
MALE = np.array([1.0, 4.0, 9.0, 13.0, 18.0, 20.0])
FEMALE = np.array([0.0, 2.0, 6.0, 10.0, 12.0, 16.0])


def _budworms() -> LogitFit:
    """Own level for each sex, one slope: columns female, male, dose."""
    design = np.zeros((12, 3))
    design[:6, 1] = design[6:, 0] = 1.0
    design[:, 2] = np.tile(DOSE, 2)
    found = fit_logit(design, np.concatenate([MALE, FEMALE]), np.tile(TWENTY, 2))
    assert found is not None
    return found


def test_budworms_of_venables_and_ripley() -> None:
    found = _budworms()
    for value, text in zip(found.coefficients, ("-3.4731553", "-2.3724119", "1.0642140"), strict=True):
        assert value == printed(text)
    for se, text in zip(np.sqrt(np.diag(found.covariance)), ("0.4685", "0.3855", "0.1311"), strict=True):
        assert se == printed(text)


@pytest.mark.parametrize(
    ("chance", "dose", "se"),
    [(0.25, "2.2312647", "0.2499089"), (0.5, "3.2635874", "0.2297538"), (0.75, "4.2959102", "0.2746874")],
)
def test_lethal_doses_of_venables_and_ripley(chance: float, dose: str, se: str) -> None:
    # R MASS dose.p, females
    found = _budworms()
    female = LogitFit(found.coefficients[[0, 2]], found.covariance[np.ix_([0, 2], [0, 2])], 0.0, 0.0)
    place, spread = size_found(female, chance)
    assert place == printed(dose)
    assert spread == pytest.approx(float(se), abs=1e-6)


def test_wald_bound_of_the_females() -> None:
    # computed beforehand by another route: a90/95 6.039903, a50/95 3.658485
    found = _budworms()
    female = LogitFit(found.coefficients[[0, 2]], found.covariance[np.ix_([0, 2], [0, 2])], 0.0, 0.0)
    assert wald_bound(female, 0.9, 0.95) == printed("6.039903")
    assert wald_bound(female, 0.5, 0.95) == printed("3.658485")


def test_o_rings() -> None:
    # Dalal, Fowlkes and Hoadley 1989, J. Am. Stat. Assoc. 84:945, 23 flights
    temperature = np.array(
        [66, 70, 69, 68, 67, 72, 73, 70, 57, 63, 70, 78, 67, 53, 67, 75, 70, 81, 76, 79, 75, 58, 76.0]
    )
    failed = np.zeros(23)
    failed[[1, 8, 9, 10, 13, 20, 21]] = 1.0
    design = np.stack([np.ones(23), temperature], axis=1)
    found = fit_logit(design, failed, np.ones(23))
    assert found is not None
    assert found.coefficients[0] == printed("15.0429016")
    assert found.coefficients[1] == printed("-0.2321627")
    assert np.sqrt(found.covariance[0, 0]) == printed("7.3786")
    assert np.sqrt(found.covariance[1, 1]) == printed("0.1082")
    assert found.deviance == printed("20.3152")
    assert 1 / (1 + np.exp(-(found.coefficients @ [1.0, 31.0]))) == printed("0.9996")


def test_fit_equals_statsmodels() -> None:
    rng = np.random.default_rng(9)
    size = rng.uniform(0.05, 0.6, 200)
    hits = (rng.random(200) < 1 / (1 + np.exp(-(8 + 5 * np.log(size))))).astype(np.float64)
    design = sm.add_constant(np.log(size))
    theirs = sm.GLM(hits, design, family=sm.families.Binomial()).fit()
    found = fit_logit(design, hits, np.ones(200))
    assert found is not None
    assert found.coefficients == pytest.approx(theirs.params, rel=1e-7)
    assert found.covariance == pytest.approx(theirs.cov_params(), rel=1e-6)
    assert found.deviance == pytest.approx(theirs.deviance, rel=1e-9)


def test_curve_and_its_sizes_belong_together() -> None:
    found = detectability(DOSE, MALE + FEMALE, 2 * TWENTY, log_size=False)
    assert found.chance(np.array([found.a90, found.a50])) == pytest.approx([0.9, 0.5])
    assert found.a90_95_wald is not None
    assert found.lower(np.array([found.a90_95_wald])) == pytest.approx([0.9])
    assert found.a90_95_profile is not None
    assert found.a90 is not None
    assert found.a90 < found.a90_95_profile
    # 36 of 40 at the largest dose leave a ceiling at nine in ten open: no size is stated
    assert found.a90_95 is None


def test_sizes_in_other_units_give_the_same_curve() -> None:
    size = np.array([0.05, 0.1, 0.15, 0.2, 0.3, 0.5])
    hits = np.array([1.0, 5.0, 9.0, 14.0, 18.0, 20.0])
    mm, um = detectability(size, hits, TWENTY), detectability(1000 * size, hits, TWENTY)
    assert um.a90 == pytest.approx(1000 * mm.a90)
    assert um.a90_95_profile == pytest.approx(1000 * mm.a90_95_profile, rel=1e-6)  # type: ignore[operator]


@pytest.mark.parametrize(
    ("hits", "said"),
    [
        ([20, 20, 20, 20, 20, 20], "plant smaller defects"),
        ([0, 0, 0, 0, 0, 0], "plant larger defects"),
        ([0, 0, 0, 20, 20, 20], "don't overlap"),
        ([20, 18, 12, 8, 3, 1], "no rise"),
    ],
)
def test_hits_that_make_no_curve_are_refused(hits: list[int], said: str) -> None:
    with pytest.raises(Unusable, match=said):
        detectability(DOSE + 1, np.array(hits, dtype=np.float64), TWENTY)


def test_a90_95_is_safe_in_95_of_100() -> None:
    # 240 defects of log-uniform size, truth logit = 9 + 6 ln(size): a90 = 0.3218. A bound that keeps 95 % is seen at
    # 95 +- 2.8 % (one standard error) in 60 studies; below 85 % by chance less than once in 300.
    truth = float(np.exp((np.log(9.0) - 9.0) / 6.0))
    rng = np.random.default_rng(31)
    safe = {"wald": 0, "profile": 0}
    for _ in range(60):
        size = np.exp(rng.uniform(np.log(0.08), np.log(0.8), 240))
        hits = (rng.random(240) < 1 / (1 + np.exp(-(9 + 6 * np.log(size))))).astype(np.float64)
        found = detectability(size, hits, np.ones(240))
        safe["wald"] += found.a90_95_wald is not None and found.a90_95_wald >= truth
        safe["profile"] += found.a90_95_profile is not None and found.a90_95_profile >= truth
    assert all(count / 60 >= 0.85 for count in safe.values()), safe


def test_a_curve_that_levels_off_below_nine_in_ten_has_no_a90() -> None:
    """30 studies of 240 defects with a plateau of 0.88: a stated a90/95 is false in 5 % at most.

    More than 5 of 30 by a chance of 0.3 %; the draws are fixed. The full table is pod_simulation's.
    """
    assert simulate(Truth(ceiling=0.88), 30).stated <= 5 / 30
    assert simulate(Truth(), 20).stated >= 0.9


def test_pieces_that_differ_widen_the_bound() -> None:
    """6 studies of 240 marks on 20 pieces that show theirs better or worse: more than 2 of 6 false have 0.2 % at 5 %.

    The full table is pod_simulation's; fewer than three pieces state nothing.
    """
    assert simulate(Truth(between=1.5), 6, clusters=True).false <= 2 / 6
    rng = np.random.default_rng(2)
    size = np.exp(rng.uniform(np.log(0.08), np.log(0.8), 240))
    hits = (rng.random(240) < 1 / (1 + np.exp(-(9 + 6 * np.log(size))))).astype(float)
    alone = detectability(size, hits, np.ones(240), cluster=np.arange(240) % 2)
    assert alone.a90 is not None
    assert alone.a90_95 is None


def test_a_slope_near_zero_ends_in_a_sentence() -> None:
    # Hits rise by one in a thousand from the smaller to the larger size: the a90 would lie beyond exp(700).
    with pytest.raises(Unusable, match="hardly any rise"):
        detectability(np.array([1.0, 100.0]), np.array([500.0, 501.0]), np.array([1000.0, 1000.0]))


def test_a_curve_that_does_not_fit_is_told() -> None:
    rng = np.random.default_rng(3)
    size = np.exp(rng.uniform(np.log(0.1), np.log(1.0), 400))
    chance = np.where((size > 0.2) & (size < 0.35), 0.95, 0.3)
    chance = np.where(size > 0.8, 0.97, chance)
    told = detectability(size, (rng.random(400) < chance).astype(float), np.ones(400)).fit_p
    assert told is not None
    assert told < 0.01


def test_a_ceiling_is_found_by_maximum_likelihood() -> None:
    # Against a general optimizer started elsewhere.
    rng = np.random.default_rng(4)
    x = rng.uniform(-2.0, 3.0, 600)
    hits = (rng.random(600) < 0.8 / (1 + np.exp(-2.0 * x))).astype(float)
    found = fit_ceiling(Hits(x, hits, np.ones(600)), (0.0, 1.0))

    def loss(free: np.ndarray) -> float:
        chance = np.clip(free[2] / (1 + np.exp(-free[0] - free[1] * x)), 1e-12, 1 - 1e-12)
        return -float((hits * np.log(chance) + (1 - hits) * np.log(1 - chance)).sum())

    other = minimize(loss, [0.5, 1.5, 0.7], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    assert [found.level, found.slope, found.ceiling] == pytest.approx(other.x, abs=1e-3)
