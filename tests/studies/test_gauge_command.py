"""The command `gauge`: what it writes, and how it refuses."""

from pathlib import Path

import numpy as np
import pytest

from tests.shell import Run
from tests.statistics.published import AIAG
from tests.studies.conftest import json_of


def _gauge_csv(path: Path, values: np.ndarray) -> Path:
    parts, operators, trials = values.shape
    rows = [
        f"{p + 1},{'ABC'[o]},{t + 1},{values[p, o, t]}"
        for p in range(parts)
        for o in range(operators)
        for t in range(trials)
    ]
    path.write_text("\n".join(["part,operator,trial,value", *rows]) + "\n", encoding="utf-8")
    return path


def test_gauge_writes_what_was_agreed(run: Run, tmp_path: Path) -> None:
    table = _gauge_csv(tmp_path / "gauge.csv", AIAG)
    ran = run("gauge", table, "--out", tmp_path / "out", "--tolerance", "8")
    assert ran.code == 0, ran.err
    found = json_of(tmp_path / "out" / "gauge.json")
    sources = {"repeatability", "operator", "interaction", "part", "reproducibility", "gauge", "total"}
    assert (found["format"], found["method"]) == (1, "anova")
    assert (found["parts"], found["operators"], found["trials"]) == (10, 3, 3)
    assert set(found["variance"]) == sources
    assert set(found["anova"]) == {"part", "operator", "interaction", "repeatability", "total"}
    assert set(found["anova"]["part"]) == {"ss", "df", "ms", "f", "p"}
    assert found["distinct_categories"] == 4
    assert found["interaction_pooled"] is True
    assert found["tolerance_percent"]["gauge"] == pytest.approx(100 * 6 * 0.3023715 / 8, rel=1e-5)
    assert found["components"]["gauge"]["ci"][0] < found["variance"]["gauge"] < found["components"]["gauge"]["ci"][1]
    page = (tmp_path / "out" / "gauge.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 4
    assert "pooled" in page


@pytest.mark.parametrize("values", [np.full((3, 2, 2), 1.25), AIAG[:, :1, :], AIAG[:2, :2, :2]])
def test_gauge_reports_on_thin_studies_too(run: Run, tmp_path: Path, values: np.ndarray) -> None:
    ran = run("gauge", _gauge_csv(tmp_path / "gauge.csv", values), "--out", tmp_path / "out")
    assert ran.code == 0, ran.err
    assert json_of(tmp_path / "out" / "gauge.json")["tolerance_percent"] is None


def test_gauge_refuses_an_incomplete_table_and_names_what_is_missing(run: Run, tmp_path: Path) -> None:
    table = _gauge_csv(tmp_path / "gauge.csv", AIAG)
    table.write_text("\n".join(table.read_text(encoding="utf-8").splitlines()[:-1]) + "\n", encoding="utf-8")
    ran = run("gauge", table, "--out", tmp_path / "out")
    assert ran.code == 2
    assert "part 10, operator C, trial 3" in ran.err
    assert not (tmp_path / "out").exists()
