"""What a station's standing says of a shot: a calibration that does not hold for its day, a check that stopped it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from vision.formats import read_checks
from vision.records import Fault, MeasuredTray, Station, TrayFinding


def stopped_since(checks_file: Path | None, station: str) -> str | None:
    """When a station's newest check stopped it; None where it passed, or was never checked.

    Raises
    ------
    Unusable
        The history can't be read.
    """
    checks = [] if checks_file is None else [one for one in read_checks(checks_file) if one.station == station]
    return checks[-1].checked_at if checks and checks[-1].verdict == "stop" else None


def with_standing(tray: MeasuredTray, taken_at: str | None, station: Station, stopped: str | None) -> MeasuredTray:
    """A tray with what its station's standing says of it: findings, and a fault of each piece that was in order.

    `stopped`: when the station's check stopped it.
    """
    if stopped is not None:
        detail = f"station {station.station} was stopped by its check at {stopped}; find why, mend it and check again"
        tray = _told(tray, TrayFinding("stopped", None, detail), "stopped")
    if taken_at is None or station.calibrated_at is None:
        return tray
    taken, calibrated = _moment(taken_at), _moment(station.calibrated_at)
    if taken < calibrated:
        detail = f"taken {taken_at}, before station {station.station} was calibrated ({station.calibrated_at})"
        return _told(tray, TrayFinding("calibration", None, detail), None)
    if taken > calibrated + timedelta(days=station.valid_days):
        days = (taken - calibrated).days
        detail = f"calibrated {days} days before the shot, at most {station.valid_days:g} hold; calibrate again"
        return _told(tray, TrayFinding("calibration", None, detail), "calibration")
    return tray


def _told(tray: MeasuredTray, finding: TrayFinding, fault: Fault | None) -> MeasuredTray:
    pieces = tuple(replace(piece, fault=piece.fault or fault) for piece in tray.pieces)
    return replace(tray, pieces=pieces, findings=(*tray.findings, finding))


def _moment(text: str) -> datetime:
    """A time after ISO 8601; one without a zone is taken as UTC."""
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
