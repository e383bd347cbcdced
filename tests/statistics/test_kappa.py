"""Kappa, Fleiss' kappa, AC1 and what explains them, against published tables."""

import numpy as np
import pytest
from statsmodels.stats.contingency_tables import mcnemar
from statsmodels.stats.inter_rater import cohens_kappa, fleiss_kappa as fleiss_of_statsmodels
from statsmodels.stats.tests.test_inter_rater import diagnoses, table1

from app.statistics.kappa import (
    cohen_kappa,
    counts_of_table,
    fleiss_kappa,
    gwet_ac1,
    mcnemar_p,
    pieces_for_kappa,
    prevalence_bias,
)
from tests.statistics.published import printed

Table = list[list[int]]


@pytest.mark.parametrize(
    ("table", "kappa", "se", "ends"),
    [
        # Fleiss, Cohen and Everitt 1969, Psychol. Bull. 72:323, n = 200
        ([[106, 10, 4], [22, 28, 10], [2, 12, 6]], "0.428571", "0.053711", (0.3233, 0.5338)),
        # the worked example in statsmodels' tests (SAS)
        ([[0, 4, 1], [0, 8, 0], [0, 1, 5]], "0.4842", "0.1380", (0.2137, 0.7547)),
        # Landis and Koch 1977, Biometrics 33:159: multiple sclerosis, Winnipeg and New Orleans (R package vcd)
        ([[38, 5, 0, 1], [33, 11, 3, 0], [10, 14, 5, 6], [3, 7, 3, 10]], "0.207942", "0.050455", (0.1091, 0.3068)),
        ([[5, 3, 0, 0], [3, 11, 4, 0], [2, 13, 3, 4], [1, 2, 4, 14]], "0.296517", "0.078504", None),
        # Stuart 1953, 7477 women's eyes (R package vcd)
        (
            [[1520, 266, 124, 66], [234, 1512, 432, 78], [117, 362, 1772, 205], [36, 82, 179, 492]],
            "0.595389",
            "0.007287",
            None,
        ),
        # Gwet, Handbook of Inter-Rater Reliability (irrCAC 0.4.4)
        ([[13, 0, 0], [0, 20, 7], [0, 4, 56]], "0.79641", "0.05891", None),
        # Dohoo and others, salmon (R package epiR): the large-sample interval
        ([[19, 10], [6, 256]], "0.673584", "0.076224", (0.5242, 0.8230)),
        # Watson and Petrie 2010
        ([[596, 61], [29, 987]], "0.886237", None, (0.8634, 0.9091)),
    ],
)
def test_published_kappas(table: Table, kappa: str, se: str | None, ends: tuple[float, float] | None) -> None:
    found = cohen_kappa(np.array(table))
    assert found.value == printed(kappa)
    assert se is None or found.se == printed(se)
    assert ends is None or found.ci == pytest.approx(ends, abs=5.1e-5)


@pytest.mark.parametrize(
    ("table", "kappa"),
    [
        # AIAG, Measurement Systems Analysis, 4th edition, attribute study: appraisers and reference
        ([[44, 6], [3, 97]], 0.86),
        ([[42, 5], [9, 94]], 0.79),
        ([[43, 7], [8, 92]], 0.78),
        ([[45, 5], [3, 97]], 0.88),
        ([[45, 2], [3, 100]], 0.92),
        ([[42, 9], [6, 93]], 0.77),
    ],
)
def test_attribute_study_of_aiag(table: Table, kappa: float) -> None:
    assert cohen_kappa(np.array(table)).value == pytest.approx(kappa, abs=5e-3)


def test_kappa_equals_statsmodels_on_any_table() -> None:
    rng = np.random.default_rng(2)
    for table in rng.multinomial(80, [0.5, 0.1, 0.1, 0.3], 50).reshape(-1, 2, 2):
        found, theirs = cohen_kappa(table), cohens_kappa(table)
        assert found.value == pytest.approx(theirs.kappa, abs=1e-12)
        assert found.se == pytest.approx(theirs.std_kappa, abs=1e-12)


def test_perfect_agreement_has_no_spread_and_one_class_no_kappa() -> None:
    perfect = cohen_kappa(np.array([[7, 0], [0, 3]]))
    assert (perfect.value, perfect.se, perfect.ci) == (1.0, 0.0, (1.0, 1.0))
    assert cohen_kappa(np.array([[9, 0], [0, 0]])).value is None
    assert cohen_kappa(np.zeros((2, 2), dtype=np.int64)).value is None


def test_total_disagreement_stays_within_its_range() -> None:
    found = cohen_kappa(np.array([[0, 5], [5, 0]]))
    assert found.value == pytest.approx(-1.0)
    assert found.ci is not None
    assert found.ci[0] >= -1.0


