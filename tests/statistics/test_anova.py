"""Analysis of variance against certified and published tables."""

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from app.statistics.anova import Line, one_way, pooled, two_way
from tests.statistics.published import AIAG, HOUF_BERMAN, MONTGOMERY, Array

CERTIFIED = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"
NAMES = ["SiRstv", "AtmWtAg", *(f"SmLs0{k}" for k in range(1, 10))]


def _certified(name: str) -> tuple[list[list[float]], list[list[Decimal]]]:
    """Certified sums of squares, degrees of freedom and F, and the data of each treatment (NIST StRD)."""
    lines = (CERTIFIED / f"{name}.dat").read_text().splitlines()
    head = [line.split() for line in lines[40:60]]
    between = next(words for words in head if words and words[0] == "Between")
    within = next(words for words in head if words and words[0] == "Within")
    table = [[float(word) for word in between[-4:]], [float(word) for word in within[-3:]]]
    groups: dict[str, list[Decimal]] = {}
    for line in lines[60:]:
        if line.strip():
            label, value = line.split()
            groups.setdefault(label, []).append(Decimal(value))
    return table, list(groups.values())


def _digits(found: float, certified: float) -> float:
    """Log relative error: how many digits agree."""
    return 15.0 if found == certified else float(-np.log10(abs(found - certified) / abs(certified)))


@pytest.mark.parametrize("name", NAMES)
def test_certified_one_way_tables_of_nist_agree_to_nine_digits(name: str) -> None:
    (between, within), groups = _certified(name)
    # SmLs07 to 09 share 13 leading digits, which a float can't hold beside the rest: they are shifted exactly first.
    shift = groups[0][0] if name in ("SmLs07", "SmLs08", "SmLs09") else Decimal(0)
    found = one_way(np.array([[float(value - shift) for value in group] for group in groups]))
    assert (found.part.df, found.repeatability.df) == (between[0], within[0])
    assert found.part.f is not None
    seen = (found.part.ss, found.repeatability.ss, found.part.f)
    for one, certified in zip(seen, (between[1], within[1], between[3]), strict=True):
        assert _digits(one, certified) >= 9.0


@pytest.mark.parametrize("name", ["SmLs07", "SmLs08", "SmLs09"])
def test_thirteen_shared_digits_cost_no_more_than_the_float_already_lost(name: str) -> None:
    (between, within), groups = _certified(name)
    found = one_way(np.array([[float(value) for value in group] for group in groups]))
    assert _digits(found.part.ss, between[1]) >= 3.0
    assert _digits(found.repeatability.ss, within[1]) >= 3.0


def _lines(values: Array) -> Iterator[Line]:
    table = two_way(values)
    assert table.interaction is not None
    yield from (table.part, table.operator, table.interaction, table.repeatability, table.total)


@pytest.mark.parametrize(
    ("values", "sums", "tolerance"),
    [
        # AIAG, Measurement Systems Analysis, 4th edition
        (AIAG, [88.3619, 3.1673, 0.3590, 2.7589, 94.6471], 5e-5),
        # Montgomery, Design and Analysis of Experiments, table 13.2 (the operators' 2.617 and others to 3 decimals)
        (MONTGOMERY, [1185.425, 2.617, 27.050, 59.500, 1274.592], 5e-4),
        # Houf and Berman 1988
        (HOUF_BERMAN, [3935.96, 39.27, 48.51, 30.67, 4054.40], 5e-3),
    ],
)
def test_published_crossed_studies_give_their_sums_of_squares(
    values: Array, sums: list[float], tolerance: float
) -> None:
    assert [line.ss for line in _lines(values)] == pytest.approx(sums, abs=tolerance)


@pytest.mark.parametrize(
    ("values", "tests", "tolerance"),
    [
        (MONTGOMERY, [87.65, 1.84, 0.72], 5e-3),
        (HOUF_BERMAN, [162.27, 7.28, 5.27], 5e-3),
    ],
)
def test_published_crossed_studies_give_their_tests(values: Array, tests: list[float], tolerance: float) -> None:
    assert [line.f for line in list(_lines(values))[:3]] == pytest.approx(tests, abs=tolerance)


def test_pooled_table_of_montgomery() -> None:
    # table 13.3: F 70.64 and 1.48 after the interaction (p .861) is pooled
    table = two_way(MONTGOMERY)
    assert table.interaction is not None
    assert table.interaction.p == pytest.approx(0.861, abs=5e-4)
    reduced = pooled(table)
    assert [reduced.part.f, reduced.operator.f] == pytest.approx([70.64, 1.48], abs=5e-3)
    assert reduced.repeatability.df == 98
    assert pooled(reduced) == reduced


def test_sums_of_squares_add_up() -> None:
    values = np.random.default_rng(4).normal(1e6, 1.0, (7, 4, 3))
    part, operator, interaction, repeatability, total = _lines(values)
    assert part.ss + operator.ss + interaction.ss + repeatability.ss == pytest.approx(total.ss, rel=1e-9)
    assert part.df + operator.df + interaction.df + repeatability.df == total.df


def test_equal_values_give_no_test() -> None:
    table = one_way(np.full((3, 2), 0.1))
    assert (table.part.ss, table.part.f, table.part.p) == (0.0, None, None)
