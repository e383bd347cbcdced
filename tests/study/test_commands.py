"""The commands `agree`, `tune` and `gauge`: what they write, and how they refuse."""

import json
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from app.cli import main as entry
from app.cli.import_results import command as import_results
from app.store.works import new_works
from app.study.lot import part_as_seen, read_lot
from tests.study.lots import LIMITS, Inspector, sample, verdict_lines, write_results
from tests.study.published import AIAG
from vision.files.limits import read_limits, write_limits


@dataclass(frozen=True)
class Ran:
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Call the command as a shell would."""

    def call(*words: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["brightbowl", *map(str, words)])
        code = 0
        try:
            entry.main()
        except SystemExit as leave:
            code = int(leave.code or 0)
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return call


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A lot of 60 trays with results, verdicts of three inspectors and limits."""
    folder = tmp_path_factory.mktemp("works")
    rng = np.random.default_rng(12)
    lot = sample(rng, 60)
    write_results(lot.trays, folder / "results")
    people = [Inspector("Ada", rounds=2), Inspector("Ben", 0.06, 0.02), Inspector("Cleo", 0.02, 0.06)]
    (folder / "verdicts.csv").write_text("\n".join(verdict_lines(rng, lot, people)) + "\n", encoding="utf-8")
    write_limits(LIMITS, folder / "limits.toml")
    return folder


def _json(path: Path) -> dict[str, Any]:
    table: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return table


PAIR_KEYS = {"table", "agreement", "kappa", "missed", "false_alarm", "mcnemar_p"}


