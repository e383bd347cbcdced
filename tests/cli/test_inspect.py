"""`brightbowl inspect` as a person calls it: what it writes, prints and ends with, with good input and with bad."""

import errno
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import app.run.shot
from tests.formats.made import LIMITS, PART, STATION, shot_table, write_shot
from tests.run.made import make_files, make_shots, stand_in
from tests.shell import Run

Inspect = Callable[..., tuple[int, str, list[str]]]


@pytest.fixture(autouse=True)
def no_measuring(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.run.shot, "measure_tray", stand_in)


@pytest.fixture
def inspect(tmp_path: Path, run: Run) -> Inspect:
    """Call the command with the files in `tmp_path`; exit code, stdout, and the lines on stderr."""

    def call(*words: str | Path) -> tuple[int, str, list[str]]:
        given = ["--part", tmp_path / "part.toml", "--station", tmp_path / "station.toml"]
        given += ["--limits", tmp_path / "limits.toml", "--out", tmp_path / "out", "--no-pictures"]
        code, out, err = run("inspect", *words, *given)
        return code, out, err.splitlines()

    make_files(tmp_path)
    return call


def one_failure(lines: list[str], *pieces: object) -> None:
    (line,) = lines
    assert line.startswith("brightbowl: ")
    for piece in pieces:
        assert str(piece) in line


def test_a_folder_of_shots(tmp_path: Path, inspect: Inspect) -> None:
    make_shots(tmp_path / "shots", "T-1", "T-2")
    code, said, errors = inspect(tmp_path / "shots")
    assert (code, errors) == (0, [])
    assert "2 trays judged, 2 pieces: pass 0, review 0, reject 2" in said
    assert "outline_out_mm.bowl 2" in said
    assert str(tmp_path / "out" / "pieces.csv") in said
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["T-1", "T-2", "pieces.csv"]


def test_results_inside_the_folder_of_shots_are_no_shots(tmp_path: Path, inspect: Inspect) -> None:
    (shot,) = make_shots(tmp_path, "T-1")
    assert inspect(shot)[0] == 0
    assert (tmp_path / "out").is_dir()
    code, said, errors = inspect(tmp_path)
    assert (code, errors) == (0, [])
    assert "1 tray judged" in said


def test_one_bad_tray_among_several(tmp_path: Path, inspect: Inspect) -> None:
    shots = make_shots(tmp_path / "shots", "T-1", "T-2", "T-3", "T-4")
    (shots[2] / "back.png").unlink()
    code, said, errors = inspect(tmp_path / "shots")
    assert code == 1
    one_failure(errors, shots[2] / "shot.json", "frames[1].file", "back.png", "absent")
    assert "3 trays judged" in said
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["T-1", "T-2", "T-4", "pieces.csv"]


def without(key: str) -> dict[str, Any]:
    return shot_table(**{key: None})


def frame(name: str) -> dict[str, Any]:
    return shot_table(frames=[{"file": name, "light": "back"}])


@pytest.mark.parametrize(
    ("table", "pieces"),
    [
        (shot_table(format=2), ("format", "format 1 expected", "2")),
        (shot_table(colour="red"), ("colour", "unknown key")),
        (without("lot"), ("lot", "missing")),
        (shot_table(part="DS-182"), ("part", "TS-135", "DS-182")),
        (shot_table(station="ST-9"), ("station", "ST-1", "ST-9")),
        (shot_table(tray="../T-1"), ("tray", "../T-1")),
        (shot_table(taken_at="yesterday"), ("taken_at", "ISO 8601")),
        (shot_table(process={"strokes": float("nan")}), ("strokes",)),
        (frame("../back.png"), ("frames[1].file", "inside the shot's folder", "../back.png")),
        (frame("/etc/hostname"), ("frames[1].file", "inside the shot's folder")),
        (frame("absent.png"), ("frames[1].file", "absent.png", "absent")),
        (shot_table(frames=[]), ("frames", "at least 1")),
    ],
)
def test_a_shot_that_can_not_be_read(
    tmp_path: Path, inspect: Inspect, table: dict[str, Any], pieces: tuple[str, ...]
) -> None:
    shot = write_shot(tmp_path / "shot", table)
    code, _, errors = inspect(shot)
    assert code == 1
    one_failure(errors, shot / "shot.json", *pieces)
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["pieces.csv"]


def test_a_shot_that_is_no_json(tmp_path: Path, inspect: Inspect) -> None:
    (shot,) = make_shots(tmp_path, "T-1")
    (shot / "shot.json").write_text('{"format": 1,')
    code, _, errors = inspect(shot)
    assert code == 1
    one_failure(errors, shot / "shot.json", "JSON")


def test_a_frame_behind_a_link_out_of_the_folder(tmp_path: Path, inspect: Inspect) -> None:
    (shot,) = make_shots(tmp_path, "T-1")
    (shot / "back.png").rename(tmp_path / "elsewhere.png")
    (shot / "back.png").symlink_to(tmp_path / "elsewhere.png")
    code, _, errors = inspect(shot)
    assert code == 1
    one_failure(errors, shot / "shot.json", "frames[1].file", "link")


def test_an_empty_folder(tmp_path: Path, inspect: Inspect) -> None:
    (tmp_path / "empty").mkdir()
    code, _, errors = inspect(tmp_path / "empty")
    assert code == 2
    one_failure(errors, tmp_path / "empty", "or back.png", "empty folder")
    assert not (tmp_path / "out").exists()


