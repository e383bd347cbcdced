"""Frames of a whole run that show too little, or nothing: told by name, never a crash, never a lost result."""

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from app.run.attempt import Outcome
from app.run.batch import inspect_batch
from app.run.shot import Work
from tests.formats.made import shot_table, write_shot
from vision.formats.profiles import read_profiles
from vision.formats.result import read_result
from vision.records.inputs import Limit, Limits, Part, Station, Zone

# An egg-shaped blank, 40 mm long, so that frames are small; its blunt end tells which way it lies.
_ANGLES = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
EGG = np.column_stack(
    [20.0 - 20.0 * np.cos(_ANGLES), -(9.0 + 1.5 * np.cos(_ANGLES)) * np.sin(_ANGLES)],
)
PART = Part("TS-135", "Blank", EGG, (), (Zone("body", (0.0, 40.0), datum=True),), None)
STATION = Station("ST-1", np.diag([0.05, -0.05, 1.0]), None, None, 0.01, 0.0002)
LIMITS = Limits("TS-135", 1, "draft", 0.95, (Limit("outline_out_mm", "major", max=0.15),))
LIGHT, METAL = 200, 10
_FINER = 8  # drawn so many times finer, then averaged: a pixel holds its area's share

Frame = NDArray[np.uint8]


def tray(*centres_px: tuple[float, float]) -> Frame:
    """A backlit frame of 1000 x 600 px with a blank at each centre."""
    fine = np.full((600 * _FINER, 1000 * _FINER), LIGHT, np.uint8)
    for column, row in centres_px:
        px = (EGG - [20.0, 0.0]) / 0.05 * [1.0, -1.0] + [column + 0.5, row + 0.5]
        cv2.fillPoly(fine, [np.rint(px * _FINER - 0.5).astype(np.int32)], METAL)
    sharp = cv2.resize(fine, (1000, 600), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(sharp, (0, 0), 0.7), dtype=np.uint8)


def run_on(tmp_path: Path, frame: Frame) -> Outcome:
    """Inspect one shot of this frame alone."""
    shot = write_shot(tmp_path / "shot", shot_table(tray="T-1", frames=[{"file": "back.png", "light": "back"}]))
    cv2.imwrite(str(shot / "back.png"), frame)
    (tmp_path / "out").mkdir()
    (outcome,) = inspect_batch([shot], Work(PART, STATION, LIMITS, tmp_path / "out"))
    assert outcome.result is not None
    assert read_result(tmp_path / "out" / "T-1" / "result.json") == outcome.result
    return outcome


def kinds(outcome: Outcome) -> set[str]:
    assert outcome.result
    return {finding.kind for finding in outcome.result.tray_findings}


def test_a_good_frame_is_measured(tmp_path: Path) -> None:
    outcome = run_on(tmp_path, tray((499.5, 299.5)))
    assert outcome.failures == ()
    assert outcome.result
    (piece,) = outcome.result.pieces
    assert (piece.verdict, piece.fault) == ("pass", None)
    assert piece.measures["length_mm"] == pytest.approx(40.0, abs=0.02)
    assert {path.name for path in (tmp_path / "out" / "T-1").iterdir()} >= {"result.html", "tray.jpg", "profiles.npz"}
    assert list(read_profiles(tmp_path / "out" / "T-1" / "profiles.npz")) == [1]


@pytest.mark.parametrize(
    "frame",
    [
        pytest.param(np.zeros((600, 1000), np.uint8), id="all black"),
        pytest.param(np.full((600, 1000), 255, np.uint8), id="all white"),
        pytest.param(255 - tray((499.5, 299.5)), id="inverted"),
    ],
)
def test_a_frame_without_measurable_light_is_a_failure_that_names_it(tmp_path: Path, frame: Frame) -> None:
    outcome = run_on(tmp_path, frame)
    assert outcome.result
    assert outcome.result.pieces == ()
    assert kinds(outcome) == {"exposure"}
    (line,) = outcome.failures
    assert str(tmp_path / "shot") in line
    assert "back.png" in line


def test_an_empty_tray_under_good_light_is_no_failure(tmp_path: Path) -> None:
    fall_off = np.linspace(1.0, 0.8, 1000)
    outcome = run_on(tmp_path, np.asarray(tray() * fall_off, dtype=np.uint8))
    assert outcome.failures == ()
    assert outcome.result
    assert outcome.result.pieces == ()
    assert kinds(outcome) == set()


@pytest.mark.parametrize(
    ("spoil", "kind"),
    [
        (lambda frame: np.where(frame > 150, 255, frame).astype(np.uint8), "exposure"),
        (lambda frame: cv2.GaussianBlur(frame, (0, 0), 6.0), "focus"),
    ],
    ids=["saturated", "out of focus"],
)
def test_a_spoilt_frame_leaves_its_pieces_to_a_person(tmp_path: Path, spoil: object, kind: str) -> None:
    assert callable(spoil)
    outcome = run_on(tmp_path, spoil(tray((499.5, 299.5))))
    assert outcome.failures == ()
    assert kinds(outcome) == {kind}
    assert outcome.result
    (piece,) = outcome.result.pieces
    assert piece.fault == kind
    assert piece.verdict in ("review", "reject")


def test_results_are_the_same_from_a_copy_without_its_description(tmp_path: Path) -> None:
    """A folder that holds a back.png alone is a shot too, its tray named as the folder."""
    outcome = run_on(tmp_path, tray((499.5, 299.5)))
    bare = tmp_path / "T-2"
    bare.mkdir()
    shutil.copy(tmp_path / "shot" / "back.png", bare)
    (again,) = inspect_batch([bare], Work(PART, STATION, LIMITS, tmp_path / "out", pictures=False))
    assert again.result
    assert outcome.result
    assert again.result.pieces == outcome.result.pieces
    assert (again.result.tray, again.result.lot, again.result.part) == ("T-2", None, "TS-135")
