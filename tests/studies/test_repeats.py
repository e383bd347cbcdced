"""Gauge tables made from trays that the store saw more than once."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from app.store.database.connection import Store
from app.store.results.filing import ToFile, file_result
from app.store.results.repeats import repeated_measures, repeated_trays, repeats
from app.studies.gauge import study_gauge
from app.studies.gauge_input import balanced
from app.works.folder import new_works
from tests.studies.lots import sample
from vision.errors import Unusable
from vision.records.judged import TrayResult


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    opened = new_works(tmp_path / "works", "Aldermoor Flatware Works").open()
    yield opened
    opened.close()


def _shots() -> list[TrayResult]:
    """One tray, three times on each of two stations, its lengths a little different each time."""
    (tray,) = sample(np.random.default_rng(41), 1).trays
    rng = np.random.default_rng(42)
    shots = []
    for station in ("ST-1", "ST-2"):
        for hour in range(3):
            pieces = tuple(
                replace(one, measures={**one.measures, "length_mm": 135.0 + one.piece + float(rng.normal(0, 0.01))})
                for one in tray.pieces
            )
            taken_at = f"2026-11-02T{6 + hour:02d}:00:00+00:00"
            shots.append(replace(tray, station=station, taken_at=taken_at, pieces=pieces, retake=True))
    return shots


def test_a_tray_seen_again_makes_a_crossed_table(store: Store) -> None:
    shots = _shots()
    for shot in shots:
        file_result(store, ToFile(shot))
    trays = repeated_trays(store)
    assert trays == ("T-000001",)
    assert ("length_mm", None) in repeated_measures(store, trays)
    assert ("outline_out_mm", "bowl") in repeated_measures(store, trays)
    table = balanced("the store", repeats(store, trays, "length_mm", None))
    assert (table.values.shape, table.operators) == ((4, 2, 3), ("ST-1", "ST-2"))
    expected = [[shot.pieces[k].measures["length_mm"] for shot in shots] for k in range(4)]
    assert np.array_equal(table.values.reshape(4, 6), np.array(expected, dtype=np.float64))
    assert study_gauge(table).variance["part"] == pytest.approx(5 / 3, rel=0.05)


def test_a_shot_missing_on_one_station_is_named(store: Store) -> None:
    for shot in _shots()[:-1]:
        file_result(store, ToFile(shot))
    values = repeats(store, repeated_trays(store), "length_mm", None)
    with pytest.raises(Unusable, match="part T-000001:1, operator ST-2, trial 3"):
        balanced("the store", values)


def test_trays_seen_once_are_no_study(store: Store) -> None:
    file_result(store, ToFile(_shots()[0]))
    assert repeated_trays(store) == ()
    assert repeats(store, (), "length_mm", None) == {}
