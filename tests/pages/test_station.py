"""The station's page: its last check, drift, and the trays that are to be judged again."""

from dataclasses import replace

from playwright.sync_api import expect

from app.store.database.connection import Store
from app.store.results.filing import file_result
from app.store.stations.checks import file_checks
from tests.pages.conftest import Opened
from tests.pages.desk import piece_on
from tests.pages.test_other_pages import serious
from tests.store.made import STATION, made_piece, made_tray, to_file
from vision.calibrate.checks import DriftOfMeasure
from vision.formats.checks_file import Check
from vision.records.inputs import LightLimits


def check(hour: int, value: float, *reasons: str) -> Check:
    drift = DriftOfMeasure("length_mm", value, value - 135.02, 0.014, (value - 135.02) / 5, 0.01)
    when = f"2026-11-02T{hour:02}:00:00+00:00"
    return Check(
        "ST-9", "c" * 64, "REF-1", when, "stop" if reasons else "pass", reasons, {"length_mm": value}, (drift,)
    )


def test_a_stopped_station_says_why_and_which_trays_to_judge_again(open_page: Opened, store: Store) -> None:
    tray = replace(
        made_tray("T-9", [made_piece(1, "reject", 0.19)], "L-9"), station="ST-9", taken_at="2026-11-02T08:30:00+00:00"
    )
    station = replace(STATION, station="ST-9", light=LightLimits(level_min=0.75, blur_max_px=1.2))
    file_result(store, replace(to_file(tray), station=station))
    file_checks(store, [check(6, 135.021), check(7, 135.024), check(8, 135.019)])
    page = open_page("station?who=R.+Hale")
    expect(page.get_by_text("No tray of this station is to be judged again.")).to_be_visible()
    file_checks(store, [check(14, 135.2, "length_mm is off by +0.18, control limit 0.014")])
    page = open_page("station?who=R.+Hale")
    said = "ST-9 must not go on: length is off by +0.1800 mm, control limit 0.0140 mm; length has drifted to +0.0360 mm"
    expect(page.get_by_text(said)).to_be_visible()
    expect(page.get_by_text("1 tray of ST-9 was taken between the last good check and the next")).to_be_visible()
    expect(page.get_by_alt_text("Deviations of length_mm at each check since calibration")).to_be_visible()
    expect(page.get_by_role("heading", name="Light and sharpness")).to_be_visible()
    expect(page.get_by_text("backlight at least 0.75, edge blur at most 1.2 px")).to_be_visible()
    assert serious(page) == []
    page = open_page("queue?who=R.+Hale")
    expect(page.get_by_text("pieces wait")).to_be_visible()
    assert serious(page) == []
    page = open_page("?who=R.+Hale&piece=T-9:1")
    piece_on(page)
    expect(page.get_by_text("the station failed its check; to be judged again")).to_be_visible()


def test_the_page_of_first_steps_says_what_is_missing(open_page: Opened) -> None:
    page = open_page("first-steps?who=R.+Hale")
    expect(page.get_by_text("1. People: ✓ done")).to_be_visible()
    expect(page.get_by_text("2. Station: ✗ missing")).to_be_visible()
    expect(page.get_by_text("brightbowl calibrate")).to_be_visible()
