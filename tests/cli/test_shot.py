"""`brightbowl shot`, and commands that take frames by a station's names for them."""

from contextlib import closing
from pathlib import Path

import cv2
import numpy as np
import pytest

import app.run.shot
from app.watch.prepare import NotReady, Preparer, Ready
from app.works.folder import new_works
from tests.formats.made import COLUMNS, LIMITS, ROWS, STATION, write_part
from tests.run.made import make_files, stand_in
from tests.shell import Run
from tests.watch.watching import order
from vision.formats.shot import read_shot

FRAMES = '\n[frames]\nname = "{lot}_{counter}_{light}.tif"\ntray = "T-{counter}"\nlights = {B = "back", L = 90.0}\n'
WITH_PART = FRAMES + 'part = "TS-135"\n'


def frames_of(folder: Path, *trays: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for tray in trays:
        for light in "BL":
            cv2.imwrite(str(folder / f"L-1_{tray}_{light}.tif"), np.full((ROWS, COLUMNS), 200, np.uint8))
    return folder


def station_file(folder: Path, frames: str = WITH_PART) -> Path:
    path = folder / "station.toml"
    path.write_text(STATION + frames)
    return path


def test_shots_are_written_where_the_frames_lie(tmp_path: Path, run: Run) -> None:
    for tray in ("01", "02"):
        frames_of(tmp_path / "shots" / f"folder {tray}", tray)
    station = station_file(tmp_path)
    code, said, errors = run("shot", tmp_path / "shots", "--station", station)
    assert (code, errors) == (0, "")
    assert "2 shot.json written" in said
    shot = read_shot(tmp_path / "shots" / "folder 02")
    assert (shot.tray, shot.lot, shot.part, shot.station) == ("T-02", "L-1", "TS-135", "ST-1")
    assert (
        "0 shot.json written in their folders, 2 were there before"
        in run("shot", tmp_path / "shots", "--station", station)[1]
    )


def test_frames_of_several_trays_are_sorted_into_folders(tmp_path: Path, run: Run) -> None:
    pile = frames_of(tmp_path / "pile", "01", "02", "03")
    station = station_file(tmp_path, FRAMES)
    code, _, errors = run("shot", pile, "--station", station, "--part", "TS-135")
    assert code == 2
    assert "one tray expected" in errors
    assert "--out DIR" in errors
    code, _, errors = run(
        "shot", pile, "--station", station, "--part", "TS-135", "--lot", "L-9", "--out", tmp_path / "o"
    )
    assert (code, errors) == (0, "")
    shots = [read_shot(folder) for folder in sorted((tmp_path / "o").iterdir())]
    assert [(one.tray, one.lot, len(one.frames)) for one in shots] == [(f"T-0{n}", "L-9", 2) for n in (1, 2, 3)]
    assert len(list(pile.iterdir())) == 6
    assert run("shot", pile, "--station", station, "--part", "TS-135", "--out", tmp_path / "o")[0] == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "--part, or part in [frames]"),
        (["--part", "TS-135", "--works", "w"], "Give --station, or --works in its place"),
    ],
)
def test_what_is_not_told_is_asked_for(tmp_path: Path, run: Run, words: list[str], said: str) -> None:
    folder = frames_of(tmp_path / "one", "01")
    code, _, errors = run("shot", folder, "--station", station_file(tmp_path, FRAMES), *words)
    assert code == 2
    assert said in errors
    assert not (folder / "shot.json").exists()


def test_a_shot_by_the_agreed_names_is_written_too(tmp_path: Path, run: Run) -> None:
    folder = tmp_path / "T-7"
    folder.mkdir()
    cv2.imwrite(str(folder / "back.png"), np.full((ROWS, COLUMNS), 200, np.uint8))
    station = station_file(tmp_path, "")
    assert run("shot", folder, "--station", station, "--part", "TS-135")[0] == 2
    assert run("shot", folder, "--station", station, "--part", "TS-135", "--lot", "L-1")[0] == 0
    assert read_shot(folder).tray == "T-7"


def test_inspect_takes_frames_by_the_stations_names(tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.run.shot, "measure_tray", stand_in)
    files = make_files(tmp_path)
    station_file(tmp_path)
    given = [word for name, file in files.items() for word in (f"--{name}", file)]
    code, said, _ = run(
        "inspect", frames_of(tmp_path / "any", "01"), *given, "--out", tmp_path / "out", "--no-pictures"
    )
    assert code == 0
    assert "1 tray judged" in said
    assert (tmp_path / "out" / "T-01" / "result.json").is_file()


def test_a_works_takes_frames_by_its_stations_names(tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.run.shot, "measure_tray", stand_in)
    works = new_works(tmp_path / "works", "Aldermoor")
    write_part(works.part_file("TS-135").parent)
    station_file(works.folder / "stations").rename(works.station_file("ST-1"))
    works.limits_file("TS-135").write_text(LIMITS)
    frames_of(works.shots / "any", "01")
    assert "1 tray judged" in run("inspect", "--works", works.folder, "--no-pictures")[1]
    inbox = tmp_path / "inbox"
    frames_of(inbox / "one", "02")
    frames_of(inbox / "half", "03")
    (inbox / "half" / "L-1_03_L.tif").unlink()
    with closing(works.open()) as store:
        preparer = Preparer(order(works, inbox, tmp_path), store, lambda _: None)
        ready, half = preparer.prepare("one", ()), preparer.prepare("half", ())
    assert isinstance(ready, Ready)
    assert (ready.shot.tray, ready.shot.station) == ("T-02", "ST-1")
    assert isinstance(half, NotReady)
    assert "none of L" in half.why
