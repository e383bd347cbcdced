"""Bias, linearity and stability against reference pieces; the gauge against a tolerance."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from app.cli.bias import command
from app.studies.bias import study_bias
from app.studies.bias_input import Readings, read_readings
from app.studies.measuring_system import measuring_system
from tests.statistics.published import HANDBOOK_LINEARITY
from tests.studies.bias_simulation import percent_holds, simulate
from vision.errors import Unusable

HEAD = "piece,reference,reference_u,taken_at,value\n"


def test_the_handbooks_linearity() -> None:
    """AIAG, Measurement Systems Analysis (from memory, see `published`): line, and the five biases as printed there.

    The handbook's verdict, a linearity problem, is told too; beyond it that the five do not lie on a line.
    """
    reference, value = HANDBOOK_LINEARITY
    sitting = np.zeros(60, dtype=np.int64)
    pieces = ("1", "2", "3", "4", "5")
    study = study_bias(
        Readings(
            pieces, reference[::12], np.zeros(5), np.repeat(np.arange(5), 12), value, sitting, np.zeros(1)
        )
    )  # fmt: skip
    assert study.linearity is not None
    assert study.linearity.slope.value == pytest.approx(-0.131667, abs=5e-7)
    assert study.linearity.intercept.value == pytest.approx(0.736667, abs=5e-7)
    found = [one.bias.value for one in study.pieces]
    assert found == pytest.approx([0.491667, 0.125, 0.025, -0.291667, -0.616667], abs=5e-7)
    assert "Bias changes by -0.132" in study.words
    assert "Stability is not told" in study.words


@pytest.mark.parametrize("name", ["3 sittings that differ", "20 sittings, alike by 0.6"])
def test_a_system_without_bias_is_seldom_told_to_have_one(name: str) -> None:
    """60 studies of systems without bias, slope or drift, of 5 % false each: more than 9 have a chance of 0.1 %.

    And of as many with a bias: intervals of 95 % hold in at least 50 (chance of fewer 0.2 %). The full table is
    bias_simulation's.
    """
    found = simulate(name, 60)
    assert max(found.biased, found.sloped, found.drifts, found.outside) <= 9 / 60
    assert min(found.bias_held, found.mean_held, found.slope_held) >= 50 / 60


def test_what_is_there_is_told() -> None:
    """A bend of 0.05 mm and a drift of 0.04 mm in 20 sittings: both far beyond what scatters."""
    bent = simulate("10 sittings, bias that bends", 20)
    assert bent.biased == 1.0
    assert bent.off_line == 1.0
    assert simulate("20 sittings that drift", 20).drifts >= 0.3


def test_the_share_of_the_tolerance_is_held() -> None:
    """40 studies whose interval of 95 % must hold the truth: fewer than 33 have a chance of 0.2 %."""
    assert percent_holds(40) >= 33 / 40


def test_arithmetic_of_iso_22514_7() -> None:
    """From memory: 15 % of the tolerance is an index of 1.33, and so is 30 % of a process; sum of the components."""
    reference, value = HANDBOOK_LINEARITY
    readings = Readings(
        ("1", "2", "3", "4", "5"), reference[::12], np.full(5, 0.01), np.repeat(np.arange(5), 12), value,
        np.zeros(60, dtype=np.int64), np.zeros(1),
    )  # fmt: skip
    study = study_bias(readings)
    held = measuring_system(study, 10.0, 2.0, None)
    system = held.system
    by_name = {part.name: part.u for part in system.parts}
    assert by_name["resolution"] == pytest.approx(2.0 / np.sqrt(12.0))  # larger than the repeatability
    assert by_name["bias"] == pytest.approx(0.0533333 / np.sqrt(3.0), rel=1e-5)
    assert by_name["linearity"] == pytest.approx((0.6166667 - 0.0533333) / np.sqrt(3.0), rel=1e-5)
    whole = np.sqrt(sum(u**2 for u in by_name.values()))
    assert system.percent == pytest.approx(100.0 * 2.0 * (2.0 * whole) / 10.0)
    assert system.index == pytest.approx(0.3 * 10.0 / (6.0 * whole))
    assert system.outcome == "not capable"
    assert held.process is None


def table(tmp_path: Path, rows: list[str]) -> Path:
    path = tmp_path / "reference.csv"
    path.write_text(HEAD + "\n".join(rows) + "\n")
    return path


def test_the_command_as_a_person_calls_it(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    rows = [
        f"R{k},{ref},0.002,2026-11-{day:02}T06:00,{ref + 0.03 + rng.normal(0.0, 0.01):.4f}"
        for day in range(2, 14)
        for k, ref in enumerate((20.0, 100.0, 210.0))
        for _ in range(2)
    ]
    out = tmp_path / "out"
    done = CliRunner().invoke(
        command, [str(table(tmp_path, rows)), "--out", str(out), "--tolerance", "1", "--resolution", "0.001"]
    )
    assert done.exit_code == 0, done.output
    assert "Biased at R0, R1, R2" in done.output
    assert "No drift is shown" in done.output
    assert "measuring system: capable" in done.output
    figures = json.loads((out / "bias.json").read_text())
    assert figures["mean"]["value"] == pytest.approx(0.03, abs=0.006)
    assert len(figures["stability"]["sittings"]) == 12
    assert figures["process"] is None
    page = (out / "bias.html").read_text()
    assert page.count("<svg") == 2
    assert "ISO 22514-7" in page


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["R1,10,,,10.1"], "read twice"),
        (["R1,10,,,10.1", "R1,11,,,10.1"], "one reference value"),
        (["R1,10,,2026-11-02,10.1", "R1,10,,,10.1"], "in every line, or in none"),
        (["R1,10,,yesterday,10.1", "R1,10,,,10.1"], "a date or time"),
        (["R1,10,-1,,10.1", "R1,10,-1,,10.1"], "0 or more"),
        (["R1,10,,,wide", "R1,10,,,10.1"], "a finite number"),
        ([",10,,,10.1"], "cell is empty"),
    ],
)
def test_tables_that_tell_nothing_are_refused(tmp_path: Path, rows: list[str], said: str) -> None:
    with pytest.raises(Unusable, match=said):
        read_readings(table(tmp_path, rows))


def test_one_piece_read_twice_has_a_bias_and_no_more(tmp_path: Path) -> None:
    study = study_bias(read_readings(table(tmp_path, ["R1,10,,,10.1", "R1,10,,,10.3"])))
    assert study.mean.value == pytest.approx(0.2)
    assert study.linearity is None
    assert study.stability is None
    (one,) = study.pieces
    assert not one.significant
    # all alike: no scatter, the bias is what it is
    alike = study_bias(read_readings(table(tmp_path, ["R1,10,,,10.1", "R1,10,,,10.1"])))
    assert alike.pieces[0].significant
    assert measuring_system(alike, 1.0, None, None).system.percent == pytest.approx(400 * 0.1 / np.sqrt(3))
