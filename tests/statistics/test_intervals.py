"""Intervals of proportions against Newcombe's three tables of 1998, and what they promise."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.tests.results.results_proportion import res_binom, res_binom_methods

from app.statistics.intervals import (
    PairedCounts,
    clopper_pearson,
    difference_paired,
    misses_allowed,
    pieces_for_half_width,
    pieces_for_promise,
    wilson,
)


@pytest.mark.parametrize(
    ("count", "total", "wilson_ends", "exact_ends"),
    [
        # Newcombe 1998, Stat. Med. 17:857, table I, methods 3 and 5
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_single_proportions_of_newcombe(
    count: int, total: int, wilson_ends: tuple[float, float], exact_ends: tuple[float, float]
) -> None:
    assert wilson(count, total).ci == pytest.approx(wilson_ends, abs=5.1e-5)
    assert clopper_pearson(count, total).ci == pytest.approx(exact_ends, abs=5.1e-5)


@pytest.mark.parametrize("case", list(res_binom))
def test_single_proportions_of_r_package_binom(case: tuple[int, int]) -> None:
    # R package binom, nine cases, as statsmodels' tests carry them
    ends = list(zip(res_binom[case].ci_low, res_binom[case].ci_upp, strict=True))
    assert wilson(*case).ci == pytest.approx(ends[res_binom_methods.index("wilson")], abs=1e-7)
    assert clopper_pearson(*case).ci == pytest.approx(ends[res_binom_methods.index("exact")], abs=1e-7)


@pytest.mark.parametrize(
    ("counts", "ends"),
    [
        # Newcombe 1998, Stat. Med. 17:2635, table III, method 10; both, first only, second only, neither
        ((36, 12, 2, 0), (0.0569, 0.3404)),
        ((20, 12, 2, 16), (0.0562, 0.3292)),
        ((18, 12, 2, 18), (0.0562, 0.3290)),
        ((36, 14, 0, 0), (0.1528, 0.4167)),
        ((35, 14, 0, 1), (0.1461, 0.4175)),
        ((18, 14, 0, 18), (0.1441, 0.3963)),
        ((2, 97, 1, 0), (0.8721, 0.9854)),
        ((1, 97, 1, 1), (0.8736, 0.9850)),
        ((0, 29, 1, 0), (0.6666, 0.9882)),
        ((2, 98, 0, 0), (0.9178, 0.9945)),
        ((1, 98, 0, 1), (0.9171, 0.9916)),
        ((0, 30, 0, 0), (0.8395, 1.0)),
        ((54, 0, 0, 0), (-0.0664, 0.0664)),
        ((53, 0, 0, 1), (-0.0729, 0.0729)),
        ((30, 0, 0, 24), (-0.0358, 0.0358)),
    ],
)
def test_differences_of_paired_proportions_of_newcombe(
    counts: tuple[int, int, int, int], ends: tuple[float, float]
) -> None:
    # .8736 is .87365 unrounded, and prints .8737 elsewhere: hence one and a half units of the last digit
    assert difference_paired(PairedCounts(*counts)).ci == pytest.approx(ends, abs=1.5e-4)


def test_nothing_counted_is_undefined() -> None:
    assert wilson(0, 0).value is None
    assert clopper_pearson(0, 0).ci is None
    assert difference_paired(PairedCounts(0, 0, 0, 0)).value is None


@pytest.mark.parametrize(("misses", "pieces"), [(0, 29), (1, 46), (2, 61), (3, 76), (4, 89), (5, 103)])
def test_sizes_of_demonstrations(misses: int, pieces: int) -> None:
    # probability of detection .90 at 95 % confidence: 29 of 29, 45 of 46, 59 of 61 (MIL-HDBK-1823A's background)
    assert pieces_for_promise(0.10, 0.95, misses) == pieces
    assert misses_allowed(pieces, 0.10, 0.95) == misses
    assert misses_allowed(pieces - 1, 0.10, 0.95) == (misses - 1 if misses else None)


def test_too_few_pieces_allow_no_promise() -> None:
    assert misses_allowed(28, 0.10, 0.95) is None
    assert misses_allowed(0, 0.10, 0.95) is None


@pytest.mark.parametrize("share", [0.0, 0.03, 0.2, 0.5, 1.0])
@pytest.mark.parametrize("half_width", [0.01, 0.05, 0.2])
def test_planned_size_is_the_smallest_that_does(share: float, half_width: float) -> None:
    def reached(n: int) -> float:
        z = float(stats.norm.ppf(0.975))
        return z * float(np.sqrt(share * (1 - share) / n + z * z / (4 * n * n))) / (1 + z * z / n)

    planned = pieces_for_half_width(share, half_width)
    assert reached(planned) <= half_width * (1 + 1e-9)
    assert planned == 1 or reached(planned - 1) > half_width


@pytest.mark.parametrize(("share", "total"), [(0.05, 100), (0.1, 60), (0.2, 50), (0.5, 40), (0.9, 200)])
def test_wilson_covers_what_it_says(share: float, total: int) -> None:
    # Exact, no chance involved: the binomial chance of all counts whose interval holds the true share.
    counts = np.arange(total + 1)
    chance = stats.binom.pmf(counts, total, share)
    inside = [(ci := wilson(int(k), total).ci) is not None and ci[0] <= share <= ci[1] for k in counts]
    assert 0.93 <= chance[inside].sum() <= 0.98


def test_paired_difference_covers_what_it_says() -> None:
    # 400 studies of 120 pieces, chances .80 .10 .05 .05: a true 95 % is seen with standard error 1.1 %; outside 91 to
    # 99 % less than once in 1000.
    rng = np.random.default_rng(8)
    hits = 0
    for draw in rng.multinomial(120, [0.80, 0.10, 0.05, 0.05], 400).tolist():
        ci = difference_paired(PairedCounts(*draw)).ci
        hits += ci is not None and ci[0] <= 0.05 <= ci[1]
    assert 0.91 <= hits / 400 <= 0.99
