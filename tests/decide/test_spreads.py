"""Distributions of what is counted: against enumeration of all outcomes, draws, and published chances."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from scipy import stats

from tests.decide.count_simulation import CASES, simulate
from tests.decide.faces import pit, scratch
from vision.decide.counts import Counting, counted_spread, counted_values, face_of
from vision.decide.guard import PASS, REJECT, REVIEW, outcomes_of
from vision.decide.marks import Marks, Unreported, Weighed, WeighedMarks, weigh
from vision.decide.spreads import Divisor, Shares, Spread, Sums, sums_of
from vision.decide.verdicts import judge
from vision.records.inputs import CountRule, Limit, Limits
from vision.records.marks import Detection, MarkClass, MarkRate
from vision.records.measured import Finding, MeasuredPiece

chances = st.lists(st.floats(0.0, 1.0), max_size=8)


def sums(chance: np.ndarray, mean: np.ndarray, u: np.ndarray, whole: bool) -> Sums:
    """Marks of one piece with given chances and shares."""
    n = len(chance)
    numbers = np.zeros(n, dtype=np.int64), np.arange(n)
    marks = Marks("scratch", *numbers, mean, mean, u, u, chance, np.ones(n), np.ones(n))
    weighed = Weighed(chance, chance, chance, mean, u, 0.0)
    none = Unreported(np.zeros((1, 0)), np.zeros(0))
    counted, over = WeighedMarks(marks, weighed, none), Divisor(np.ones(1), np.zeros(1))
    return sums_of(counted, Shares(mean, u, np.zeros(0)), over, whole)


def number(chance: list[float]) -> Sums:
    """A count of marks with given chances."""
    ones = np.ones(len(chance))
    return sums(np.array(chance), ones, 0.0 * ones, whole=True)


def said(spread: Spread, most: float, coverage: float = 0.95) -> int:
    """What a limit at most `most` says."""
    return int(outcomes_of(spread, np.array([-np.inf]), np.array([most]), coverage)[0])


@settings(deadline=None, max_examples=60)
@given(chances, st.integers(-1, 9))
def test_a_count_is_poisson_binomial(chance: list[float], most: int) -> None:
    """Every outcome enumerated (Hong 2013 defines the distribution so)."""
    exact = sum(
        np.prod([p if there else 1.0 - p for p, there in zip(chance, outcome, strict=True)])
        for outcome in product((0, 1), repeat=len(chance))
        if sum(outcome) <= most
    )
    assert number(chance).at_most(np.array([float(most)]))[0] == pytest.approx(float(exact), abs=1e-9)


def test_equal_chances_are_binomial() -> None:
    for most in range(41):
        at_most = number([0.3] * 40).at_most(np.array([float(most)]))[0]
        assert at_most == pytest.approx(stats.binom.cdf(most, 40, 0.3), abs=1e-12)


def test_counts_are_not_judged_by_a_normal_distribution() -> None:
    """What a continuous normal got wrong: a faint mark that does not count, one that does, and six of nearly a half."""
    assert said(number([0.02]), 0.0) == PASS
    assert number([0.02]).at_most(np.zeros(1))[0] == pytest.approx(0.98)
    assert said(number([0.6]), 0.0) == REVIEW
    assert said(number([0.96]), 0.0) == REJECT
    six = number([0.44] * 6)
    assert six.at_most(np.array([2.0]))[0] == pytest.approx(stats.binom.cdf(2, 6, 0.44))
    assert said(six, 2.0) == REVIEW


@pytest.mark.parametrize("marks", [3, 9, 60])
def test_a_sum_of_lengths_is_what_draws_give(marks: int) -> None:
    """60,000 draws: the standard error of a chance is 0.002 at most; 0.01 fails by chance less than once in 10^5."""
    rng = np.random.default_rng(2614)
    chance, mean, u = rng.random(marks), rng.gamma(2.0, 1.0, marks), rng.uniform(0.06, 0.4, marks)
    drawn = ((rng.random((60000, marks)) < chance) * rng.normal(mean, u, (60000, marks))).sum(axis=1)
    spread = sums(chance, mean, u, whole=False)
    for at in np.quantile(drawn, [0.03, 0.2, 0.5, 0.8, 0.97]):
        assert spread.at_most(np.array([at]))[0] == pytest.approx((drawn <= at).mean(), abs=0.01)


def test_the_longest_is_judged_by_the_chance_that_any_exceeds_the_limit() -> None:
    """Draws of sizes, reality and snr, 100,000 of them: 0.006 is four standard errors.

    A sum takes a size that the least one cuts as normal with the same mean and spread: within 0.045, and within
    0.01 where verdicts turn (at 0.05 and 0.95).
    """
    rng = np.random.default_rng(2615)
    found: list[Finding] = [scratch(2.1, 9.0), scratch(1.9, 7.0), scratch(1.6, 6.5)]
    face, by = (
        face_of(found, 8.0, 0.1, Detection()),
        Counting(CountRule(scratch_min_length_mm=1.7, scratch_min_snr=6.0)),
    )
    marks = face.scratches
    shape = (100_000, 3)
    sizes = rng.normal(marks.size_mm, marks.size_u_mm, shape)
    counts = (rng.random(shape) < marks.real) & (rng.normal(marks.snr, marks.snr_u, shape) >= 6.0) & (sizes >= 1.7)
    largest = np.where(counts, sizes, 0.0).max(axis=1)
    summed = np.where(counts, sizes, 0.0).sum(axis=1) / rng.normal(8.0, 0.1, 100_000)
    longest = counted_spread(face, "scratch_longest_mm", by)
    density = counted_spread(face, "scratch_density_mm_per_cm2", by)
    for at in (0.0, 1.75, 2.0, 2.4):
        assert longest.at_most(np.array([at]))[0] == pytest.approx((largest <= at).mean(), abs=0.006)
    for at in (0.1, 0.25, 0.5, 0.6):
        assert density.at_most(np.array([at]))[0] == pytest.approx((summed <= at).mean(), abs=0.045)
    assert counted_values(face, "scratch_longest_mm", by)[1][0] == pytest.approx(largest.std(), rel=0.03)


def test_unreported_marks_are_reckoned_only_where_a_rate_is_stated() -> None:
    """A clean face of 10 cm2: with 0.02 marks a cm2 of which half are found, one is missing with 1 - exp(-0.1)."""
    half = Detection().scratch_seen_snr
    rate = MarkRate("400 faces under a microscope", (MarkClass("scratch", 2.0, half, 0.02),))
    clean = face_of((), 10.0, 0.0, Detection())
    for measure, most in (("scratch_count", 0.0), ("scratch_longest_mm", 1.9), ("scratch_density_mm_per_cm2", 0.1)):
        for known, chance in ((None, 1.0), (rate, np.exp(-0.1))):
            spread = counted_spread(clean, measure, Counting(CountRule(), known))
            assert spread.at_most(np.array([most]))[0] == pytest.approx(chance)
    # what the rules would not count is not missed
    ruled = counted_spread(clean, "scratch_count", Counting(CountRule(scratch_min_snr=7.0), rate))
    assert ruled.at_most(np.zeros(1))[0] == 1.0
    assert counted_values(clean, "scratch_count", Counting(CountRule(), rate))[1][0] == pytest.approx(np.sqrt(0.1))


def test_two_hundred_next_to_certainly_none_are_not_certainly_none() -> None:
    """Each of chance 0.0005: together one is there with 1 - 0.9995^200 = 0.095."""
    assert number([0.0005] * 200).at_most(np.zeros(1))[0] == pytest.approx(0.9995**200)


def test_a_reason_tells_the_chance_that_its_limit_is_kept() -> None:
    piece = MeasuredPiece(1, None, None, {"scored_area_cm2": 8.0}, {"scored_area_cm2": 0.1}, (scratch(2.0, 8.0),))
    limits = Limits("TS-135", 1, "draft", 0.95, (Limit("scratch_count", "major", max=0.0),))
    judged = judge(piece, limits)
    chance = stats.norm.cdf((8.0 - 6.2) / 1.6)
    assert judged.verdict == "review"
    assert judged.reasons[0].conformance == pytest.approx(1.0 - chance)


def test_sizes_near_the_least_are_cut_there() -> None:
    """Mean of a normal distribution cut at its mean: mean + u sqrt(2 / pi); variance u^2 (1 - 2 / pi)."""
    face = face_of((pit(0.2, 30.0),), 8.0, 0.0, Detection())
    weighed = weigh(face.pits, CountRule(pit_min_diameter_mm=0.2))
    u = face.pits.size_u_mm[0]
    assert weighed.mean_mm[0] == pytest.approx(0.2 + u * np.sqrt(2 / np.pi))
    assert weighed.u_mm[0] == pytest.approx(u * np.sqrt(1 - 2 / np.pi))


@pytest.mark.parametrize("case", CASES)
def test_verdicts_on_counts_keep_the_coverage(case: str) -> None:
    """3000 pieces: none passes that is bad with more than 0.05, and of the rejected at most 0.05 are good.

    At 0.05 of some hundred rejected, 0.09 comes by a chance below 1 %; the draws are fixed.
    """
    _, after = simulate(case, 3000)
    assert after.worst <= 0.05 + 1e-9
    assert after.passed_bad <= 0.05
    assert after.rejected_good <= 0.09
