"""Gauge studies against published ones, and the coverage of their intervals."""

from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from app.statistics.anova import two_way
from app.studies.gauge import GaugeTable, study_gauge, two_way_components
from app.studies.gauge_input import read_gauge_table
from tests.statistics.published import AIAG, HOUF_BERMAN, MONTGOMERY, Array
from vision.errors import Unusable


def _table(values: Array) -> GaugeTable:
    parts, operators, _ = values.shape
    return GaugeTable(tuple(map(str, range(parts))), tuple(map(str, range(operators))), values)


def test_aiag_example() -> None:
    # AIAG, Measurement Systems Analysis, 4th edition, analysis of variance of the worked example
    study = study_gauge(_table(AIAG))
    assert study.interaction_pooled
    spread = {name: sqrt(v) for name, v in study.variance.items() if v is not None}
    assert spread["repeatability"] == pytest.approx(0.199933, abs=5e-7)
    assert spread["operator"] == pytest.approx(0.226838, abs=5e-7)
    # printed .302373, which is the root of the sum of the two printed squares; unrounded it is .3023715
    assert spread["gauge"] == pytest.approx(sqrt(0.199933**2 + 0.226838**2), abs=1e-6)
    assert spread["gauge"] == pytest.approx(0.302373, abs=2e-6)
    assert spread["part"] == pytest.approx(1.042327, abs=5e-7)
    assert spread["total"] == pytest.approx(1.0853, abs=5e-5)
    total = study.variance["total"]
    assert total is not None
    shares = [100 * (study.variance[name] or 0.0) / total for name in ("repeatability", "operator", "gauge", "part")]
    assert shares == pytest.approx([3.4, 4.4, 7.8, 92.2], abs=0.05)
    assert study.study_percent is not None
    assert study.study_percent["gauge"] == pytest.approx(27.86, abs=5e-3)
    assert study.distinct_categories == 4


def test_montgomery_example_has_a_negative_interaction_shown_as_it_is() -> None:
    # Design and Analysis of Experiments, example 13.1: full model part 10.2798, operator 0.0149, interaction -0.1399,
    # error 0.9917; reduced part 10.2513, operator 0.0106, error 0.8832
    study = study_gauge(_table(MONTGOMERY))
    assert study.interaction_pooled
    assert study.variance["interaction"] == 0.0
    reduced = [study.variance[name] for name in ("part", "operator", "repeatability")]
    assert reduced == pytest.approx([10.2513, 0.0106, 0.8832], abs=5e-5)
    part, operator, error = (study.components[name] for name in ("part", "operator", "repeatability"))
    assert part is not None
    assert operator is not None
    assert error is not None
    # large-sample standard errors (lme4's restricted likelihood, and Montgomery's table of the full model: 3.3738,
    # .03296); here of the reduced model
    assert part.se == pytest.approx(3.3738, abs=5e-5)
    assert operator.se == pytest.approx(0.03286, abs=5e-5)
    total = study.variance["total"]
    assert total == pytest.approx(11.1451, abs=5e-5)


def test_negative_component_stays_visible_when_it_is_not_pooled() -> None:
    # Operators that agree better than repeats allow: the operator's variance is estimated below zero.
    rng = np.random.default_rng(3)
    values = rng.normal(0, 1, (6, 1, 1)) + rng.normal(0, 0.5, (6, 3, 2))
    values -= values.mean(axis=(0, 2), keepdims=True)
    study = study_gauge(_table(values))
    operator = study.components["operator"]
    assert operator is not None
    assert operator.value < 0.0
    assert operator.ci[0] == 0.0
    assert study.variance["operator"] == 0.0


def test_houf_and_berman_keep_their_interaction() -> None:
    # Montgomery, Introduction to Statistical Quality Control: part 48.29, operator .5646, interaction .7280, error
    # .5111
    study = study_gauge(_table(HOUF_BERMAN), tolerance=18.0)
    assert not study.interaction_pooled
    found = [study.variance[name] for name in ("part", "operator", "interaction", "repeatability")]
    assert found == pytest.approx([48.293, 0.5646, 0.7280, 0.5111], abs=5e-4)
    assert study.variance["gauge"] == pytest.approx(1.8037, abs=5e-5)
    assert study.tolerance_percent is not None
    assert study.tolerance_percent["gauge"] == pytest.approx(100 * 6 * sqrt(1.8037) / 18, abs=1e-2)
    # Burdick, Borror and Montgomery 2003, J. Qual. Technol. 35:342, 95 % interval of the gauge's variance (from memory)
    gauge = study.components["gauge"]
    assert gauge is not None
    assert gauge.ci == pytest.approx((1.20, 27.0), abs=0.05)


