"""The check's command: files in, a line of history and charts out; a stand-in does the measuring."""

import json
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from app.report.stamp import stamp_of
from app.store.stations.checks import station_checks
from app.works.folder import new_works
from tests.shell import Ran, Run
from vision.errors import Unusable
from vision.formats.checks_file import Check, append_check, last_good, of_calibration, read_checks, read_reference
from vision.records.measured import MeasuredPiece, MeasuredTray, Pose, UncertaintyComponents

REFERENCE = """format = 1
reference = "REF-1"
part = "TS-135"

[[value]]
measure = "length_mm"
value = 135.02
uncertainty = 0.003
repeatability = 0.004

[[value]]
measure = "width_mm"
zone = "bowl"
value = 30.0
uncertainty = 0.003
repeatability = 0.004
"""
STATION = """format = 1
station = "ST-1"
[scale]
mm_per_px = 0.05
[uncertainty]
outline_mm = 0.001
scale_relative = 0.00001
"""
PART = """format = 1
part = "TS-135"
name = "Reference"
nominal = "outline.csv"
[[zone]]
name = "bowl"
x_mm = [0.0, 40.0]
datum = true
"""
CALLED = Callable[..., tuple[int, str, str]]


def a_piece(length: float | None, width: float = 30.001, fault: str | None = None) -> MeasuredPiece:
    return MeasuredPiece(
        1,
        fault,  # type: ignore[arg-type]
        Pose((50.0, 50.0), 0.0, 0.001),
        {"length_mm": length, "width_mm": {"bowl": width}},
        {"length_mm": None if length is None else 0.002, "width_mm": {"bowl": 0.002}},
        uncertainty_components={"width_mm": {"bowl": UncertaintyComponents(station=0.0015, edge=0.001, form=0.0008)}},
    )


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run):  # type: ignore[no-untyped-def]
    """A folder with all files; `lay(pieces)` measures such pieces from now on, `call()` runs the command."""
    shot = tmp_path / "shot"
    shot.mkdir()
    cv2.imwrite(str(shot / "back.png"), np.full((100, 100), 200, np.uint8))
    for name, text in (("station.toml", STATION), ("part.toml", PART), ("reference.toml", REFERENCE)):
        (tmp_path / name).write_text(text)
    (tmp_path / "outline.csv").write_text("x_mm,y_mm\n0,0\n40,0\n40,10\n0,10\n")

    def lay(*pieces: MeasuredPiece) -> None:
        stand_in = SimpleNamespace(measure_tray=lambda *_: MeasuredTray(pieces))
        monkeypatch.setitem(sys.modules, "vision.pipeline", stand_in)

    files = [f"--{name}={tmp_path / f'{name}.toml'}" for name in ("part", "station", "reference")]

    def call(*words: str) -> Ran:
        return run("check", shot, *(words or (*files, f"--history={tmp_path / 'st-1.jsonl'}")))

    return SimpleNamespace(folder=tmp_path, lay=lay, call=call)


def test_a_good_check_is_added_and_charted(bench) -> None:  # type: ignore[no-untyped-def]
    bench.lay(a_piece(135.024))
    code, said, _ = bench.call()
    assert code == 0
    assert "ST-1: pass" in said
    (check,) = read_checks(bench.folder / "st-1.jsonl")
    assert check.values == {"length_mm": 135.024, "width_mm.bowl": 30.001}
    page = (bench.folder / "st-1.html").read_text()
    assert page.count("<svg") == 2
    # 1.5, 1.0, 0.8 of the measurement, 3 of the certificate, 4 of laying, in micrometres: 5.4 combined.
    assert ">0.0054<" in page
    assert "ST-1: pass" in page


def test_a_works_has_all_files_of_a_check(bench) -> None:  # type: ignore[no-untyped-def]
    works = new_works(bench.folder / "works", "Aldermoor Flatware Works")
    part = works.part_file("TS-135")
    part.parent.mkdir()
    for name, tray_frame_of in (("part.toml", part), ("reference.toml", part.with_name("reference.toml"))):
        tray_frame_of.write_text((bench.folder / name).read_text())
    part.with_name("outline.csv").write_text((bench.folder / "outline.csv").read_text())
    works.station_file("ST-1").write_text(STATION)
    named = {"format": 1, "tray": "T-1", "lot": "L-1", "part": "TS-135", "station": "ST-1"}
    named |= {"taken_at": "2026-11-02T06:00:00+00:00", "frames": [{"file": "back.png", "light": "back"}]}
    (bench.folder / "shot" / "shot.json").write_text(json.dumps(named))
    bench.lay(a_piece(135.024))
    code, said, wrong = bench.call("--works", str(works.folder))
    assert code == 0, wrong
    assert "ST-1: pass" in said
    assert len(read_checks(works.checks_file("ST-1"))) == 1
    bench.lay(a_piece(135.2))
    assert bench.call("--works", str(works.folder))[0] == 3
    with closing(works.open()) as store:
        filed = station_checks(store, "ST-1")
        assert stamp_of(store, works.folder).head in works.checks_file("ST-1").with_suffix(".html").read_text()
    assert filed == read_checks(works.checks_file("ST-1"))
    assert [(check.verdict, len(check.drifts)) for check in filed] == [("pass", 2), ("stop", 2)]


