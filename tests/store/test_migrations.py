"""Versions of the store: from the first on, with data inside, under a lock, and never a newer one."""

from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import inspect, select, text

from app.store.database import schema
from app.store.database.connection import Store, open_store, version_of
from app.store.database.definitions import pack, surface_content
from app.store.database.migrations import NEWEST, STEPS, migrate
from app.store.lots.decisions import decisions
from app.store.lots.lot_list import list_lots
from app.store.lots.state import lot_state, standings
from app.store.people.actor import Acted
from app.store.people.verdicts import standing
from app.store.results.recall import recall_results
from tests.run.quick_workers import loaded_processes
from tests.store.made import decide, made_piece
from vision.errors import Unusable

Open = Callable[[str | Path], Store]

# A piece and a verdict as version 1 held them, in the SQL of that day.
FIRST_DATA = (
    "INSERT INTO tray (id, tray) VALUES (1, 'T-000001')",
    "INSERT INTO lot (id, lot, filed_at) VALUES (1, 'L-2611-01', 't')",
    "INSERT INTO shot (id, tray_id, digest, part, station, lot_id, taken_at, filed_at)"
    " VALUES (1, 1, 'x', 'TS-135', 'ST-1', 1, NULL, 't')",
    "INSERT INTO filing (id, shot_id, digest, limits_revision, software, filed_at)"
    " VALUES (1, 1, 'x', 3, 'brightbowl 0.1.0', 't')",
    "INSERT INTO piece (id, tray_id, piece) VALUES (1, 1, 4)",
    "INSERT INTO judgement (id, piece_id, filing_id, verdict, fault, x_px, y_px, angle_deg, fit_rms_mm, digest)"
    " VALUES (1, 1, 1, 'reject', NULL, 10.0, 20.0, 3.0, 0.01, 'x')",
    "INSERT INTO measure (judgement_id, measure, zone, value, uncertainty)"
    " VALUES (1, 'outline_out_mm', 'bowl', 0.31, 0.011)",
    "INSERT INTO reason (judgement_id, place, measure, zone, value, uncertainty, lower, upper, class, outcome)"
    " VALUES (1, 0, 'outline_out_mm', 'bowl', 0.31, 0.011, NULL, 0.15, 'major', 'reject')",
    "INSERT INTO verdict (id, uid, piece_id, judgement_id, inspector, identity, round, verdict, defects, note,"
    " given_at, filed_at) VALUES (1, 'a', 1, 1, 'R. Hale', 'declared', 1, 'reject', 'burr', 'tip', 't', 't')",
)


def make_first_version(store: Store) -> None:
    """Make an empty store as version 1 was, with data."""
    piece = made_piece(4, "reject")
    with store.write() as connection:
        migrate(connection, store.url, until=1)
        for statement in FIRST_DATA:
            connection.exec_driver_sql(statement)
        body = pack(surface_content(piece))
        connection.execute(schema.finding_list.insert().values(judgement_id=1, body=body))


def blank(blank_place: str, opened: Open, monkeypatch: pytest.MonkeyPatch) -> Store:
    """A store that holds nothing, not even tables."""
    with monkeypatch.context() as patch:
        patch.setattr("app.store.database.connection.migrate", lambda *_: 0)
        return opened(blank_place)


