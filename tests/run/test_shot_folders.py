"""Each shot's own folder of results; the tray's folder shows one of them, and nothing else of ours."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

from app.store import open_store
from app.works.results_on_disk import Filing, file_folders
from app.works.shot_folders import RESULT_FILE, own_folders, put_standing, shot_folder
from tests.store.made import made_tray
from vision.formats.result import write_result
from vision.records import Digests, TrayResult


def shot(tray: Path, name: str, **files: str) -> Path:
    own = tray / name
    own.mkdir(parents=True)
    for stem, content in {"result.json": name, **files}.items():
        (own / stem).write_text(content)
    return own


def shown(tray: Path) -> dict[str, str]:
    return {file.name: file.read_text() for file in tray.iterdir() if file.is_file()}


def test_the_trays_folder_shows_the_shot_put_there_last(tmp_path: Path) -> None:
    tray = tmp_path / "T-1"
    first, second = shot(tray, "shot-a", **{"piece-1.jpg": "a1", "piece-2.jpg": "a2"}), shot(tray, "shot-b")
    (tray / "notes.txt").write_text("a person's own")
    put_standing(first)
    put_standing(first)
    assert shown(tray) == {
        "notes.txt": "a person's own",
        "result.json": "shot-a",
        "piece-1.jpg": "a1",
        "piece-2.jpg": "a2",
    }
    put_standing(second)
    assert shown(tray) == {"notes.txt": "a person's own", "result.json": "shot-b"}
    assert (first / "piece-1.jpg").read_text() == "a1"
    assert own_folders(tmp_path) == [first, second]


def test_a_result_of_an_earlier_program_lies_in_the_trays_folder_itself(tmp_path: Path) -> None:
    old = shot(tmp_path, "T-2")
    assert own_folders(tmp_path) == own_folders(old) == [old]


def test_a_shot_that_waits_for_a_choice_is_not_shown_for_what_stands(tmp_path: Path) -> None:
    first = file_it(tmp_path, 6)
    second = shot_folder(tmp_path, at(7))
    second.mkdir()
    write_result(at(7), second / RESULT_FILE)
    put_standing(second)  # as judging leaves it
    with closing(open_store(tmp_path / "store.sqlite")) as store:
        done = file_folders(store, None, [second], Filing(()))
        assert f"import {second} --retake" in done.failures[0]
        assert (first.parent / RESULT_FILE).read_bytes() == (first / RESULT_FILE).read_bytes()
        other = replace(at(6), tray="T-2")
        strange = shot_folder(tmp_path, other)
        strange.mkdir(parents=True)
        write_result(other, strange / RESULT_FILE)
        put_standing(strange)
        assert f"import {strange} --move" in file_folders(store, None, [strange], Filing(())).failures[0]
    assert [one.name for one in strange.parent.iterdir()] == [strange.name]  # nothing stands under that name


def at(hour: int) -> TrayResult:
    digests = Digests("drawing", "station", "limits", f"frames of {hour}")
    return replace(made_tray("T-1", taken_at=f"2026-11-02T0{hour}:00:00+00:00"), digests=digests)


def file_it(folder: Path, hour: int) -> Path:
    own = shot_folder(folder, at(hour))
    own.mkdir(parents=True)
    write_result(at(hour), own / RESULT_FILE)
    with closing(open_store(folder / "store.sqlite")) as store:
        done = file_folders(store, None, [own], Filing(()))
    assert (done.failures, done.changed) == ((), 1)
    return own
