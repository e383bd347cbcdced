"""The commands `agree` and `tune` on a lot that lies in a works: the same study as of its files."""

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from app.cli.import_results import command as import_results
from app.works.folder import new_works
from tests.shell import Run
from tests.studies.conftest import json_of, lot_of_files


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A lot of 12 trays: filing many verdicts takes long."""
    return lot_of_files(tmp_path_factory.mktemp("lot"), 12)


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
        ours, theirs = (json_of(tmp_path / f"{kind}-{name}" / f"{name}.json") for kind in ("works", "files"))
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