def test_fleiss_1971() -> None:
    # Fleiss 1971, Psychol. Bull. 76:378, 30 subjects, 6 raters, 5 categories (statsmodels' tests; R irr .4302445)
    counts = np.stack([(diagnoses == k).sum(axis=1) for k in range(1, 6)], axis=1)
    assert counts.sum(axis=0).tolist() == [26, 26, 30, 55, 43]
    assert fleiss_kappa(counts).value == pytest.approx(0.4302445, abs=5e-8)
    assert fleiss_kappa(counts).value == pytest.approx(fleiss_of_statsmodels(counts), abs=1e-12)


def test_ten_subjects_fourteen_raters() -> None:
    # the widely quoted example of 10 x 14 (statsmodels' tests): .210
    assert fleiss_kappa(table1).value == pytest.approx(0.210, abs=5e-4)


# Krippendorff 2011, Computing Krippendorff's Alpha-Reliability, examples C and D; Gwet's Handbook uses the same four
# raters and twelve subjects, some ratings missing (0).
FOUR_RATERS = np.array(
    [
        [1, 2, 3, 3, 2, 1, 4, 1, 2, 0, 0, 0],
        [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, 0, 3],
        [0, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, 0],
        [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, 0],
    ]
)


def test_missing_ratings_of_gwet() -> None:
    # irrCAC 0.4.4: AC1 .77544 SE .14295 CI .46081 to 1; Fleiss .76117 SE .15302
    counts = np.stack([(k == FOUR_RATERS).sum(axis=0) for k in range(1, 6)], axis=1)
    ac1, fleiss = gwet_ac1(counts), fleiss_kappa(counts)
    assert (ac1.value, ac1.se) == pytest.approx((0.77544, 0.14295), abs=5e-6)
    assert ac1.ci == pytest.approx((0.46081, 1.0), abs=5e-6)
    assert (fleiss.value, fleiss.se) == pytest.approx((0.76117, 0.15302), abs=5e-6)


def test_two_raters_of_gwet() -> None:
    # irrCAC 0.4.4 on [[13,0,0],[0,20,7],[0,4,56]]: AC1 .84933, SE .04322 with divisor n; here n - 1, as for many raters
    table = np.array([[13, 0, 0], [0, 20, 7], [0, 4, 56]])
    pairs = [(i, j) for i in range(3) for j in range(3) for _ in range(table[i, j])]
    counts = np.array([np.bincount(pair, minlength=3) for pair in pairs])
    found = gwet_ac1(counts)
    assert found.value == pytest.approx(0.84933, abs=5e-6)
    assert found.se == pytest.approx(0.04322 * np.sqrt(100 / 99), abs=5e-6)


def test_kappa_paradox_shows() -> None:
    # 118 of 125 pairs agree, kappa is below zero all the same; AC1 is not
    table = np.array([[118, 5], [2, 0]])
    assert cohen_kappa(table).value == pytest.approx(-0.0234, abs=5e-5)
    assert gwet_ac1(counts_of_table(table)).value == pytest.approx(0.9408, abs=5e-5)
    indices = prevalence_bias(table)
    assert indices is not None
    assert indices.prevalence_index > 0.9


def test_indices_of_the_salmon_example() -> None:
    # Dohoo and others, in R package epiR's epi.kappa
    indices = prevalence_bias(np.array([[19, 10], [6, 256]]))
    assert indices is not None
    seen = (indices.pabak, indices.prevalence_index, indices.bias_index)
    assert seen == pytest.approx((0.890034, -0.814433, 0.013746), abs=5.1e-7)
    watson = prevalence_bias(np.array([[596, 61], [29, 987]]))
    assert watson is not None
    assert watson.pabak == pytest.approx(0.892409, abs=5e-7)


def test_identity_of_byrt_bishop_and_carlin() -> None:
    # J. Clin. Epidemiol. 46:423: kappa = (PABAK - PI^2 + BI^2) / (1 - PI^2 + BI^2)
    rng = np.random.default_rng(6)
    for table in rng.multinomial(60, [0.4, 0.2, 0.1, 0.3], 30).reshape(-1, 2, 2):
        one, kappa = prevalence_bias(table), cohen_kappa(table).value
        assert one is not None
        shift = -(one.prevalence_index**2) + one.bias_index**2
        assert kappa == pytest.approx((one.pabak + shift) / (1 + shift), abs=1e-12)
    assert prevalence_bias(np.zeros((2, 2), dtype=np.int64)) is None


