"""Filing: once is once, a differing result is kept beside the first, and what comes back is what went in."""

import dataclasses

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings, strategies as st
from sqlalchemy import func, select, text

from app.store.database import schema
from app.store.database.connection import Store
from app.store.database.definitions import (
    pack_profile,
    part_content,
    part_record,
    station_content,
    station_record,
    unpack_profile,
)
from app.store.lots.lot_list import list_lots, lot_values, set_lot_value
from app.store.results.filing import Filed, ToFile, file_result
from app.store.results.recall import Which, recall_results
from app.store.results.shown import newest_judgement, part_of, profile_of, shown, station_of
from tests.store.made import LIMITS, PART, STATION, lost_piece, made_piece, made_profile, made_tray, to_file
from vision.errors import Unusable
from vision.records.inputs import Camera, Lens, Station


def _count(store: Store, table: str) -> int:
    with store.read() as connection:
        return int(connection.execute(select(func.count()).select_from(schema.metadata.tables[table])).scalar_one())


def test_a_result_comes_back_as_it_was_filed(store: Store) -> None:
    result = made_tray(pieces=[made_piece(1, "pass"), made_piece(2, "reject"), lost_piece(3)])
    assert file_result(store, to_file(result)) == Filed("T-000123", 3, 0, unproven=True)
    assert list(recall_results(store)) == [result]


def test_filing_twice_changes_nothing(store: Store) -> None:
    file_result(store, to_file())
    before = {name: _count(store, name) for name in schema.metadata.tables}
    assert file_result(store, to_file()) == Filed("T-000123", 0, 3, changed=False, unproven=True)
    assert {name: _count(store, name) for name in schema.metadata.tables} == before


def test_a_differing_piece_is_a_new_judgement_and_the_old_one_stays(store: Store) -> None:
    file_result(store, to_file())
    changed = made_tray(pieces=[made_piece(1, "pass"), made_piece(2, "review"), made_piece(3, "reject", value=0.44)])
    assert file_result(store, to_file(changed)) == Filed("T-000123", 1, 2, unproven=True)
    assert _count(store, "judgement") == 4
    assert list(recall_results(store)) == [changed]


def test_another_shot_of_the_same_tray_is_kept_beside_the_first(store: Store) -> None:
    file_result(store, to_file())
    later = made_tray(taken_at="2026-11-02T08:00:00+00:00")
    assert file_result(store, to_file(dataclasses.replace(later, retake=True))).new == 3
    assert _count(store, "shot") == 2
    assert list(recall_results(store)) == [later]


def test_a_result_alone_can_be_filed(store: Store) -> None:
    alone = made_tray(lot=None, pieces=[])
    file_result(store, ToFile(alone))
    assert list(recall_results(store)) == [alone]
    assert part_of(store, "TS-135") is None


def test_results_can_be_narrowed_down(store: Store) -> None:
    for tray, lot in (("T-1", "L-2611-01"), ("T-2", "L-2611-02"), ("T-3", "L-2611-02")):
        file_result(store, to_file(made_tray(tray, lot=lot)))
    assert [one.tray for one in recall_results(store, Which(lot="L-2611-02"))] == ["T-2", "T-3"]
    assert [one.tray for one in recall_results(store, Which(tray="T-1"))] == ["T-1"]
    assert list(recall_results(store, Which(part="DS-182"))) == []


def test_part_and_station_come_back(store: Store) -> None:
    lens = Lens(
        np.array([[9200.0, 0.0, 1499.5], [0.0, 9200.0, 1049.5], [0.0, 0.0, 1.0]]), np.array([-0.08, 0.02, 0, 0, 0])
    )
    station = dataclasses.replace(STATION, lens=lens, camera=Camera(620.0, (75.0, -52.5)), full_scale=4095.0)
    file_result(store, dataclasses.replace(to_file(), station=station))
    part, found = part_of(store, "TS-135"), station_of(store, "ST-1")
    assert part is not None
    np.testing.assert_allclose(part.outline, PART.outline, atol=1e-4)
    assert (part.zones, part.surface, part.name) == (PART.zones, PART.surface, PART.name)
    assert isinstance(found, Station)
    assert station_content(found) == station_content(station)
    assert part_content(part_record(part_content(PART))) == part_content(PART)
    assert station_content(station_record(station_content(STATION))) == station_content(STATION)