def test_one_operator_tells_repeatability_only() -> None:
    study = study_gauge(_table(AIAG[:, :1, :]))
    assert study.variance["operator"] is None
    assert study.variance["reproducibility"] is None
    assert study.variance["gauge"] == study.variance["repeatability"]


def test_equal_values_have_no_percentages_and_no_categories() -> None:
    study = study_gauge(_table(np.full((3, 2, 2), 0.3)), tolerance=1.0)
    assert study.study_percent is None
    assert study.distinct_categories is None
    assert study.tolerance_percent is not None
    assert study.tolerance_percent["gauge"] == 0.0
    assert not study.interaction_pooled


def test_a_gauge_that_tells_nothing_apart_still_knows_one_category() -> None:
    values = np.random.default_rng(1).normal(0, 1, (5, 3, 3))
    study = study_gauge(_table(values))
    assert study.distinct_categories == 1


@pytest.mark.parametrize(
    ("truth", "shape"),
    [
        # part, operator, interaction, error variances
        ((10.0, 1.0, 1.0, 1.0), (10, 3, 3)),
        ((1.0, 0.2, 0.3, 1.0), (15, 4, 2)),
    ],
)
def test_intervals_cover_the_true_variances(truth: tuple[float, ...], shape: tuple[int, int, int]) -> None:
    # 1000 studies with the interaction kept (where pooling decides, the interval is conditional on that). A true 95 %
    # is seen with standard error 0.7 %; 92.5 to 98 % leaves a chance below 1 in 500 for each of 7 components; the
    # method itself is known to reach 96 to 97 % for sums.
    part, operator, interaction, error = truth
    p, o, r = shape
    rng = np.random.default_rng(11)
    expected = {
        "repeatability": error,
        "operator": operator,
        "interaction": interaction,
        "part": part,
        "reproducibility": operator + interaction,
        "gauge": operator + interaction + error,
        "total": sum(truth),
    }
    hits = dict.fromkeys(expected, 0)
    for _ in range(1000):
        values = (
            rng.normal(0, sqrt(part), (p, 1, 1))
            + rng.normal(0, sqrt(operator), (1, o, 1))
            + rng.normal(0, sqrt(interaction), (p, o, 1))
            + rng.normal(0, sqrt(error), (p, o, r))
        )
        found = two_way_components(two_way(values), values.shape)
        for name, value in expected.items():
            one = found[name]  # type: ignore[index]
            hits[name] += one is not None and one.ci[0] <= value <= one.ci[1]
    for name, count in hits.items():
        assert 0.925 <= count / 1000 <= 0.98, name


HEADING = "part,operator,trial,value\n"
ROWS = [f"{p},{o},{t},{p}.{o}{t}" for p in (1, 2, 3) for o in (1, 2) for t in (1, 2)]


def _write(folder: Path, text: str) -> Path:
    path = folder / "gauge.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_table_is_read_whatever_its_order(tmp_path: Path) -> None:
    table = read_gauge_table(_write(tmp_path, HEADING + "\n".join(ROWS[::-1])))
    assert table.values.shape == (3, 2, 2)
    assert table.values[table.parts.index("2"), table.operators.index("1"), 0] == 2.12


def test_table_from_a_spreadsheet_with_semicolons_decimal_commas_and_a_mark(tmp_path: Path) -> None:
    text = "\ufeff" + (HEADING + "\n".join(ROWS)).replace(",", ";").replace(".", ",")
    plain = read_gauge_table(_write(tmp_path, HEADING + "\n".join(ROWS)))
    assert np.array_equal(read_gauge_table(_write(tmp_path, text)).values, plain.values)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEADING + "\n".join(ROWS[:-1]), "missing: part 3, operator 2, trial 2"),
        (HEADING + "\n".join([*ROWS, ROWS[0]]), "lines 2 and 14"),
        (HEADING + "\n".join(row for row in ROWS if row.split(",")[2] == "1"), "at least 2 trials"),
        (HEADING + "\n".join(ROWS[:4]), "at least 2 parts"),
        (HEADING, "at least 2 parts"),
        (HEADING + "1,1,1,\n", "line 2, value"),
        (HEADING + "1,1,1,nan\n", "finite number"),
        (HEADING + "1,,1,2.0\n", "line 2, operator"),
        ("part,operator,value\n1,1,2.0\n", "columns"),
        ("", "columns"),
    ],
)
def test_bad_tables_are_refused_in_one_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(Unusable, match=said) as fault:
        read_gauge_table(_write(tmp_path, text))
    assert "\n" not in str(fault.value)
