"""One bad tray among many: the others are judged, the bad one is named, nothing is lost."""

import errno
import json
import os
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

import app.run.shot
from app.run.batch import inspect_batch
from tests.run.made import DeadlyWork, by_no_clock, make_shots, make_work, stand_in
from vision.formats.result import read_result
from vision.records.inputs import TrayPictures
from vision.records.measured import MeasuredTray, TrayFinding


@pytest.fixture
def no_measuring(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.run.shot, "measure_tray", stand_in)


@pytest.mark.usefixtures("no_measuring")
def test_results_are_written_in_the_order_given(tmp_path: Path) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-3", "T-1", "T-2")
    outcomes = list(inspect_batch(shots, work))
    assert [outcome.folder for outcome in outcomes] == shots
    assert [outcome.failures for outcome in outcomes] == [(), (), ()]
    for outcome, tray in zip(outcomes, ("T-3", "T-1", "T-2"), strict=True):
        assert outcome.result is not None
        assert outcome.result.tray == tray
        assert read_result(work.out / tray / "result.json") == outcome.result


@pytest.mark.usefixtures("no_measuring")
def test_a_truncated_frame_stops_only_its_own_tray(tmp_path: Path) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", "T-2", "T-3")
    frame = shots[1] / "back.png"
    frame.write_bytes(frame.read_bytes()[:-20])
    good, bad, also_good = inspect_batch(shots, work)
    assert good.result
    assert also_good.result
    assert bad.result is None
    assert len(bad.failures) == 1
    assert str(frame) in bad.failures[0]
    assert sorted(path.name for path in work.out.iterdir()) == ["T-1", "T-3"]


def test_a_fault_of_the_software_stops_only_its_own_tray(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def falls_over_dark_frames(pictures: TrayPictures, *rest: object) -> MeasuredTray:
        if pictures.back.pixels.max() == 0:
            raise ZeroDivisionError("of a dark\nframe")
        return stand_in(pictures, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(app.run.shot, "measure_tray", falls_over_dark_frames)
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", "T-2")
    cv2.imwrite(str(shots[0] / "back.png"), np.zeros((24, 32), np.uint8))
    bad, good = inspect_batch(shots, work)
    (line,) = bad.failures
    assert "\n" not in line
    assert str(shots[0]) in line
    assert "ZeroDivisionError at test_batch.py:" in line
    assert good.result


@pytest.mark.usefixtures("no_measuring")
@pytest.mark.parametrize("second", ["T-1", "t-1"])
def test_two_shots_of_one_tray_are_both_named_and_neither_judged(tmp_path: Path, second: str) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", second, "T-2")
    one, other, good = inspect_batch(shots, work)
    for outcome in (one, other):
        (line,) = outcome.failures
        assert str(shots[0]) in line
        assert str(shots[1]) in line
    assert good.result
    assert [path.name for path in work.out.iterdir()] == ["T-2"]


@pytest.mark.usefixtures("no_measuring")
@pytest.mark.parametrize(("key", "ours"), [("part", "TS-135"), ("station", "ST-1")])
def test_a_shot_of_another_part_or_station_is_not_judged(tmp_path: Path, key: str, ours: str) -> None:
    work, (shot,) = make_work(tmp_path), make_shots(tmp_path, "T-1")
    table = json.loads((shot / "shot.json").read_text())
    (shot / "shot.json").write_text(json.dumps({**table, key: "another"}))
    (outcome,) = inspect_batch([shot], work)
    (line,) = outcome.failures
    assert f"shot.json: {key}" in line
    assert ours in line
    assert "another" in line
    assert not (work.out / "T-1").exists()


@pytest.mark.usefixtures("no_measuring")
def test_a_full_disk_leaves_whole_results_or_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", "T-2", "T-3")
    sync, calls = os.fsync, iter(range(3))

    def full_at_the_second(descriptor: int) -> None:
        if next(calls) == 1:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(descriptor)

    monkeypatch.setattr(os, "fsync", full_at_the_second)
    first, second, third = inspect_batch(shots, work)
    assert first.result == read_result(work.out / "T-1" / "result.json")
    assert third.result == read_result(work.out / "T-3" / "result.json")
    assert second.result is None
    (line,) = second.failures
    assert "No space left" in line
    assert "T-2" in line
    assert list((work.out / "T-2").rglob("result.json")) == []


def test_a_face_is_seen_by_the_reference_of_the_limits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    monkeypatch.setattr(app.run.shot, "measure_tray", lambda *given: asked.append(given[3]) or stand_in(*given))
    work = make_work(tmp_path)
    finer = replace(work.limits, reference=replace(work.limits.reference, pit_diameter_mm=0.1))
    list(inspect_batch(make_shots(tmp_path, "T-1"), replace(work, limits=finer)))
    assert asked == [finer.reference]


@pytest.mark.usefixtures("no_measuring")
def test_a_result_stays_when_its_pictures_can_not_be_drawn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("no ink")

    monkeypatch.setattr("app.report.write_pictures", broken)
    work, shots = make_work(tmp_path, pictures=True), make_shots(tmp_path, "T-1")
    (outcome,) = inspect_batch(shots, work)
    assert outcome.result == read_result(work.out / "T-1" / "result.json")
    (line,) = outcome.failures
    assert "pictures" in line
    assert "no ink" in line


@pytest.mark.parametrize(
    ("findings", "failures"),
    [
        ((), 0),  # an empty tray under good light
        ((TrayFinding("exposure", None, "back.png shows no light; switch the backlight on"),), 1),
        ((TrayFinding("foreign", (9.0, 9.0), "something that is no piece"),), 0),
    ],
)
def test_a_tray_without_pieces_fails_only_when_nothing_could_be_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, findings: tuple[TrayFinding, ...], failures: int
) -> None:
    monkeypatch.setattr(app.run.shot, "measure_tray", lambda *_: MeasuredTray((), findings))
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1")
    (outcome,) = inspect_batch(shots, work)
    assert read_result(work.out / "T-1" / "result.json").tray_findings == findings
    assert len(outcome.failures) == failures
    for line in outcome.failures:
        assert str(shots[0]) in line
        assert "back.png" in line


def test_several_processes_give_the_same_in_the_same_order(tmp_path: Path) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", "T-2", "T-3")
    (shots[1] / "back.png").write_bytes(b"")
    assert by_no_clock(inspect_batch(shots, work, jobs=2)) == by_no_clock(inspect_batch(shots, work))


@pytest.mark.usefixtures("quick_workers")
def test_a_dead_process_costs_a_second_try(tmp_path: Path) -> None:
    work, shots = make_work(tmp_path), make_shots(tmp_path, "T-1", "T-2")
    expected = by_no_clock(inspect_batch(shots, work))
    deadly = DeadlyWork(work.part, work.station, work.limits, work.out, False, deaths=1)
    assert by_no_clock(inspect_batch(shots, deadly, jobs=2)) == expected


@pytest.mark.long
def test_a_shot_that_kills_its_process_twice_is_named(tmp_path: Path) -> None:
    work, (shot,) = make_work(tmp_path), make_shots(tmp_path, "T-1")
    deadly = DeadlyWork(work.part, work.station, work.limits, work.out, False, deaths=2)
    (outcome,) = inspect_batch([shot], deadly, jobs=2)
    assert outcome.result is None
    assert str(shot) in outcome.failures[0]
    assert "died twice" in outcome.failures[0]