def test_a_store_without_a_works_keeps_the_whole_history(bench) -> None:  # type: ignore[no-untyped-def]
    works = new_works(bench.folder / "works", "Aldermoor Flatware Works")
    files = [f"--{name}={bench.folder / f'{name}.toml'}" for name in ("part", "station", "reference")]
    files += [f"--history={bench.folder / 'st-1.jsonl'}"]
    bench.lay(a_piece(135.024))
    assert bench.call(*files)[0] == 0
    assert bench.call(*files, f"--store={works.folder / works.store_address}")[0] == 0
    with closing(works.open()) as store:
        assert len(station_checks(store, "ST-1")) == 2


def test_a_check_without_its_files_says_what_to_give(bench) -> None:  # type: ignore[no-untyped-def]
    code, _, wrong = bench.call(f"--part={bench.folder / 'part.toml'}")
    assert code == 2
    assert "--works in place of all four" in wrong


def test_a_stop_names_the_trays_to_judge_again(bench) -> None:  # type: ignore[no-untyped-def]
    bench.lay(a_piece(135.024))
    bench.call()
    good = read_checks(bench.folder / "st-1.jsonl")[0].checked_at
    bench.lay(a_piece(135.2))
    code, said, _ = bench.call()
    assert code == 3
    assert "stop: length_mm is off by +0.18" in said
    assert f"judge again: trays of ST-1 taken after {good}" in said
    assert [check.verdict for check in read_checks(bench.folder / "st-1.jsonl")] == ["pass", "stop"]


def test_a_slow_drift_is_seen_from_the_history(bench) -> None:  # type: ignore[no-untyped-def]
    said = ""
    for step in range(30):
        bench.lay(a_piece(135.02 + 0.0008 * step))
        _, said, _ = bench.call()
        if "stop:" in said:
            break
    assert "has drifted to" in said
    assert "length_mm is off by" not in said


def test_a_new_calibration_begins_a_new_chart(bench) -> None:  # type: ignore[no-untyped-def]
    bench.lay(a_piece(135.03))
    bench.call()
    (bench.folder / "station.toml").write_text(STATION.replace("0.05", "0.0500001"))
    bench.call()
    assert "1 check since calibration" in (bench.folder / "st-1.html").read_text()
    assert len(read_checks(bench.folder / "st-1.jsonl")) == 2


@pytest.mark.parametrize(
    ("pieces", "said"),
    [
        ((), "a shot of the reference piece alone on the tray (found 0 pieces)"),
        ((a_piece(135.0), a_piece(135.0)), "found 2 pieces"),
        ((a_piece(135.0, fault="cut_off"),), "clean it and lay it anew (found cut_off)"),
    ],
)
def test_what_can_not_be_checked_is_refused_and_not_added(bench, pieces: tuple[MeasuredPiece, ...], said: str) -> None:  # type: ignore[no-untyped-def]
    bench.lay(*pieces)
    code, _, err = bench.call()
    assert code == 2
    assert said in err
    assert err.count("\n") == 1
    assert not (bench.folder / "st-1.jsonl").exists()


def test_a_missing_measure_is_a_stop(bench) -> None:  # type: ignore[no-untyped-def]
    bench.lay(a_piece(None))
    code, said, _ = bench.call()
    assert code == 3
    assert "stop: length_mm could not be measured" in said


def test_the_reference_of_another_part(bench) -> None:  # type: ignore[no-untyped-def]
    (bench.folder / "reference.toml").write_text(REFERENCE.replace("TS-135", "DS-182"))
    bench.lay(a_piece(135.0))
    code, _, err = bench.call()
    assert code == 2
    assert "TS-135 (found DS-182)" in err


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", "format = 2", "format 1 expected"),
        ("uncertainty = 0.003\nrepeatability = 0.004", "uncertainty = 0.0\nrepeatability = 0.0", "above 0 expected"),
        ("value = 135.02", 'value = "long"', "a number expected"),
        ("repeatability = 0.004\n\n", "\n", "this key is missing"),
        ('measure = "width_mm"\nzone = "bowl"', 'measure = "length_mm"', "length_mm once"),
    ],
)
def test_faults_of_a_reference_file(tmp_path: Path, old: str, new: str, said: str) -> None:
    path = tmp_path / "reference.toml"
    path.write_text(REFERENCE.replace(old, new, 1))
    with pytest.raises(Unusable, match=said):
        read_reference(path)


def test_a_spoilt_line_of_history_is_named(tmp_path: Path) -> None:
    path = tmp_path / "st-1.jsonl"
    append_check(path, Check("ST-1", "d", "REF-1", "2026-11-02T06:00:00+00:00", "pass", (), {"length_mm": 135.0}))
    with path.open("a") as file:
        file.write(json.dumps({"format": 1}) + "\n")
    with pytest.raises(Unusable, match="line 2"):
        read_checks(path)


def test_history_by_station_and_calibration() -> None:
    checks = [
        Check("ST-1", "a", "REF-1", "2026-11-02T06:00:00+00:00", "pass", (), {}),
        Check("ST-1", "b", "REF-1", "2026-11-02T14:00:00+00:00", "pass", (), {}),
        Check("ST-1", "b", "REF-1", "2026-11-02T22:00:00+00:00", "stop", ("x",), {}),
        Check("ST-2", "b", "REF-1", "2026-11-03T06:00:00+00:00", "pass", (), {}),
    ]
    assert len(of_calibration(checks, "ST-1", "b", "REF-1")) == 2
    assert last_good(checks, "ST-1") == "2026-11-02T14:00:00+00:00"
    assert last_good(checks, "ST-3") is None
