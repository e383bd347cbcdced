"""Probability of detection against published logit fits and statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize

from app.statistics.logit import LogitFit, fit_logit
from app.statistics.pod import detectability, place_bound, size_found
from app.statistics.pod_curve import Allowed, Curve, Held, Hits, fit_curve
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
    # 36 of 40 at the largest dose leave a ceiling at nine in ten open: no size is stated
    assert found.a90_95 is None
    size = np.array([0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 0.7])
    found = detectability(size, np.array([1.0, 5.0, 9.0, 14.0, 39.0, 60.0, 60.0]), np.array([20.0] * 4 + [40, 60, 60]))
    assert found.a90_95 is not None
    assert found.a90 is not None
    assert found.a90 < found.a90_95
    # the lower bound of the curve and the stated size are the same statement
    assert found.lower(np.array([found.a90_95])) == pytest.approx([0.9], abs=1e-3)
    assert (found.lower(size) <= found.chance(size)).all()


def test_the_bound_is_where_the_likelihood_has_fallen() -> None:
    """Females of the budworms, without a ceiling: against a grid over the slope.

    The likelihood ratio of MIL-HDBK-1823A, by hand: chance 0.5 held at the bound, the slope free.
    """
    data = Hits(DOSE, FEMALE, TWENTY)
    curve = fit_curve(data, Curve(-3.0, 1.0, 1.0, 0.0, 0.0), Allowed(ceiling=False))
    at = place_bound(data, curve, 0.5, 0.9)  # half of the risk: the 95 % quantile
    assert at is not None
    slope = np.linspace(0.3, 2.5, 4001)[:, None]
    odds = slope * (DOSE - at)
    fallen = curve.log_likelihood - (FEMALE * odds - 20 * np.logaddexp(0, odds)).sum(axis=1).max()
    # a ceiling may take up some of it
    held = fit_curve(data, curve, held=Held(at, 0.5))
    assert curve.log_likelihood - held.log_likelihood == pytest.approx(1.6448536**2 / 2, abs=1e-3)
    if held.ceiling > 1 - 1e-6:
        assert fallen == pytest.approx(1.6448536**2 / 2, abs=1e-3)


def test_sizes_in_other_units_give_the_same_curve() -> None:
    size = np.array([0.05, 0.1, 0.15, 0.2, 0.3, 0.5])
    hits = np.array([1.0, 5.0, 9.0, 14.0, 18.0, 20.0])
    mm, um = detectability(size, hits, TWENTY), detectability(1000 * size, hits, TWENTY)
    assert um.a90 == pytest.approx(1000 * mm.a90)
    bounds = [place_bound(one.data, one.curve, 0.5, 0.95) for one in (mm, um)]
    assert bounds[1] == pytest.approx(bounds[0] + np.log(1000), abs=1e-3)  # type: ignore[operator]


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
    """20 studies of 240 defects, truth logit = 9 + 6 ln(size), as independent: 2 % of the bounds are false (the table).

    More than two of 20 false have a chance of 0.7 % at that; the draws are fixed.
    """
    found = simulate(Truth(told=False), 20)
    assert found.stated >= 0.9
    assert found.false <= 2 / 20


def test_a_curve_that_levels_off_below_nine_in_ten_has_no_a90() -> None:
    """20 studies of 240 defects with a plateau of 0.88: a stated a90/95 is false in 5 % at most.

    More than four of 20 by a chance of 0.3 %; the draws are fixed. The full table is pod_simulation's.
    """
    for told in (False, True):
        found = simulate(Truth(ceiling=0.88, told=told), 20)
        assert found.stated <= 4 / 20
        # an a90 is named where the fitted ceiling lies above nine in ten, as it does by chance, but no size is stated
        assert found.stated < found.named or found.named == 0.0


def test_pieces_that_differ_widen_the_bound() -> None:
    """6 studies of 240 marks on 20 pieces that show theirs better or worse: more than 2 of 6 false have 0.2 % at 5 %.

    The full table is pod_simulation's; fewer than three pieces state nothing.
    """
    assert simulate(Truth(between=1.5), 6).false <= 2 / 6
    rng = np.random.default_rng(2)
    size = np.exp(rng.uniform(np.log(0.08), np.log(0.8), 240))
    hits = (rng.random(240) < 1 / (1 + np.exp(-(9 + 6 * np.log(size))))).astype(float)
    alone = detectability(size, hits, np.ones(240), piece=np.arange(240) % 2)
    assert alone.a90 is not None
    assert alone.a90_95 is None


def test_a_random_level_is_the_integral_over_pieces() -> None:
    """The likelihood of the fit against an integral by brute force, and its maximum against a general optimizer."""
    rng = np.random.default_rng(6)
    x, piece = rng.uniform(-2.0, 2.0, 90), np.arange(90) // 6
    hits = (rng.random(90) < 1 / (1 + np.exp(-(0.5 + 2.0 * x + rng.normal(0.0, 1.2, 15)[piece])))).astype(float)
    found = fit_curve(Hits(x, hits, np.ones(90), piece), Curve(0.0, 1.0, 1.0, 0.0, 0.0), Allowed(ceiling=False))
    u = np.linspace(-6.0, 6.0, 121)
    weight = np.exp(-0.5 * u**2) / np.exp(-0.5 * u**2).sum()

    def loss(free: np.ndarray) -> float:
        odds = free[0] + free[1] * x[:, None] + free[2] * u
        each = np.where(hits[:, None] > 0, -np.logaddexp(0, -odds), -np.logaddexp(0, odds))
        of_piece = np.array([each[piece == one].sum(axis=0) for one in range(15)])
        return -float(np.log(np.exp(of_piece) @ weight).sum())

    at = np.array([found.level, found.slope, found.between])
    assert -loss(at) == pytest.approx(found.log_likelihood, abs=0.01)
    other = minimize(loss, [0.0, 1.0, 0.5], method="Nelder-Mead")
    assert at == pytest.approx(other.x, abs=0.02)
    held = fit_curve(Hits(x, hits, np.ones(90), piece), found, held=Held(1.5, 0.9))
    assert held.chance(np.array([1.5])) == pytest.approx([0.9], abs=1e-6)


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
    found = fit_curve(Hits(x, hits, np.ones(600)), Curve(0.0, 1.0, 1.0, 0.0, 0.0))

    def loss(free: np.ndarray) -> float:
        chance = np.clip(free[2] / (1 + np.exp(-free[0] - free[1] * x)), 1e-12, 1 - 1e-12)
        return -float((hits * np.log(chance) + (1 - hits) * np.log(1 - chance)).sum())

    other = minimize(loss, [0.5, 1.5, 0.7], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    assert [found.level, found.slope, found.ceiling] == pytest.approx(other.x, abs=1e-3)