def test_profiles_come_back_to_the_micrometre(store: Store) -> None:
    profile = made_profile(5)
    file_result(store, dataclasses.replace(to_file(), profiles={2: profile}))
    judgement = newest_judgement(store, "T-000123", 2)
    assert judgement is not None
    kept = profile_of(store, judgement)
    assert kept is not None
    assert len(pack_profile(profile)) < 1500  # of the 4 kB that a piece may take
    np.testing.assert_allclose(kept.s_mm, profile.s_mm)
    np.testing.assert_allclose(kept.deviation_mm, profile.deviation_mm, atol=0.0005)
    again = unpack_profile(pack_profile(kept))
    np.testing.assert_array_equal(again.deviation_mm, kept.deviation_mm)
    first = newest_judgement(store, "T-000123", 1)
    assert first is not None
    assert profile_of(store, first) is None


def test_what_a_page_shows_names_the_shot(store: Store) -> None:
    file_result(store, to_file())
    judgement = newest_judgement(store, "T-000123", 3)
    assert judgement is not None
    one = shown(store, [judgement])[judgement]
    assert (one.tray, one.lot, one.part, one.station) == ("T-000123", "L-2611-07", "TS-135", "ST-1")
    assert one.process == {"die": "D4", "strokes": 182400.0}
    assert one.judged == made_piece(3, "reject")
    assert one.newest
    file_result(store, to_file(made_tray(pieces=[made_piece(3, "reject", value=0.5)])))
    assert not shown(store, [judgement])[judgement].newest


def test_lots_count_pieces_as_judged_last(store: Store) -> None:
    file_result(store, to_file())
    file_result(
        store, to_file(made_tray(pieces=[made_piece(1, "pass"), made_piece(2, "pass"), made_piece(3, "reject")]))
    )
    (lot,) = list_lots(store)
    assert (lot.lot, lot.trays, lot.pieces, lot.review, lot.reject) == ("L-2611-07", 1, 3, 0, 1)


def test_a_lots_values_are_its_own_before_its_shots(store: Store) -> None:
    file_result(store, to_file(made_tray("T-1", die="D1")))
    file_result(store, to_file(made_tray("T-2", die="D2")))
    assert lot_values(store, "L-2611-07") == {"strokes": 182400.0}
    set_lot_value(store, "L-2611-07", "steel", "1.4301", "R. Hale")
    set_lot_value(store, "L-2611-07", "strokes", 9.0, "R. Hale")
    assert lot_values(store, "L-2611-07") == {"strokes": 9.0, "steel": "1.4301"}


@pytest.fixture(scope="module")
def filed(shared_store: Store) -> Store:
    """A store with one tray."""
    file_result(shared_store, to_file())
    return shared_store


@pytest.mark.parametrize("table", ["judgement", "measure", "reason", "finding_list", "limits_revision", "shot"])
@pytest.mark.parametrize("change", ["DELETE FROM {0}", "UPDATE {0} SET {1} = {1}"])
def test_what_was_filed_can_not_be_changed(filed: Store, table: str, change: str) -> None:
    column = schema.metadata.tables[table].columns.keys()[0]
    before = _count(filed, table)
    with pytest.raises(Unusable, match="never changed"), filed.write() as connection:
        connection.execute(text(change.format(table, column)))
    assert _count(filed, table) == before > 0


def test_released_limits_are_one_set_for_ever(store: Store) -> None:
    file_result(store, to_file())
    other = dataclasses.replace(LIMITS, coverage=0.99)
    with pytest.raises(Unusable, match="revision 3"):
        file_result(store, dataclasses.replace(to_file(made_tray("T-9")), limits=other))
    assert [one.tray for one in recall_results(store)] == ["T-000123"]


NUMBERS = st.floats(allow_nan=False, allow_infinity=False, width=64)
NAMES = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=60)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(tray=NAMES, lot=st.none() | NAMES, value=NUMBERS, zone=NAMES)
def test_any_name_and_number_comes_back(store: Store, tray: str, lot: str | None, value: float, zone: str) -> None:
    piece = dataclasses.replace(
        made_piece(1, "reject", value),
        measures={"outline_out_mm": {zone: value}, "length_mm": None},
        uncertainties={"outline_out_mm": {zone: None}, "length_mm": None},
    )
    with store.read() as connection:
        shots = connection.execute(select(func.count()).select_from(schema.shot)).scalar_one()
    result = made_tray(tray, [piece], lot, f"2026-11-02T06:00:00.{shots:06}+00:00")
    file_result(store, to_file(dataclasses.replace(result, retake=True)))
    assert list(recall_results(store, Which(tray=tray)))[-1] == result
