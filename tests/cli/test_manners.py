"""Manners: a file that is missing is named once, and where nothing can be done nothing is written."""

import shutil
import sys
from contextlib import closing
from pathlib import Path

import pytest

from app.store.results.filing import file_result
from app.watch.health import Health
from app.works.folder import Works, new_works, read_works
from app.works.runs import runs_of
from tests.formats.made import write_shot
from tests.run.made import make_files, make_shots
from tests.shell import Run
from tests.store.made import made_tray, to_file


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A works with one filed lot."""
    made = new_works(tmp_path_factory.mktemp("made") / "works", "Aldermoor Flatware Works")
    with closing(made.open()) as store:
        file_result(store, to_file(made_tray("T-1", lot="L-1")))
    return made.folder


@pytest.fixture
def works(made: Path, tmp_path: Path) -> Works:
    """That works, of this test alone."""
    return read_works(Path(shutil.copytree(made, tmp_path / "works")))


def test_one_missing_file_is_named_once(works: Works, tmp_path: Path) -> None:
    shots = make_shots(tmp_path / "shots", *(f"T-{number}" for number in range(30)))
    runs, failures = runs_of(works, shots)
    assert runs == []
    (line,) = failures
    assert line == f"{works.part_file('TS-135')}: this file is missing; the shot {shots[0]} needs it, and 29 more"


CALLS = {
    "export --works {works} --out {new} --lot NOPE": "--lot: a lot of the store expected",
    "export --works {works} --out {new} --part NOPE": "--part: one of TS-135 expected",
    "lot NOPE --works {works}": "NOPE",
    "calibrate {shot}/back.png --squares 9x6 --pitch-mm 5 --out {files}/station.toml": "the picture is even",
    "sensor --lamp {shot}/low-090.png --out {new}.json --write {files}/station.toml": "low-090.png",
    "inspect {shot} --part {files}/part.toml --station {files}/station.toml --limits {files}/none --out {new}": "none",
    "shot {shot} {shot}/none --station {files}/station.toml": "none",
    "gauge {files}/part.toml --out {new}": "part.toml",
    "tune --works {works} --lot NOPE --measure length_mm --out {new}": "NOPE",
    "agree --works {works} --lot NOPE --out {new}": "NOPE",
    "pod {shot} --part {files}/part.toml --station {files}/none.toml --out {new}": "none.toml",
    "limits draft --part {files}/none.toml --out {new}.toml": "none.toml",
    "backup --works {files} --out {new}.zip": "works",
    "restore {files}/part.toml --works {new}": "part.toml",
    "new {files}": "a new or empty folder",
    "import {files} --works {works}": "no result.json",
}


@pytest.mark.parametrize("call", CALLS)
def test_where_a_call_can_not_be_used_nothing_is_written(call: str, works: Works, tmp_path: Path, run: Run) -> None:
    (tmp_path / "files").mkdir()
    make_files(tmp_path / "files")
    write_shot(tmp_path / "T-1")
    places = {"works": works.folder, "files": tmp_path / "files", "shot": tmp_path / "T-1", "new": tmp_path / "new"}
    before = snapshot(tmp_path)
    code, _, errors = run(*call.format(**places).split())
    assert code == 2
    assert CALLS[call] in errors
    assert snapshot(tmp_path) == before


def snapshot(folder: Path) -> dict[str, bytes | None]:
    """All files by content; what a database keeps beside its file for itself, left out."""
    files = [one for one in folder.rglob("*") if not one.name.startswith("store.sqlite")]
    return {str(one): one.read_bytes() if one.is_file() else None for one in files}


@pytest.mark.parametrize("looked_at", [True, False])
def test_who_looks_on_sees_a_line_a_tray(
    looked_at: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: looked_at)
    Health(tmp_path / "health.json", "").judged(made_tray("T-1", lot="L-1"))
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == (1 if looked_at else 0)
    assert not lines or lines[0].startswith("T-1 of lot L-1: ")
