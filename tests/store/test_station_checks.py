"""Checks in the store, and which trays a failed one puts in doubt."""

from dataclasses import replace

import pytest

from app.store.database.connection import Store
from app.store.results.filing import file_result
from app.store.stations.checks import (
    checked_stations,
    file_checks,
    moment,
    station_checks,
    suspect_periods,
    suspect_trays,
)
from app.store.stations.light import light_history, light_limits
from tests.store.made import STATION, made_piece, made_tray, to_file
from vision.calibrate.checks import DriftOfMeasure
from vision.errors import Unusable
from vision.formats.checks_file import Check
from vision.records.inputs import LightLimits
from vision.records.measured import TrayFinding

DRIFT = DriftOfMeasure("length_mm", 135.03, 0.01, 0.02, 0.004, 0.01)


def check(hour: int, outcome: str, calibration: str = "a", station: str = "ST-1") -> Check:
    when = f"2026-11-02T{hour:02}:00:00+00:00"
    reasons = () if outcome == "pass" else ("length_mm is off",)
    return Check(station, calibration, "REF-1", when, outcome, reasons, {"length_mm": 135.03}, (DRIFT,))  # type: ignore[arg-type]


def file_tray(store: Store, tray: str, hour: int | None, lot: str = "L-1", length_mm: float = 0.31) -> None:
    taken = None if hour is None else f"2026-11-02T{hour:02}:30:00+00:00"
    file_result(store, to_file(replace(made_tray(tray, [made_piece(1, "reject", length_mm)], lot), taken_at=taken)))


def named(store: Store, lot: str | None = None) -> list[str]:
    return [tray.tray for tray in suspect_trays(store, lot)]


def test_checks_come_back_by_their_time_and_are_filed_once(store: Store) -> None:
    assert file_checks(store, [check(8, "pass"), check(6, "pass")]) == 2
    assert file_checks(store, [check(8, "pass"), check(9, "stop")]) == 1
    assert [one.checked_at[11:13] for one in station_checks(store, "ST-1")] == ["06", "08", "09"]
    assert station_checks(store, "ST-1")[0] == check(6, "pass")
    assert checked_stations(store) == ("ST-1",)


def test_a_stop_puts_the_trays_since_the_last_good_check_in_doubt(store: Store) -> None:
    for tray, hour in (("T-1", 5), ("T-2", 7), ("T-3", 8)):
        file_tray(store, tray, hour, lot=f"L-{tray}")
    file_checks(store, [check(6, "pass")])
    assert named(store) == []
    file_checks(store, [check(9, "stop")])
    assert named(store) == ["T-2", "T-3"]
    assert named(store, "L-T-3") == ["T-3"]
    file_tray(store, "T-4", 10)
    assert named(store) == ["T-2", "T-3", "T-4"]
    # Calibrated anew and good at twelve (long ago): what was judged since then stands, as all of these were.
    file_checks(store, [check(12, "pass", "b")])
    assert named(store) == []


def test_another_station_is_not_in_doubt(store: Store) -> None:
    file_tray(store, "T-1", 8)
    file_checks(store, [check(6, "pass", station="ST-2"), check(9, "stop", station="ST-2")])
    assert named(store) == []


def test_a_station_that_was_never_good_has_all_its_trays_in_doubt(store: Store) -> None:
    file_tray(store, "T-1", 1)
    file_tray(store, "T-2", None)
    file_checks(store, [check(9, "stop")])
    assert named(store) == ["T-1", "T-2"]


def test_a_doubt_ends_for_a_tray_that_was_judged_after_the_station_was_good_again() -> None:
    (period,) = suspect_periods([check(6, "pass"), check(9, "stop"), check(12, "pass", "b")])
    taken = moment("2026-11-02T08:00:00+00:00")
    assert period.holds(taken, moment("2026-11-02T08:01:00+00:00"))
    assert not period.holds(taken, moment("2026-11-02T12:01:00+00:00"))
    assert not period.holds(moment("2026-11-02T05:00:00+00:00"), moment("2026-11-02T05:01:00+00:00"))


def test_judging_again_frees_a_tray_only_by_another_station_file(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def at(hour: int) -> None:
        monkeypatch.setattr("app.store.results.filing.now", lambda: f"2026-11-02T{hour:02}:10:00.000000Z")

    at(8)
    file_tray(store, "T-1", 7)
    file_tray(store, "T-2", 7)
    file_checks(store, [check(6, "pass"), check(9, "stop"), check(12, "pass", "b")])
    assert named(store) == ["T-1", "T-2"]
    assert [tray.tray for tray in suspect_trays(store, among=["T-2", "T-3"])] == ["T-2"]
    at(13)
    file_tray(store, "T-1", 7, length_mm=0.32)  # other limits, say: the old station file measured it
    assert named(store) == ["T-2", "T-1"]
    calibrated_anew = replace(STATION, outline_mm=0.011)
    tray = replace(made_tray("T-1", [made_piece(1, "reject", 0.33)], "L-1"), taken_at="2026-11-02T07:30:00+00:00")
    file_result(store, replace(to_file(tray), station=calibrated_anew))
    assert named(store) == ["T-2"]


def test_a_stop_that_the_same_calibration_answers_with_a_pass_was_the_pieces_fault() -> None:
    assert suspect_periods([check(6, "pass"), check(9, "stop"), check(10, "pass")]) == ()
    assert len(suspect_periods([check(6, "pass"), check(9, "stop"), check(10, "stop"), check(11, "pass", "b")])) == 1


def test_a_time_without_a_zone_is_taken_as_utc() -> None:
    assert moment("2026-11-02T08:00:00") == moment("2026-11-02T09:00:00+01:00")


def test_what_was_amiss_with_the_light_of_a_stations_trays_comes_newest_first(store: Store) -> None:
    assert light_limits(store, "ST-1") is None
    for tray, said in (("T-1", "backlight at 60.00%, under the limit of 75.00%"), ("T-2", "edges are soft")):
        findings = (TrayFinding("foreign", (1.0, 2.0), "something"), TrayFinding("exposure", None, said))
        file_result(store, to_file(replace(made_tray(tray), tray_findings=findings)))
    assert [(one.tray, one.kind) for one in light_history(store, "ST-1", 5)] == [
        ("T-2", "exposure"),
        ("T-1", "exposure"),
    ]
    assert light_history(store, "ST-1", 1)[0].detail == "edges are soft"
    assert light_history(store, "ST-2", 5) == ()
    assert light_limits(store, "ST-1") == LightLimits()


def test_a_check_in_the_store_is_never_changed(store: Store) -> None:
    file_checks(store, [check(6, "pass")])
    with pytest.raises(Unusable, match="append-only"), store.write() as connection:
        connection.exec_driver_sql("DELETE FROM station_check")
