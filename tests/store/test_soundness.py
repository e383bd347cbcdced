"""The store defends itself: another program's file, missing rows of versions, damage, logs that are not its own."""

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from app.store import open_store, recall_results
from app.store.database.connection import Away, _errors_in_one_line
from app.store.database.soundness import APPLICATION
from app.store.results.filing import file_result
from tests.store.made import made_tray, to_file
from tests.sturdy.flips import filled, in_every_page
from vision.errors import Unusable


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@pytest.mark.parametrize(
    "made",
    [
        ["CREATE TABLE song (id INTEGER PRIMARY KEY, title TEXT)", "INSERT INTO song VALUES (1, 'a')"],
        ["PRAGMA application_id = 252006675", "CREATE TABLE song (title TEXT)"],
        ["PRAGMA journal_mode = wal", "CREATE TABLE song (title TEXT)"],
        ["CREATE TABLE store_version (shop TEXT)", "CREATE TABLE goods (name TEXT)"],
        [
            "CREATE TABLE store_version (version INTEGER, software TEXT)",
            "INSERT INTO store_version VALUES (1, 'shop 2')",
        ],
    ],
    ids=["tables", "marked", "in its own log mode", "of our name", "of our form"],
)
def test_another_program_s_file_is_left_as_it_is(tmp_path: Path, made: list[str]) -> None:
    file = tmp_path / "store.sqlite"
    with closing(sqlite3.connect(file)) as other:
        for statement in made:
            other.execute(statement)
        other.commit()
    before = file.read_bytes()
    with pytest.raises(Unusable, match=r"another program's|a row for each version"):
        open_store(file)
    assert file.read_bytes() == before


def test_a_store_that_was_emptied_is_no_new_one(tmp_path: Path) -> None:
    filled(tmp_path / "store.sqlite", 1)
    os.truncate(tmp_path / "store.sqlite", 0)
    with pytest.raises(Unusable, match="this file is empty"):
        open_store(tmp_path / "store.sqlite")


def test_a_store_bears_our_mark(tmp_path: Path) -> None:
    filled(tmp_path / "store.sqlite", 1)
    with closing(sqlite3.connect(tmp_path / "store.sqlite")) as asked:
        assert asked.execute("PRAGMA application_id").fetchone() == (APPLICATION,)


@pytest.mark.parametrize("gone", ["version = 1", "version = 3", "version > 2", "version > 0"])
def test_missing_rows_of_versions_are_told(tmp_path: Path, gone: str) -> None:
    file = tmp_path / "store.sqlite"
    filled(file, 1)
    with closing(sqlite3.connect(file)) as other:
        newest = other.execute("SELECT max(version) FROM store_version").fetchone()[0]
        other.execute(f"DELETE FROM store_version WHERE {gone}")
        other.commit()
    assert newest > 3
    with pytest.raises(Unusable) as told:
        open_store(file)
    assert "store" in str(told.value)


@pytest.mark.parametrize("quiet", [True, False], ids=["by itself", "written into"])
def test_a_flip_in_any_page_is_told_or_changes_no_answer(tmp_path: Path, quiet: bool) -> None:
    came = in_every_page(tmp_path, 2, 1, quiet, stride=1 if quiet else 4)
    assert came.flips > 20
    assert came.wrong == 0
    assert came.told == came.flips if quiet else came.told > 0


def test_what_is_whole_opens_again_and_again(tmp_path: Path) -> None:
    file = tmp_path / "store.sqlite"
    for number in range(3):
        with closing(open_store(file)) as store, closing(open_store(file)) as beside:
            file_result(store, to_file(made_tray(f"T-{number}", taken_at=f"2026-11-02T06:00:0{number}+00:00")))
            assert len(list(recall_results(beside))) == number + 1


def test_a_log_left_beside_a_file_that_was_brought_back_is_refused(tmp_path: Path) -> None:
    file, copy = tmp_path / "store.sqlite", tmp_path / "copy.sqlite"
    filled(file, 2)
    shutil.copyfile(file, copy)
    with closing(open_store(file)) as store:
        for number in range(40):
            at = f"2026-11-03T06:00:{number:02}+00:00"
            file_result(store, to_file(made_tray(f"S-{number}", taken_at=at)))
        log = (tmp_path / "store.sqlite-wal").read_bytes()
    other = tmp_path / "other"
    other.mkdir()
    for place in (file, other / "store.sqlite"):
        if place != file:
            filled(place, 5)  # not even the same store's
        else:
            shutil.copyfile(copy, place)
        place.with_name("store.sqlite-wal").write_bytes(log[: len(log) // 2] if place == file else log)
    before = contents(other)
    with pytest.raises(Unusable, match=r"store\.sqlite-wal: expected a store with its own log"):
        open_store(other / "store.sqlite")
    assert contents(other) | {"store.sqlite-use": b""} == before | {"store.sqlite-use": b""}


def test_a_log_of_a_user_that_was_killed_is_its_own(tmp_path: Path) -> None:
    file = tmp_path / "store.sqlite"
    filled(file, 2)
    with closing(open_store(file)) as store:
        file_result(store, to_file(made_tray("S-1", taken_at="2026-11-03T06:00:00+00:00")))
        killed = tmp_path / "killed"
        killed.mkdir()
        for ending in ("", "-wal"):
            shutil.copyfile(f"{file}{ending}", killed / f"store.sqlite{ending}")
    with closing(open_store(killed / "store.sqlite")) as again:
        assert sorted(one.tray for one in recall_results(again)) == ["S-1", "T-0", "T-1"]


@pytest.mark.parametrize(
    "said",
    [
        "connection failed: FATAL:  sorry, too many clients already",
        "FATAL:  remaining connection slots are reserved for roles with the SUPERUSER attribute",
        "FATAL:  the database system is starting up",
    ],
)
def test_a_server_that_takes_no_more_clients_is_away_for_now(said: str, raised: Callable[[str], Exception]) -> None:
    with pytest.raises(Away), _errors_in_one_line("postgresql://host/name"):
        raise raised(said)


@pytest.fixture
def raised() -> Callable[[str], Exception]:
    """What the driver raises, as SQLAlchemy hands it on."""
    from sqlalchemy.exc import OperationalError

    return lambda said: OperationalError("SELECT 1", {}, Exception(said))
