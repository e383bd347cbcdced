"""A station that was stopped, or whose calibration is old, judges on: none of its pieces passes."""

from dataclasses import replace
from pathlib import Path

import pytest

from app.run.standing import stopped_since, with_standing
from tests.outline.blank import LIMITS, STATION, part, pictures
from vision.calibrate import CheckVerdict
from vision.decide import judge
from vision.formats import Check, append_check
from vision.pipeline import measure_tray
from vision.records import MeasuredTray

TRAY = measure_tray(pictures(), part(), STATION)
CALIBRATED = replace(STATION, calibrated_at="2026-01-10T08:00:00+00:00", valid_days=90.0)


def verdicts(tray: MeasuredTray) -> list[str]:
    return [judge(piece, LIMITS).verdict for piece in tray.pieces]


def checked(path: Path, *verdicts: CheckVerdict) -> None:
    for day, verdict in enumerate(verdicts, start=1):
        append_check(path, Check("ST-1", "d", "REF-1", f"2026-11-{day:02d}T06:00:00+00:00", verdict, (), {}))


def test_a_stop_stands_until_a_check_passes(tmp_path: Path) -> None:
    history = tmp_path / "ST-1.jsonl"
    assert stopped_since(history, "ST-1") is None
    checked(history, "pass", "stop")
    assert stopped_since(history, "ST-1") == "2026-11-02T06:00:00+00:00"
    assert stopped_since(history, "ST-2") is None
    checked(history, "pass")
    assert stopped_since(history, "ST-1") is None
    assert stopped_since(None, "ST-1") is None


def test_no_piece_of_a_stopped_station_passes() -> None:
    assert verdicts(TRAY) == ["pass"]
    tray = with_standing(TRAY, None, STATION, "2026-11-02T06:00:00+00:00")
    assert verdicts(tray) == ["review"]
    assert [(one.kind, one.center_px) for one in tray.findings] == [("stopped", None)]


@pytest.mark.parametrize(
    ("taken_at", "verdict", "kinds"),
    [
        ("2026-02-01T06:00:00+00:00", "pass", []),
        ("2026-02-01T06:00:00", "pass", []),
        ("2026-04-11T06:00:00+00:00", "review", ["calibration"]),
        ("2026-01-09T06:00:00+00:00", "pass", ["calibration"]),
        (None, "pass", []),
    ],
)
def test_a_calibration_holds_for_its_days(taken_at: str | None, verdict: str, kinds: list[str]) -> None:
    tray = with_standing(TRAY, taken_at, CALIBRATED, None)
    assert verdicts(tray) == [verdict]
    assert [one.kind for one in tray.findings] == kinds