def test_agree_writes_what_was_agreed(run: Run, works: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    ran = run("agree", "--results", works / "results", "--verdicts", works / "verdicts.csv", "--out", out)
    assert ran.code == 0, ran.err
    assert "agreement.json" in ran.out
    table = _json(out / "agreement.json")
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


@pytest.fixture(scope="module")
def filed(works: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same lot in a works folder and its store, results by part and station as `inspect --works` leaves them."""
    folder = tmp_path_factory.mktemp("filed") / "works"
    made = new_works(folder, "Aldermoor Flatware Works")
    shutil.copytree(works / "results", made.results / "TS-135" / "ST-1")
    shutil.copy(works / "limits.toml", made.limits_file("TS-135"))
    words = [str(made.results), "--works", str(folder), "--verdicts", str(works / "verdicts.csv")]
    assert CliRunner().invoke(import_results, words, catch_exceptions=False).exit_code == 0
    return folder


def test_a_lot_of_the_works_gives_the_same_study(run: Run, works: Path, filed: Path, tmp_path: Path) -> None:
    files = ("--results", works / "results", "--verdicts", works / "verdicts.csv")
    for name, words, of_files in (
        ("agreement", ("agree",), ()),
        ("tuning", ("tune", "--measure", "outline_out_mm", "--zone", "bowl"), ("--limits", works / "limits.toml")),
    ):
        assert run(*words, *files, *of_files, "--out", tmp_path / f"files-{name}").code == 0
        ran = run(*words, "--works", filed, "--out", tmp_path / f"works-{name}")
        assert ran.code == 0, ran.err
        ours, theirs = (_json(tmp_path / f"{kind}-{name}" / f"{name}.json") for kind in ("works", "files"))
        assert ours == theirs


def test_a_report_finds_the_pictures_of_a_works(run: Run, filed: Path, tmp_path: Path) -> None:
    run("agree", "--works", filed, "--out", tmp_path / "before")
    for tray in (filed / "results" / "TS-135" / "ST-1").iterdir():
        cv2.imwrite(str(tray / "tray.jpg"), np.full((20, 30, 3), 128, np.uint8))
    run("agree", "--works", filed, "--out", tmp_path / "after")
    pages = [(tmp_path / when / "agreement.html").read_text(encoding="utf-8") for when in ("before", "after")]
    assert ["data:image/jpeg" in page for page in pages] == [False, True]


def test_calls_that_do_not_say_which_lot(run: Run, works: Path, filed: Path, tmp_path: Path) -> None:
    out = ("--out", tmp_path / "out")
    for words, said in (
        (("agree", *out), "--works in place of both"),
        (("agree", "--works", filed, "--results", works / "results", *out), "not both"),
        (("agree", "--works", filed, "--lot", "L-0000-00", *out), "--lot"),
        (
            ("tune", "--results", works / "results", "--verdicts", works / "verdicts.csv", "--measure", "x", *out),
            "limits",
        ),
    ):
        ran = run(*words)
        assert ran.code == 2, words
        assert said in ran.err
    assert not (tmp_path / "out").exists()


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
    assert _json(tmp_path / "out" / "agreement.json")["pieces"] == 240


def test_damaged_result_is_left_out_and_named(run: Run, works: Path, tmp_path: Path) -> None:
    results = tmp_path / "results"
    shutil.copytree(works / "results", results)
    (results / "T-000003" / "result.json").write_text("{", encoding="utf-8")
    ran = run("agree", "--results", results, "--verdicts", works / "verdicts.csv", "--out", tmp_path / "out")
    assert ran.code == 1
    assert "T-000003" in ran.err
    assert "Traceback" not in ran.err
    assert _json(tmp_path / "out" / "agreement.json")["pieces"] == 236


def test_spreadsheet_with_semicolons_and_a_mark_is_the_same_study(run: Run, works: Path, tmp_path: Path) -> None:
    text = (works / "verdicts.csv").read_text(encoding="utf-8").replace(",", ";")
    verdicts = tmp_path / "verdicts.csv"
    verdicts.write_text("\ufeff" + text, encoding="utf-8")
    run("agree", "--results", works / "results", "--verdicts", works / "verdicts.csv", "--out", tmp_path / "one")
    run("agree", "--results", works / "results", "--verdicts", verdicts, "--out", tmp_path / "two")
    assert _json(tmp_path / "one" / "agreement.json") == _json(tmp_path / "two" / "agreement.json")


def test_verdicts_on_none_of_the_pieces_are_told_not_guessed(run: Run, works: Path, tmp_path: Path) -> None:
    verdicts = tmp_path / "verdicts.csv"
    verdicts.write_text("tray,piece,inspector,round,verdict,defects,note,given_at\n", encoding="utf-8")
    ran = run("agree", "--results", works / "results", "--verdicts", verdicts, "--out", tmp_path / "out")
    assert ran.code == 0
    assert "nothing to compare" in ran.out
    table = _json(tmp_path / "out" / "agreement.json")
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


def _tune(run: Run, works: Path, out: Path, *more: object) -> Ran:
    call = ("tune", "--results", works / "results", "--verdicts", works / "verdicts.csv")
    return run(*call, "--limits", works / "limits.toml", "--out", out, *more)


def test_tune_writes_its_study_and_the_next_draft(run: Run, works: Path, tmp_path: Path) -> None:
    draft = tmp_path / "draft.toml"
    ran = _tune(run, works, tmp_path / "out", "--measure", "outline_out_mm", "--max-missed", "0.1", "--write", draft)
    assert ran.code == 0, ran.err
    table = _json(tmp_path / "out" / "tuning.json")
    setting = table["recommended"]["setting"]
    assert setting is not None
    assert f"{setting:g}" in ran.out
    written = read_limits(draft, part_as_seen(read_lot(works / "results")))
    assert (written.revision, written.status) == (LIMITS.revision + 1, "draft")
    assert [one.max for one in written.limits if one.measure == "outline_out_mm"] == [setting]
    assert read_limits(works / "limits.toml", part_as_seen(read_lot(works / "results"))) == LIMITS
    assert table["recommended"]["rates"]["missed"]["value"] <= 0.1
    assert len(table["curve"]) == len(table["unguarded"])
    assert table["costs"] is None
    page = (tmp_path / "out" / "tuning.html").read_text(encoding="utf-8")
    assert "DeLong" in page
    assert "Cross-validation" in page


def test_tune_says_when_the_lot_is_too_small_and_writes_no_draft(run: Run, works: Path, tmp_path: Path) -> None:
    draft = tmp_path / "draft.toml"
    ran = _tune(run, works, tmp_path / "out", "--measure", "outline_out_mm", "--max-missed", "0.001", "--write", draft)
    assert ran.code == 1
    assert "too small" in ran.out
    assert "2995 would do" in ran.out
    assert not draft.exists()
    assert _json(tmp_path / "out" / "tuning.json")["recommended"]["setting"] is None


def test_tune_takes_counting_rules_and_costs(run: Run, works: Path, tmp_path: Path) -> None:
    costs = ("--cost-missed", "40", "--cost-scrapped", "0.5", "--bad-share", "0.02")
    ran = _tune(run, works, tmp_path / "out", "--measure", "scratch_min_snr", "--max-missed", "0.1", *costs)
    assert ran.code == 0, ran.err
    table = _json(tmp_path / "out" / "tuning.json")
    assert table["measure"] == "scratch_min_snr"
    assert table["now"]["rates"]["setting"] == 6.0
    assert all(one["cost"] is not None for one in table["curve"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--measure", "bowl_depth_mm"), "one of outline_out_mm"),
        (("--measure", "outline_out_mm", "--zone", "neck"), "bowl, handle"),
        (("--measure", "outline_out_mm", "--cost-missed", "3"), "together"),
        (("--measure", "bend_deg"), "missing in every piece"),
    ],
)
def test_tune_refuses_in_one_line(run: Run, works: Path, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    ran = _tune(run, works, tmp_path / "out", *words)
    assert ran.code == 2
    assert said in ran.err
    assert ran.err.count("\n") == 1
    assert not (tmp_path / "out").exists()


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
    found = _json(tmp_path / "out" / "gauge.json")
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
    assert _json(tmp_path / "out" / "gauge.json")["tolerance_percent"] is None


def test_gauge_refuses_an_incomplete_table_and_names_what_is_missing(run: Run, tmp_path: Path) -> None:
    table = _gauge_csv(tmp_path / "gauge.csv", AIAG)
    table.write_text("\n".join(table.read_text(encoding="utf-8").splitlines()[:-1]) + "\n", encoding="utf-8")
    ran = run("gauge", table, "--out", tmp_path / "out")
    assert ran.code == 2
    assert "part 10, operator C, trial 3" in ran.err
    assert not (tmp_path / "out").exists()
