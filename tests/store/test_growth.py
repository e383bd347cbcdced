"""A store grows: no statement of the day's work reads a table that grows with the pieces from end to end."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from sqlalchemy import event

from app.store.database.columns import metadata
from app.store.database.connection import Store
from app.store.line.outbox import make_messages, mark_sent, unsent
from app.store.lots.lot_list import LISTED, known_parts, list_lots
from app.store.lots.state import lot_state, standings
from app.store.people.actor import Acted
from app.store.people.pace import pace
from app.store.people.review_queue import Holder, choices, claim, waiting, waiting_count
from app.store.people.verdicts import NewVerdict, give, standing
from app.store.people.wanted import Wanted
from app.store.results.filing import file_result
from app.store.results.shown import newest_judgements, shown
from app.store.stations.checks import file_checks, suspect_trays
from tests.store.made import decide, made_piece, made_tray, to_file
from vision.formats.checks_file import Check

# These grow with drawings, stations, lots, checks and people's decisions.
SMALL = {
    "part",
    "station",
    "limits_revision",
    "limits_act",
    "lot",
    "lot_sum",
    "lot_value",
    "station_check",
    "challenge",
    "doubt",
}
# The chain's head and a station's newest message are read from an end.
SMALL |= {"chain_link", "line_message", "doubt_settled", "blind_round", "blind_piece", "lot_decision"}
CALIBRATED = Check("ST-1", "a" * 64, "REF-1", "2026-11-02T05:00:00+00:00", "pass", (), {}, ())
STOP = replace(CALIBRATED, checked_at="2026-11-02T07:00:00+00:00", verdict="stop")
GOOD = replace(CALIBRATED, checked_at="2026-11-02T09:00:00+00:00", calibration="b" * 64)
HALE = Acted("R. Hale", "declared", "checked")

GROWING = {table.name for table in metadata.sorted_tables} - SMALL
LOT = "L-2611-07"
# Read whole, by itself or by an index of it; or found by something that nearly all rows have in common.
WHOLE = re.compile(
    r"SCAN (\w+)|.*AUTOMATIC|BLOOM"
    r"|SEARCH (\w+) USING (?:COVERING )?INDEX \w+ \((?:blind_id|station|part|kind|verdict|light)=\?\)"
)


@contextmanager
def read_whole(store: Store) -> Iterator[list[str]]:
    """The statements that SQLite would carry out by reading a whole table that grows with the pieces."""
    found: list[str] = []

    def explain(_connection: Any, cursor: Any, statement: str, values: Any, _context: Any, _many: bool) -> None:
        # An insert of plain rows is told by its checks of what may name them, which are not carried out.
        if re.match(r"SELECT|WITH|UPDATE|DELETE|INSERT INTO \w+ \([^)]*\) SELECT", statement):
            given = values[0] if isinstance(values, list) else values
            plan = cursor.connection.execute(f"EXPLAIN QUERY PLAN {statement}", given)
            scans = (WHOLE.match(row[3]) for row in plan)
            named = [(one[1] or one[2], one[0]) for one in scans if one is not None]
            found.extend(f"{how}: {statement}" for table, how in named if table is None or table in GROWING)

    for engine in (store.reader, store.writer):
        event.listen(engine, "before_cursor_execute", explain)
    yield found
    for engine in (store.reader, store.writer):
        event.remove(engine, "before_cursor_execute", explain)


def a_day(store: Store) -> None:
    """What a works does all day long: file, tell the line, review, look at lots, decide."""
    file_checks(store, [CALIBRATED, STOP, GOOD])
    for number in range(3):
        file_result(store, to_file(made_tray(f"T-{number}")))
    file_result(store, to_file(made_tray("T-1", [made_piece(1, "pass")])))
    make_messages(store)
    for one in unsent(store):
        mark_sent(store, one)
    make_messages(store)
    waiting_count(store, Wanted())
    choices(store)
    for wanted in (Wanted(), Wanted(order="oldest"), Wanted(measure="outline_out_mm"), Wanted(lot=LOT, die="D4")):
        waiting(store, wanted, 200)
        (taken,) = claim(store, Holder("desk", "R. Hale"), wanted, 1)
        shown(store, list(newest_judgements(store, [taken]).values()))
        give(store, NewVerdict(f"v-{wanted}", taken, None, "R. Hale", "declared", "accept", (), "", "t"))
    suspect_trays(store, among=["T-1"])
    known_parts(store)
    for word in ("hold", "release"):
        decide(store, lot_state(store, LOT).decision(word, HALE))
    standings(store, list_lots(store, LISTED))
    pace(store, "2026-11-01")


def test_no_statement_of_a_day_reads_a_growing_table_whole(
    tmp_path: Path, opened: Callable[[str | Path], Store]
) -> None:
    store = opened(tmp_path / "store.sqlite")
    with read_whole(store) as found:
        a_day(store)
    assert found == []


def test_such_a_statement_is_found(tmp_path: Path, opened: Callable[[str | Path], Store]) -> None:
    store = opened(tmp_path / "store.sqlite")
    with read_whole(store) as found:
        standing(store)
    assert found[0].startswith("SCAN verdict: SELECT")