def test_an_empty_folder_beside_a_shot(tmp_path: Path, inspect: Inspect) -> None:
    (shot,) = make_shots(tmp_path, "T-1")
    (tmp_path / "empty").mkdir()
    code, said, errors = inspect(tmp_path / "empty", shot)
    assert code == 1
    one_failure(errors, tmp_path / "empty", "empty folder")
    assert "1 tray judged" in said


def test_an_absent_folder(tmp_path: Path, inspect: Inspect) -> None:
    code, _, errors = inspect(tmp_path / "absent")
    assert code == 2
    one_failure(errors, tmp_path / "absent")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("name", "text", "pieces"),
    [
        ("part.toml", PART.replace("[46.0, 135.0]", "[47.0, 135.0]"), ("zone.x_mm", "gap of 1.000 mm")),
        ("part.toml", PART.replace("format = 1", "format = 2"), ("format",)),
        ("part.toml", PART.replace("outline.csv", "absent.dxf"), ("absent.dxf", "missing")),
        ("station.toml", STATION.replace("0.05", "nan"), ("scale.mm_per_px",)),
        ("station.toml", STATION.replace("[scale]", "[scales]"), ("scale",)),
        ("limits.toml", LIMITS.replace("TS-135", "DS-182"), ("part", "TS-135", "DS-182")),
        ("limits.toml", LIMITS.replace('"length_mm', '"lenght_mm'), ("limit[2].measure", "lenght_mm", "length_mm")),
        ("limits.toml", LIMITS.replace('"bowl"', '"neck"'), ("zone", "neck", "bowl, handle")),
        ("limits.toml", LIMITS.replace("134.8", "136.0"), ("min", "136")),
        ("limits.toml", LIMITS.replace("0.15\nclass", "inf\nclass"), ("max", "finite")),
        ("limits.toml", LIMITS.replace("134.8", "134.99").replace("135.2", "135.01"), ("length_mm", "acceptance zone")),
    ],
)
def test_a_file_that_judges_is_wrong(
    tmp_path: Path, inspect: Inspect, name: str, text: str, pieces: tuple[str, ...]
) -> None:
    make_shots(tmp_path / "shots", "T-1")
    (tmp_path / name).write_text(text)
    code, _, errors = inspect(tmp_path / "shots")
    assert code == 2
    one_failure(errors, tmp_path, *pieces)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", ["part.toml", "station.toml", "limits.toml"])
def test_a_file_that_judges_is_absent(tmp_path: Path, inspect: Inspect, name: str) -> None:
    make_shots(tmp_path / "shots", "T-1")
    (tmp_path / name).unlink()
    code, _, errors = inspect(tmp_path / "shots")
    assert code == 2
    one_failure(errors, tmp_path / name, "missing")


def test_results_can_not_go_where_a_file_is(tmp_path: Path, inspect: Inspect) -> None:
    make_shots(tmp_path / "shots", "T-1")
    (tmp_path / "out").write_text("in the way")
    code, _, errors = inspect(tmp_path / "shots")
    assert code == 2
    assert any("out" in line for line in errors)
    assert (tmp_path / "out").read_text() == "in the way"


def test_a_folder_that_can_not_be_written(tmp_path: Path, inspect: Inspect, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(_descriptor: int) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    make_shots(tmp_path / "shots", "T-1")
    monkeypatch.setattr(os, "fsync", refused)
    code, _, errors = inspect(tmp_path / "shots")
    assert code == 2
    one_failure(errors, tmp_path / "out", "--out", "written", "Read-only")


def test_a_disk_that_fills_up_midway(tmp_path: Path, inspect: Inspect, monkeypatch: pytest.MonkeyPatch) -> None:
    sync, calls = os.fsync, iter(range(9))

    def full_at_the_second_tray(descriptor: int) -> None:
        if next(calls) == 2:  # the first is the trial of the folder
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(descriptor)

    make_shots(tmp_path / "shots", "T-1", "T-2", "T-3")
    monkeypatch.setattr(os, "fsync", full_at_the_second_tray)
    code, said, errors = inspect(tmp_path / "shots")
    assert code == 1
    one_failure(errors, tmp_path / "out" / "T-2" / "shot-", "result.json", "No space left")
    assert "2 trays judged" in said
    for tray in ("T-1", "T-3"):
        assert json.loads((tmp_path / "out" / tray / "result.json").read_text())["tray"] == tray


def test_a_missing_option(tmp_path: Path, run: Run) -> None:
    code, _, errors = run("inspect", tmp_path, "--part", "part.toml")
    assert code == 2
    assert "--station" in errors


def test_a_scheduler_that_can_not_be_reached(tmp_path: Path, inspect: Inspect, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.run.cluster._CONNECT_S", 0.5)
    make_shots(tmp_path / "shots", "T-1")
    code, _, errors = inspect(tmp_path / "shots", "--scheduler", "tcp://127.0.0.1:9", "--plain")
    assert code == 2
    one_failure(errors, "tcp://127.0.0.1:9: a scheduler that answers")


def test_a_cluster_without_the_library_for_it(
    tmp_path: Path, inspect: Inspect, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    make_shots(tmp_path / "shots", "T-1")
    code, _, errors = inspect(tmp_path / "shots", "--scheduler", "tcp://127.0.0.1:9", "--plain")
    assert code == 2
    one_failure(errors, "pip install brightbowl[cluster]")


def test_certificates_without_a_scheduler(tmp_path: Path, inspect: Inspect) -> None:
    make_shots(tmp_path / "shots", "T-1")
    code, _, errors = inspect(tmp_path / "shots", "--tls", tmp_path)
    assert code == 2
    assert "--tls goes with --scheduler" in " ".join(errors)
