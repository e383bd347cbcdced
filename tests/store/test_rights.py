"""Who may read a works' files, and whose rights end when; cells that no spreadsheet takes for formulas."""

import os
import stat
from contextlib import closing
from pathlib import Path

import pytest

from app.pages.server_state import Pass, ServerState, lasting_secret
from app.store import export_pieces
from app.store.results.exports import verdicts_csv
from app.store.results.filing import file_result
from app.store.results.recall import Which
from app.works.folder import Person, new_works, read_works
from app.works.rights import rights_words
from tests.store.made import made_tray, to_file
from vision.formats import read_rows, spreadsheet_cell, write_atomic


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_new_works_is_for_its_owner_and_group_alone(tmp_path: Path) -> None:
    os.umask(0o022)
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    with closing(works.open()) as store:
        file_result(store, to_file())
        lasting_secret(works.folder)
        write_atomic(works.results / "a.json", "{}")
        modes = {path: mode(path) for path in [works.folder, *works.folder.rglob("*")]}
    assert works.folder / "store.sqlite-wal" in modes
    for path, found in modes.items():
        secret = path.name == ".desk-secret"
        assert found == (0o600 if secret else 0o770 if path.is_dir() else 0o660), path
    assert rights_words(works) == ()


def test_rights_that_are_there_are_kept_and_told(tmp_path: Path) -> None:
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    os.umask(0o022)
    works.folder.chmod(0o755)
    (works.folder / "works.toml").chmod(0o640)
    write_atomic(works.folder / "works.toml", (works.folder / "works.toml").read_bytes())
    assert mode(works.folder / "works.toml") == 0o640
    (works.folder / "login.toml").write_text("[auth]\n")
    again = read_works(works.folder)
    write_atomic(again.results / "a.json", "{}")
    assert mode(again.results / "a.json") == 0o644
    assert mode(works.folder) == 0o755
    opened, secret = rights_words(again)
    assert "open to every account" in opened
    assert "login.toml: a secret" in secret


def test_a_role_taken_away_ends_at_once(tmp_path: Path) -> None:
    people = (Person("R. Hale", ("review", "release"), None), Person("A. Moss", ("review",), None))
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works", people)
    with closing(works.open()) as store:
        server = ServerState(store, works, login=True)
        passes = [server.write_pass(Pass(one.name, one.roles, "login")) for one in people]
        assert [server.read_pass(text) for text in passes] == [Pass(one.name, one.roles, "login") for one in people]
        file = works.folder / "works.toml"
        text = file.read_text()
        file.write_text(text.replace('["review", "release"]', '["read"]').replace("A. Moss", "B. Reed"))
        held, gone = (server.read_pass(one) for one in passes)
        assert held == Pass("R. Hale", ("read",), "login")
        assert gone == Pass("A. Moss", (), "login")
        file.write_text("half a fi")  # being edited: as it was before
        assert server.read_pass(passes[0]) == Pass("R. Hale", ("read",), "login")


@pytest.mark.parametrize("cell", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\tx", "=HYPERLINK(1)"])
def test_a_cell_that_a_spreadsheet_would_reckon_is_text(cell: str) -> None:
    assert spreadsheet_cell(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["-0.5", "+3", "1e3", -0.5, None, "T-1", "", "'quoted'", "a=b"])
def test_other_cells_stay_as_they_are(cell: object) -> None:
    assert spreadsheet_cell(cell) is cell


def test_what_goes_out_can_t_bite_and_comes_back_as_it_was(tmp_path: Path) -> None:
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    with closing(works.open()) as store:
        file_result(store, to_file(made_tray("=T", lot="@L")))
        assert export_pieces(store, Which(), tmp_path / "pieces.csv") == 3
    text = (tmp_path / "pieces.csv").read_text()
    heads = text.split("\n", 1)[0].split(",")
    rows = list(read_rows(tmp_path / "pieces.csv", heads))
    assert "'=T,'@L," in text
    assert {(row.cells["tray"], row.cells["lot"]) for row in rows} == {("=T", "@L")}
    assert verdicts_csv([]).count("\n") == 1
