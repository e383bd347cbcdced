"""The command `agree`: what it writes, and how it refuses."""

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.shell import Run
from tests.studies.conftest import json_of

PAIR_KEYS = {"table", "agreement", "kappa", "missed", "false_alarm", "mcnemar_p"}


def test_agree_writes_what_was_agreed(run: Run, works: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    ran = run("agree", "--results", works / "results", "--verdicts", works / "verdicts.csv", "--out", out)
    assert ran.code == 0, ran.err
    assert "agreement.json" in ran.out
    table = json_of(out / "agreement.json")
    assert table["format"] == 1
    assert table["pieces"] == 240
    assert set(table["camera_vs"]) == {"Ada", "Ben", "Cleo", "majority"}
    assert set(table["between"]) == {"Ada|Ben", "Ada|Cleo", "Ben|Cleo"}
    assert set(table["within"]) == {"Ada"}
    for pair in [*table["camera_vs"].values(), *table["between"].values(), *table["within"].values()]:
        assert set(pair) >= PAIR_KEYS
        assert set(pair["kappa"]) == {"value", "se", "ci"}
        low, high = pair["agreement"]["ci"]
        assert low <= pair["agreement"]["value"] <= high
    assert all("review" in pair for pair in table["camera_vs"].values())
    assert 0.5 < table["all_inspectors"]["fleiss_kappa"] < 1.0


def test_agree_report_stands_alone_and_says_how(run: Run, works: Path, tmp_path: Path) -> None:
    run("agree", "--results", works / "results", "--verdicts", works / "verdicts.csv", "--out", tmp_path)
    page = (tmp_path / "agreement.html").read_text(encoding="utf-8")
    assert "<svg" in page
    assert 'src="http' not in page
    assert "stylesheet" not in page
    for words in ("Fleiss, Cohen and Everitt (1969)", "Wilson", "PABAK", "Cautions", "--max-missed"):
        assert words in page


def test_same_input_gives_the_same_bytes(run: Run, works: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        run("agree", "--results", works / "results", "--verdicts", works / "verdicts.csv", "--out", tmp_path / name)
    for file in ("agreement.json", "agreement.html"):
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()


def test_report_shows_pictures_of_disputed_pieces(run: Run, works: Path, tmp_path: Path) -> None:

    results = tmp_path / "results"
    shutil.copytree(works / "results", results)
    for tray in results.iterdir():
        cv2.imwrite(str(tray / "tray.jpg"), np.full((20, 30, 3), 200, np.uint8))
        (tray / "result.html").write_text("", encoding="utf-8")
    run("agree", "--results", results, "--verdicts", works / "verdicts.csv", "--out", tmp_path / "out")
    page = (tmp_path / "out" / "agreement.html").read_text(encoding="utf-8")
    assert "data:image/jpeg;base64," in page
    assert 'href="../results/T-' in page
    assert "result.html#piece-" in page


def test_agree_writes_pdf(run: Run, works: Path, tmp_path: Path) -> None:
    ran = run("agree", "--results", works / "results", "--verdicts", works / "verdicts.csv", "--out", tmp_path, "--pdf")
    assert ran.code == 0, ran.err
    assert (tmp_path / "agreement.pdf").read_bytes().startswith(b"%PDF")


def test_verdict_on_a_piece_that_is_not_there_is_left_out_and_named(run: Run, works: Path, tmp_path: Path) -> None:
    verdicts = tmp_path / "verdicts.csv"
    verdicts.write_text(
        (works / "verdicts.csv").read_text(encoding="utf-8") + "T-999999,7,Ada,1,accept,,,\n", encoding="utf-8"
    )
    ran = run("agree", "--results", works / "results", "--verdicts", verdicts, "--out", tmp_path / "out")
    assert ran.code == 1
    assert "T-999999, piece 7" in ran.err
    assert json_of(tmp_path / "out" / "agreement.json")["pieces"] == 240


def test_damaged_result_is_left_out_and_named(run: Run, works: Path, tmp_path: Path) -> None:
    results = tmp_path / "results"
    shutil.copytree(works / "results", results)
    (results / "T-000003" / "result.json").write_text("{", encoding="utf-8")
    ran = run("agree", "--results", results, "--verdicts", works / "verdicts.csv", "--out", tmp_path / "out")
    assert ran.code == 1
    assert "T-000003" in ran.err
    assert "Traceback" not in ran.err
    assert json_of(tmp_path / "out" / "agreement.json")["pieces"] == 236


def test_spreadsheet_with_semicolons_and_a_mark_is_the_same_study(run: Run, works: Path, tmp_path: Path) -> None:
    text = (works / "verdicts.csv").read_text(encoding="utf-8").replace(",", ";")
    verdicts = tmp_path / "verdicts.csv"
    verdicts.write_text("\ufeff" + text, encoding="utf-8")
    run("agree", "--results", works / "results", "--verdicts", works / "verdicts.csv", "--out", tmp_path / "one")
    run("agree", "--results", works / "results", "--verdicts", verdicts, "--out", tmp_path / "two")
    assert json_of(tmp_path / "one" / "agreement.json") == json_of(tmp_path / "two" / "agreement.json")


def test_verdicts_on_none_of_the_pieces_are_told_not_guessed(run: Run, works: Path, tmp_path: Path) -> None:
    verdicts = tmp_path / "verdicts.csv"
    verdicts.write_text("tray,piece,inspector,round,verdict,defects,note,given_at\n", encoding="utf-8")
    ran = run("agree", "--results", works / "results", "--verdicts", verdicts, "--out", tmp_path / "out")
    assert ran.code == 0
    assert "nothing to compare" in ran.out
    table = json_of(tmp_path / "out" / "agreement.json")
    assert (table["pieces"], table["camera_vs"], table["all_inspectors"]["fleiss_kappa"]) == (0, {}, None)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["T-000001,1,Ada,1,accept,,,", "T-000001,1,Ada,1,reject,,,"], "lines 2 and 3"),
        (["T-000001,1,Ada,1,perhaps,,,"], "accept or reject"),
        (["T-000001,one,Ada,1,accept,,,"], "whole number"),
    ],
)
def test_bad_verdicts_end_in_one_line_and_write_nothing(
    run: Run, works: Path, tmp_path: Path, lines: list[str], said: str
) -> None:
    verdicts = tmp_path / "verdicts.csv"
    heading = "tray,piece,inspector,round,verdict,defects,note,given_at"
    verdicts.write_text("\n".join([heading, *lines]) + "\n", encoding="utf-8")
    ran = run("agree", "--results", works / "results", "--verdicts", verdicts, "--out", tmp_path / "out")
    assert ran.code == 2
    assert said in ran.err
    assert ran.err.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_results_that_make_no_lot_are_refused(run: Run, works: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    ran = run("agree", "--results", tmp_path / "empty", "--verdicts", works / "verdicts.csv", "--out", tmp_path / "out")
    assert ran.code == 2
    assert "result.json" in ran.err
    twice = tmp_path / "twice"
    shutil.copytree(works / "results" / "T-000001", twice / "a")
    shutil.copytree(works / "results" / "T-000001", twice / "b")
    ran = run("agree", "--results", twice, "--verdicts", works / "verdicts.csv", "--out", tmp_path / "out")
    assert ran.code == 2
    assert "T-000001 is also in a" in ran.err
