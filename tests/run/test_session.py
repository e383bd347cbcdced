"""A whole run: its table, its summary, its failures."""

import csv
import math
from pathlib import Path

import pytest

import app.run.shot
from app.run.session import run
from app.studies.main_reason import first_reason
from tests.run.made import make_shots, make_work, stand_in
from vision.decide.verdicts import judge
from vision.formats.pieces_csv import write_pieces
from vision.formats.result import read_result
from vision.records.inputs import Limit, Limits
from vision.records.judged import TrayResult
from vision.records.measured import MeasuredPiece, Pit


@pytest.fixture(autouse=True)
def no_measuring(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.run.shot, "measure_tray", stand_in)


def test_table_holds_every_piece_and_a_column_a_zone(tmp_path: Path) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-2", "T-1")
    seen: list[int] = []
    summary = run(shots, work, 1, lambda ended, _: seen.append(ended))
    assert len(seen) == 2
    assert summary.failures == []
    with (work.out / "pieces.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["tray"], row["piece"], row["verdict"]) for row in rows] == [
        ("T-2", "1", "reject"),
        ("T-1", "1", "reject"),
    ]
    assert float(rows[0]["outline_out_mm.bowl"]) == 0.2
    assert float(rows[0]["length_mm"]) == 135.0
    assert rows[0]["bend_deg"] == ""
    assert rows[0]["reasons"] == "outline_out_mm.bowl"


def test_summary_counts_verdicts_and_ranks_first_reasons(tmp_path: Path) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", "T-2")
    said = run(shots, work, 1, lambda *_: None).lines()
    assert said[0] == "2 trays judged, 2 pieces: pass 0, review 0, reject 2"
    assert said[1] == "first reasons: outline_out_mm.bowl 2"


def test_a_table_that_can_not_be_written_is_a_failure_and_results_stay(tmp_path: Path) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1")
    (work.out / "pieces.csv").mkdir()
    (line,) = run(shots, work, 1, lambda *_: None).failures
    assert str(work.out / "pieces.csv") in line
    assert read_result(work.out / "T-1" / "result.json").pieces
    assert sorted(path.name for path in work.out.iterdir()) == ["T-1", "pieces.csv"]


def test_limits_that_nothing_can_pass_are_named_once(tmp_path: Path) -> None:
    made = make_work(tmp_path)
    limits = Limits("TS-135", 1, "draft", 0.95, (Limit("length_mm", "minor", min=134.99, max=135.01),))
    work = app.run.shot.Work(made.part, made.station, limits, made.out, False)
    (line,) = run(make_shots(tmp_path, "T-1", "T-2"), work, 1, lambda *_: None).failures
    assert "length_mm" in line
    assert "134.99" in line


def test_a_fault_goes_before_a_limit_that_only_asks_for_review() -> None:
    limits = Limits("TS-135", 1, "draft", 0.95, (Limit("length_mm", "minor", max=135.0),))
    hidden = judge(MeasuredPiece(1, "touching", None, {}, {}), limits)
    too_long = judge(MeasuredPiece(1, "touching", None, {"length_mm": 136.0}, {"length_mm": 0.01}), limits)
    assert first_reason(hidden) == "touching"
    assert first_reason(too_long) == "length_mm"


def test_the_table_ends_with_the_marks_of_each_face_in_another_notation(tmp_path: Path) -> None:
    work = make_work(tmp_path)
    limits = Limits("TS-135", 1, "draft", 0.95, ())
    marks = (Pit((0.0, 0.0), (0.0, 0.0), 0.2, 20.0), Pit((0.0, 0.0), (3.0, 0.0), 0.3, 20.0))
    scored = judge(MeasuredPiece(1, None, None, {"scored_area_cm2": 8.0}, {"scored_area_cm2": 0.01}, marks), limits)
    unseen = judge(MeasuredPiece(2, None, None, {}, {}), limits)
    result = TrayResult("brightbowl 0.1.0", "T-1", None, "TS-135", "ST-1", None, 1, (scored, unseen), ())
    write_pieces(work.out / "pieces.csv", work.part, [result])
    with (work.out / "pieces.csv").open(newline="") as file:
        first, second = csv.DictReader(file)
    assert list(first)[-2:] == ["face_grades", "face_marks_area_mm2"]
    assert first["face_grades"] == "5/1 × 0.400"
    assert float(first["face_marks_area_mm2"]) == pytest.approx(math.pi / 4.0 * (0.2**2 + 0.3**2))
    assert (second["face_grades"], second["face_marks_area_mm2"]) == ("", "")


def test_no_piece_at_all_leaves_a_table_of_headings(tmp_path: Path) -> None:
    work = make_work(tmp_path)
    write_pieces(work.out / "pieces.csv", work.part, [])
    with (work.out / "pieces.csv").open(newline="") as file:
        rows = list(csv.reader(file))
    assert len(rows) == 1
    assert rows[0][0] == "tray"
    assert "outline_out_mm.handle" in rows[0]
