"""A works backed up while it goes on, brought back, and moved to another database: nothing lost, the chain holding."""

import shutil
import zipfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from app.store.database.connection import Store, open_store
from app.store.evidence.copies import copy_store, copy_to_file
from app.store.evidence.verify import verify
from app.store.lots.lot_list import list_lots
from app.store.people.review_queue import waiting_count
from app.store.people.wanted import Wanted
from app.store.results.recall import recall_results
from app.works.backup import back_up, restore
from app.works.folder import Works, new_works, read_works
from app.works.results_on_disk import Filing, file_folders
from tests.store.made import made_tray
from tests.store.test_chain import fill
from vision.errors import Unusable
from vision.formats.result import write_result


def file_tray_of(works: Works, tray: str) -> None:
    """A result on disk, filed."""
    folder = works.results / tray
    folder.mkdir()
    write_result(made_tray(tray, lot="L-9"), folder / "result.json")
    with closing(works.open()) as store:
        assert file_folders(store, works, [folder], Filing((works.shots,))).failures == ()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A works with trays filed, one of them on disk too."""
    made = new_works(tmp_path_factory.mktemp("filled") / "works", "Aldermoor Flatware Works")
    (made.folder / "limits" / "TS-135.toml").write_text("as agreed")
    with closing(made.open()) as store:
        fill(store)
    file_tray_of(made, "T-3")
    return made.folder


@pytest.fixture
def works(filled: Path, tmp_path: Path) -> Works:
    """That works, of this test alone."""
    return read_works(Path(shutil.copytree(filled, tmp_path / "works")))


def told(store: Store) -> tuple[object, ...]:
    return list_lots(store), list(recall_results(store)), waiting_count(store, Wanted()), verify(store, None)


def test_a_backup_taken_while_others_write_comes_back_whole(works: Works, tmp_path: Path) -> None:
    out, copied = tmp_path / "backup.zip", tmp_path / "copied.sqlite"
    with closing(works.open()) as store:
        before = told(store)
        with store.write() as connection:  # somebody in the middle of filing, whose work is not in the copy
            connection.exec_driver_sql("INSERT INTO lot (lot, filed_at) VALUES ('L-1', 't')")
            copy_to_file(store, copied)
        with closing(open_store(copied)) as again:
            assert told(again) == before
        before = told(store)
    head = back_up(works, out)
    done = restore(out, tmp_path / "other")
    assert (done.head, done.aside, done.kept, done.newer) == (head, None, (), None)
    with closing(read_works(tmp_path / "other").open()) as again:
        assert told(again) == before
    assert (tmp_path / "other" / "limits" / "TS-135.toml").read_text() == "as agreed"
    with pytest.raises(Unusable, match="a new file"):
        back_up(works, out)


def test_files_that_grow_or_go_while_they_are_backed_up_spoil_nothing(
    works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    history, limits = works.folder / "checks" / "ST-1.jsonl", works.folder / "limits"
    history.write_text("{}\n")
    for name in ("DS-182.toml", ".TS-135.toml-0a1b.tmp"):
        (limits / name).write_text("as agreed")
    read = Path.read_bytes

    def read_as_people_work_on(path: Path) -> bytes:
        content = read(path)
        if path == history:
            history.write_text("{}\n{}\n")
        if path == limits / "DS-182.toml":
            (limits / "TS-135.toml").unlink()
        return content

    monkeypatch.setattr(Path, "read_bytes", read_as_people_work_on)
    back_up(works, tmp_path / "backup.zip")
    with zipfile.ZipFile(tmp_path / "backup.zip") as pack:
        assert pack.read("checks/ST-1.jsonl") == b"{}\n"
        assert [one for one in pack.namelist() if one.startswith("limits")] == ["limits/DS-182.toml"]


def test_results_newer_than_the_backup_are_found_and_filed_again(works: Works, tmp_path: Path) -> None:
    out = tmp_path / "backup.zip"
    back_up(works, out)
    file_tray_of(works, "T-4")
    (works.folder / "limits" / "TS-135.toml").write_text("changed since")
    done = restore(out, works.folder)
    assert done.newer is not None
    assert (done.newer.new, done.newer.failures, done.kept) == (3, (), ("limits/TS-135.toml",))
    assert done.aside is not None
    assert done.aside.is_file()
    with closing(works.open()) as store:
        found = verify(store, works.folder, done.head)
        assert {tray.tray for tray in recall_results(store)} == {"T-1", "T-2", "T-3", "T-4"}
    assert found.broken == ()


def test_a_store_moves_to_another_database_with_nothing_lost(place: str, works: Works) -> None:
    with closing(works.open()) as old, closing(open_store(place)) as new:
        rows = copy_store(old, new)
        assert rows > 100
        assert told(new) == told(old)
        with pytest.raises(Unusable, match="an empty store"):
            copy_store(old, new)
        fill_more(new)  # numbers go on after those that came along
        assert verify(new, None).broken == ()


def test_a_works_on_either_database_is_backed_up_and_brought_back(place: str, works: Works, tmp_path: Path) -> None:
    with closing(works.open()) as old, closing(open_store(place)) as new:
        copy_store(old, new)
        before = told(old)
    head = back_up(replace(works, store_address=place), tmp_path / "backup.zip")
    done = restore(tmp_path / "backup.zip", tmp_path / "again")
    assert done.head == head
    with closing(read_works(tmp_path / "again").open()) as store:
        assert told(store) == before


def fill_more(store: Store) -> None:
    with store.write() as connection:
        connection.exec_driver_sql("INSERT INTO lot (lot, filed_at) VALUES ('L-77', 't')")


@pytest.mark.parametrize("spoil", ["store", "limits", "cut", "none"])
def test_a_backup_that_does_not_hold_is_refused(works: Works, tmp_path: Path, spoil: str) -> None:
    out, bad = tmp_path / "backup.zip", tmp_path / "bad.zip"
    back_up(works, out)
    shutil.copy(out, bad)
    if spoil == "cut":
        bad.write_bytes(out.read_bytes()[:-200])
    elif spoil == "none":
        bad.write_bytes(b"no backup")
    else:
        name = "store.sqlite" if spoil == "store" else "limits/TS-135.toml"
        with zipfile.ZipFile(out) as old, zipfile.ZipFile(bad, "w") as new:
            for one in old.namelist():
                new.writestr(one, b"other" if one == name else old.read(one))
    with pytest.raises(Unusable, match="backup"):
        restore(bad, tmp_path / "other")
    assert not (tmp_path / "other").exists()
