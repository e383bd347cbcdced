"""Reports on dies made beside the pages: the same as read anew, whatever was filed before and meanwhile."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from app.pages.die_reports import DieReports
from app.report import DieReport, die_table
from app.store import ShotRead, Store, history_mark, history_of, open_store
from app.store.results.filing import file_result
from app.studies import json_text, study_dies
from tests.store.made import PART, STATION, made_piece, made_profile, made_tray, to_file
from vision.errors import Unusable


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Six trays of two dies."""
    opened = open_store(str(tmp_path / "store.sqlite"))
    for number in range(6):
        filed(opened, number)
    yield opened
    opened.close()


def filed(store: Store, number: int, value: float = 0.31, **other: object) -> None:
    """A tray filed, or judged anew."""
    tray = made_tray(f"T-{number}", [made_piece(1, "reject", value), made_piece(2, "pass")], die=f"D{number % 2}")
    tray = replace(tray, process={**tray.process, "strokes": 1000.0 * number})
    profiles = {k: made_profile(100 * number + k) for k in (1, 2)}
    file_result(store, replace(to_file(tray), profiles=profiles, **other))


def told(store: Store, read: dict[int, ShotRead] | None = None) -> str:
    """All that the report says."""
    history = history_of(store, PART.part, read=read)
    study = study_dies(history.histories, history.marks, history.pieces_by_die, history.ground, history.limits)
    profiles = [np.nan_to_num(one.deviation_mm, nan=9.0).tolist() for one in history.histories]
    return f"{profiles} {history.marks} {history.pieces_by_die} {json_text(die_table(DieReport(history, study)))}"


def test_what_was_read_before_and_what_came_since_make_the_same_report(store: Store) -> None:
    read: dict[int, ShotRead] = {}
    assert told(store, read) == told(store)
    before = dict(read)
    filed(store, 6)
    filed(store, 3, 0.42)  # judged anew: another judgement stands
    assert told(store, read) == told(store)
    assert sum(read[shot] is one for shot, one in before.items()) == 5
    station = replace(STATION, homography=STATION.homography * 1.001)
    filed(store, 7, station=station)  # a second calibration: the first one's trays are named anew
    assert told(store, read) == told(store)
    longer = replace(PART, outline=PART.outline * 1.01)
    filed(store, 8, part=longer)  # another drawing: other places along it
    assert told(store, read) == told(store)


def test_a_page_is_given_the_last_report_and_then_the_new_one(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.pages.die_reports.WAIT_S", 60.0)
    reports = DieReports()
    first, all_of_it = reports.at_hand(store, PART.part)
    assert first is not None
    assert all_of_it
    assert reports.at_hand(store, PART.part)[0] is first
    filed(store, 6)
    monkeypatch.setattr("app.pages.die_reports.PAGE_FIRST_S", 0.0)
    with reports._work:  # nobody comes to make the next one
        last, all_of_it = reports.at_hand(store, PART.part)
    assert last is first
    assert not all_of_it
    while not all_of_it:
        newer, all_of_it = reports.at_hand(store, PART.part)
    assert newer is not None
    assert sum(newer.history.pieces_by_die.values()) == 14
    with pytest.raises(Unusable, match="a part whose trays were inspected"):
        reports.at_hand(store, "NO-SUCH")


def test_whatever_is_filed_moves_the_mark(store: Store) -> None:
    marks = [history_mark(store)]
    filed(store, 6)
    marks.append(history_mark(store))
    filed(store, 3, 0.42)
    marks.append(history_mark(store))
    assert marks == sorted(set(marks))
