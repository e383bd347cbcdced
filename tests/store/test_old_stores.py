"""A store made before judgings were events: every row is kept, and what it can't tell is listed once."""

import pytest
from sqlalchemy import text

from app.store.database.connection import Store
from app.store.database.migrations import migrate
from app.store.evidence.verify import verify
from app.store.lots.doubts import doubts_left, settle_doubts
from app.store.lots.lot_list import list_lots
from app.store.people.actor import Acted
from app.store.people.verdicts import holding
from app.store.results.recall import recall_results
from tests.store.test_migrations import FIRST_DATA, Open, blank
from vision.errors import Unusable

OLD_DATA = (
    "INSERT INTO lot (id, lot, filed_at) VALUES (2, 'L-2611-02', 't')",
    # the name again in another lot, its pieces moved there by the program of then
    "INSERT INTO shot (id, tray_id, digest, part, station, lot_id, taken_at, filed_at)"
    " VALUES (2, 1, 'y', 'TS-135', 'ST-1', 2, '2026-11-03T06:00:00+00:00', 't')",
    "INSERT INTO filing (id, shot_id, digest, limits_revision, software, filed_at)"
    " VALUES (2, 2, 'y', 3, 'brightbowl 0.1.0', 't')",
    "INSERT INTO judgement (id, piece_id, filing_id, verdict, digest) VALUES (2, 1, 2, 'pass', 'y')",
    # that one judged twice more
    "INSERT INTO filing (id, shot_id, digest, limits_revision, software, filed_at)"
    " VALUES (3, 2, 'z', 4, 'brightbowl 0.1.0', 't')",
    "INSERT INTO judgement (id, piece_id, filing_id, verdict, digest) VALUES (3, 1, 3, 'review', 'z')",
    "INSERT INTO verdict (id, uid, piece_id, judgement_id, inspector, identity, round, verdict, defects, note,"
    " given_at, filed_at) VALUES (2, 'b', 1, 3, 'R. Hale', 'declared', 2, 'accept', '', '', 't', 't')",
)


def rows_in(store: Store, name: str) -> int:
    with store.read() as connection:
        return int(connection.execute(text(f"SELECT COUNT(*) FROM {name}")).scalar_one())


def test_an_old_store_keeps_every_row_and_lists_its_doubtful_cases_once(
    blank_place: str, opened: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = blank(blank_place, opened, monkeypatch)
    kept = ("shot", "filing", "judgement", "verdict", "measure", "reason", "lot")
    with old.write() as connection:
        migrate(connection, old.url, until=1)
        for statement in (*FIRST_DATA, *OLD_DATA):
            connection.exec_driver_sql(statement)
        if connection.dialect.name == "postgresql":  # rows written with their ids don't count on by themselves
            for name in ("tray", "piece"):
                connection.execute(text(f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), 100)"))
        before = {name: connection.execute(text(f"SELECT COUNT(*) FROM {name}")).scalar_one() for name in kept}
    store = opened(blank_place)
    assert {name: rows_in(store, name) for name in kept} == before
    found = {one.lot: [(piece.piece, piece.verdict) for piece in one.pieces] for one in recall_results(store)}
    assert found == {"L-2611-01": [(4, "reject")], "L-2611-02": [(4, "review")]}
    assert {(one.lot, one.pieces) for one in list_lots(store)} == {("L-2611-01", 1), ("L-2611-02", 1)}
    assert {(one.verdict, one.tray) for one in holding(store)} == {("reject", "T-000001"), ("accept", "T-000001")}
    assert verify(store, None).broken == ()
    doubts = doubts_left(store)
    assert sorted((one.kind, one.lot) for one in doubts) == [
        ("again", "L-2611-02"),
        ("split", "L-2611-01"),
        ("split", "L-2611-02"),
    ]
    with pytest.raises(Unusable, match="--by NAME and --why REASON"):
        settle_doubts(store, [doubts[0].id], Acted("R. Hale", "declared", ""))
    assert settle_doubts(store, [one.id for one in doubts], Acted("R. Hale", "declared", "judged again")) == 3
    assert doubts_left(store) == ()
    with pytest.raises(Unusable, match="a case that is open"):
        settle_doubts(store, [1], Acted("R. Hale", "declared", "again"))