@pytest.mark.parametrize(
    ("one", "two", "p", "tolerance"),
    [
        # statsmodels' tests, against R and an exact calculator
        (121, 59, 0.000004, 5e-7),
        (70, 59, 0.378688, 5e-7),
        (80, 59, 0.089452, 5e-7),
        (30, 60, 0.00206, 5e-6),
        (10, 30, 0.002221, 5e-7),
        (10, 10, 1.0, 1e-12),
        # pingouin's data chi2_mcnemar
        (40, 8, 0.000003, 5e-7),
    ],
)
def test_exact_mcnemar(one: int, two: int, p: float, tolerance: float) -> None:
    assert mcnemar_p(one, two) == pytest.approx(p, abs=tolerance)
    theirs = mcnemar([[0, one], [two, 0]], exact=True).pvalue
    assert mcnemar_p(one, two) == pytest.approx(theirs, abs=1e-12)


def test_mcnemar_without_discordant_pairs_is_one() -> None:
    assert mcnemar_p(0, 0) == 1.0


def test_too_few_ratings_are_undefined() -> None:
    assert fleiss_kappa(np.zeros((0, 2), dtype=np.int64)).value is None
    assert fleiss_kappa(np.array([[1, 0], [0, 1]])).value is None
    assert fleiss_kappa(np.array([[3, 0], [3, 0]])).value is None
    assert gwet_ac1(np.array([[3, 0], [3, 0]])).value == 1.0
    one = fleiss_kappa(np.array([[2, 1]]))
    assert one.value is not None
    assert one.ci is None


def test_planned_kappa_study_reaches_its_interval() -> None:
    pieces = pieces_for_kappa(0.8, 0.2, 0.1)
    apart = (1 - 0.68) * 0.2 / 2
    table = np.round(pieces * np.array([[0.8 - apart, apart], [apart, 0.2 - apart]])).astype(np.int64)
    found = cohen_kappa(table)
    assert found.se is not None
    assert 1.96 * found.se == pytest.approx(0.1, abs=0.005)


def _rated(rng: np.random.Generator, pieces: int, raters: int, bad_share: float, error: float) -> np.ndarray:
    truth = rng.random(pieces) < bad_share
    flips = rng.random((pieces, raters)) < error
    rejects = (truth[:, None] ^ flips).sum(axis=1)
    return np.stack([raters - rejects, rejects], axis=1)


@pytest.mark.parametrize(("bad_share", "error"), [(0.3, 0.08), (0.5, 0.15)])
def test_intervals_of_many_raters_cover_what_they_say(bad_share: float, error: float) -> None:
    # Three raters who err alike and independently on 120 pieces. In the long run po = 1 - 2 e (1 - e) and the share
    # rejected is s (1 - e) + (1 - s) e. 1500 studies: a true 95 % is seen with standard error 0.56 %, outside 92.8 to
    # 97.2 % less than once in 10 000 for each.
    agree = 1 - 2 * error * (1 - error)
    reject = bad_share * (1 - error) + (1 - bad_share) * error
    chance_fleiss, chance_ac1 = reject**2 + (1 - reject) ** 2, 2 * reject * (1 - reject)
    truth = {
        fleiss_kappa: (agree - chance_fleiss) / (1 - chance_fleiss),
        gwet_ac1: (agree - chance_ac1) / (1 - chance_ac1),
    }
    rng = np.random.default_rng(14)
    hits = dict.fromkeys(truth, 0)
    for _ in range(1500):
        counts = _rated(rng, 120, 3, bad_share, error)
        for method, value in truth.items():
            ci = method(counts).ci
            hits[method] += ci is not None and ci[0] <= value <= ci[1]
    assert all(0.928 <= count / 1500 <= 0.972 for count in hits.values()), hits


@pytest.mark.parametrize(("bad_share", "error"), [(0.3, 0.08), (0.5, 0.15)])
def test_interval_of_kappa_covers_what_it_says(bad_share: float, error: float) -> None:
    # Two raters as above on 150 pieces; 1500 studies, chance of failing as above.
    agree = 1 - 2 * error * (1 - error)
    reject = bad_share * (1 - error) + (1 - bad_share) * error
    chance = reject**2 + (1 - reject) ** 2
    rng = np.random.default_rng(15)
    hits = 0
    for _ in range(1500):
        rejected = _rated(rng, 150, 2, bad_share, error)[:, 1]
        split = int((rejected == 1).sum())
        first = int(rng.binomial(split, 0.5))
        table = np.array([[(rejected == 0).sum(), first], [split - first, (rejected == 2).sum()]])
        ci = cohen_kappa(table).ci
        hits += ci is not None and ci[0] <= (agree - chance) / (1 - chance) <= ci[1]
    assert 0.928 <= hits / 1500 <= 0.972