def test_the_first_version_with_data_becomes_the_newest(
    blank_place: str, opened: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_first_version(blank(blank_place, opened, monkeypatch))
    store = opened(blank_place)
    assert version_of(store) == NEWEST
    (tray,) = recall_results(store)
    (piece,) = tray.pieces
    assert (tray.tray, tray.lot, piece.piece, piece.reasons[0].max) == ("T-000001", "L-2611-01", 4, 0.15)
    assert piece.findings == made_piece(4, "reject").findings
    (verdict,) = standing(store)
    assert (verdict.inspector, verdict.verdict, verdict.defects, verdict.note) == (
        "R. Hale",
        "reject",
        ("burr",),
        "tip",
    )
    with pytest.raises(Unusable, match="never changed"), store.write() as connection:
        connection.execute(text("DELETE FROM verdict"))


# A lot of two parts with two decisions as version 5 held them; the second shot came between the two.
LOT_DECISIONS = (
    "INSERT INTO tray (id, tray) VALUES (2, 'T-000002')",
    "INSERT INTO shot (id, tray_id, digest, part, station, lot_id, taken_at, filed_at)"
    " VALUES (2, 2, 'x', 'DS-182', 'ST-1', 1, NULL, '2026-11-02T07:00:00+00:00')",
    "INSERT INTO filing (id, shot_id, digest, limits_revision, software, filed_at)"
    " VALUES (2, 2, 'x', 3, 'brightbowl 0.1.0', '2026-11-02T07:00:00+00:00')",
    "INSERT INTO piece (id, tray_id, piece) VALUES (2, 2, 1)",
    "INSERT INTO judgement (id, piece_id, filing_id, verdict, digest) VALUES (2, 2, 2, 'pass', 'y')",
)


def test_decisions_on_a_lot_become_those_on_each_of_its_parts(
    blank_place: str, opened: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = blank(blank_place, opened, monkeypatch)
    with old.write() as connection:
        migrate(connection, old.url, until=1)
        for statement in FIRST_DATA:
            connection.exec_driver_sql(statement.replace("'t')", "'2026-11-02T05:00:00+00:00')"))
        migrate(connection, old.url, until=6)
        for statement in LOT_DECISIONS:
            connection.exec_driver_sql(statement)
        for uid, word, hour in (("a", "hold", 6), ("b", "release", 8)):
            values = {"u": uid, "w": word, "body": pack({"pieces": 2}), "at": f"2026-11-02T{hour:02}:00:00+00:00"}
            connection.execute(
                text(
                    "INSERT INTO lot_decision (uid, lot_id, decision, given_by, identity, why, body, given_at)"
                    " VALUES (:u, 1, :w, 'R. Hale', 'declared', 'seen', :body, :at)"
                ),
                values,
            )
    store = opened(blank_place)
    assert version_of(store) == NEWEST
    found = {part: decisions(store, "L-2611-01", part) for part in ("DS-182", "TS-135")}
    assert [(one.uid, one.decision, one.judgings) for one in found["DS-182"]] == [
        ("a", "hold", frozenset()),
        ("b", "release", frozenset({2})),
    ]
    assert [(one.uid, one.decision, one.judgings) for one in found["TS-135"]] == [
        ("a TS-135", "hold", frozenset({1})),
        ("b TS-135", "release", frozenset({1})),
    ]
    newest = found["TS-135"][1]
    assert (newest.given_by, newest.why, newest.seen) == ("R. Hale", "seen", {"pieces": 2})
    assert standings(store, list_lots(store)) == {
        ("L-2611-01", "DS-182"): "released",
        ("L-2611-01", "TS-135"): "released",
    }
    state = lot_state(store, "L-2611-01", "DS-182")
    decide(store, state.decision("hold", Acted("M. Okafor", "declared", "a complaint")))
    assert lot_state(store, "L-2611-01", "DS-182").standing == "held"
    with pytest.raises(Unusable, match="never changed"), store.write() as connection:
        connection.execute(text("DELETE FROM lot_decision"))


@pytest.mark.parametrize("version", range(1, NEWEST))
def test_every_older_version_is_brought_up_to_the_newest(
    tmp_path: Path, opened: Open, monkeypatch: pytest.MonkeyPatch, version: int
) -> None:
    place = str(tmp_path / "store.sqlite")
    with monkeypatch.context() as patch:
        patch.setattr(
            "app.store.database.connection.migrate", lambda connection, url: migrate(connection, url, until=version)
        )
        patch.setattr("app.store.database.connection._lay_out_anew", lambda _: None)
        patch.setattr("app.store.database.connection.seal", lambda *_: 0)
        opened(place).close()
    assert version_of(opened(place)) == NEWEST


def test_the_tables_made_are_the_tables_queried(store: Store) -> None:
    with store.read() as connection:
        found = inspect(connection)
        assert set(found.get_table_names()) - {"store_version"} == set(schema.metadata.tables)
        for name, table in schema.metadata.tables.items():
            columns = {one["name"]: one["nullable"] for one in found.get_columns(name)}
            assert columns.keys() == set(table.columns.keys()), name
            wanted = {column.name: column.nullable for column in table.columns if not column.primary_key}
            assert {key: columns[key] for key in wanted} == wanted, name


def open_and_close(place: str) -> None:
    open_store(place).close()


def test_steps_run_once_whoever_opens(blank_place: str, opened: Open) -> None:
    started = [loaded_processes().Process(target=open_and_close, args=(blank_place,)) for _ in range(3)]
    for one in started:
        one.start()
    for one in started:
        one.join(60)
    assert [one.exitcode for one in started] == [0, 0, 0]
    with opened(blank_place).read() as connection:
        versions = connection.execute(text("SELECT version FROM store_version ORDER BY version")).scalars().all()
    assert versions == list(range(1, len(STEPS) + 1))


def test_a_newer_store_is_refused_by_name_and_left_alone(store: Store, place: str) -> None:
    with store.write() as connection:
        connection.execute(text(f"INSERT INTO store_version VALUES ({NEWEST + 1}, 'brightbowl 9.9', 't')"))
    with pytest.raises(Unusable, match=f"version {NEWEST + 1}, made by brightbowl 9.9"):
        open_store(place)


def test_a_step_that_fails_leaves_the_version_before(
    blank_place: str, opened: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_first_version(blank(blank_place, opened, monkeypatch))
    monkeypatch.setattr(
        "app.store.database.migrations.STEPS", (STEPS[0], lambda _: ["CREATE TABLE half (id INTEGER)", "NO SQL"])
    )
    with pytest.raises(Exception, match="syntax"):
        open_store(blank_place)
    monkeypatch.undo()
    store = opened(blank_place)
    assert version_of(store) == NEWEST
    with store.read() as connection:
        assert not connection.dialect.has_table(connection, "half")
        assert connection.execute(select(schema.verdict.c.uid)).scalars().all() == ["a"]
