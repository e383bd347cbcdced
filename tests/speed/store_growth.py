"""How the store does as it grows: the same work at a hundred times the pieces; asked for is at most twice the time.

Run by hand: `python -m tests.speed.store_growth [PIECES ...]`, by default 200000 and 20000000, in files of SQLite in
the temporary folder (about 1.3 kB a piece: earlier pieces have no profiles). A base of 20,000 pieces in ten lots is
filed by the program and waits for review; the rest are earlier lots, copied row by row from the base once that was
reviewed and released, every row with numbers, names and times of its own. Links of copied rows are as many and as long
as real ones, but hold nothing.
"""

import shutil
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import Table

from app.store import (
    LISTED,
    Acted,
    Holder,
    NewVerdict,
    PictureFile,
    Store,
    ToFile,
    Wanted,
    Wish,
    choices,
    claim,
    decide_as_it_stands,
    file_result,
    give,
    list_lots,
    lot_state,
    open_store,
    standings,
    waiting,
    waiting_count,
)
from app.store.database.columns import metadata
from app.store.evidence.rows import key_of
from tests.speed.store_speed import median_ms
from tests.store.made import LIMITS, PART, STATION, made_piece, made_profile, made_tray
from vision.records import Digests

ON_TRAY, TRAYS_OF_LOT, LOTS = 10, 200, 10
BASE = ON_TRAY * TRAYS_OF_LOT * LOTS
VERDICTS = ("pass",) * 8 + ("review", "reject")
# Filed once for all, or never by this work: not copied, and rows that name them keep their numbers.
ONCE = ("part", "station", "limits_revision", "limits_act", "station_check", "challenge", "blind_round", "doubt")
# Words that must differ from one copy to the next; their beginning is the copy's, so that indexes grow at their end.
OWN_WORDS = {
    "tray": ("tray",),
    "lot": ("lot",),
    "shot_identity": ("frames",),
    "judging": ("result_path",),
    "picture": ("path",),
    "kept_file": ("path",),
    "verdict": ("uid",),
    "lot_decision": ("uid",),
    "bench": ("lot",),
}
TIMES = {"shot": "taken_at", "bench": "taken_at", "standing_tray": "taken_at", "lot_sum": "first_taken_at"}


def one_tray(number: int, lot: str, with_profiles: bool = True) -> ToFile:
    """A tray of ten pieces, two of them flagged, with frames and profiles."""
    pieces = [made_piece(k + 1, verdict, 0.2 + (number * 7919 % 1000) / 1e4) for k, verdict in enumerate(VERDICTS)]
    taken_at = f"2026-11-{1 + number // 1440 % 28:02d}T{number // 60 % 24:02d}:{number % 60:02d}:00+00:00"
    digests = Digests("drawing", "station", "limits", f"{number:032x}")
    result = replace(made_tray(f"T-{number:06d}", pieces, lot, taken_at, f"D{1 + number % 4}"), digests=digests)
    pictures = tuple(PictureFile(f"shots/T-{number:06d}/low-{k:03d}.png", "frame", "low", float(k)) for k in range(6))
    profiles = {number: made_profile(number) for number in range(1, ON_TRAY + 1) if with_profiles}
    return ToFile(result, pictures, PART, STATION, LIMITS, profiles)


def make_base(place: Path | str) -> None:
    """File the base by the program."""
    with closing(open_store(place)) as store:
        for tray in range(TRAYS_OF_LOT * LOTS):
            file_result(store, one_tray(tray, f"L-{tray // TRAYS_OF_LOT:03d}", with_profiles=False))


def review(place: Path | str) -> None:
    """Judge every piece that waits, and release every lot."""
    with closing(open_store(place)) as store:
        for one in waiting(store, Wanted(), BASE):
            word = "accept" if one.verdict == "review" else "reject"
            give(store, NewVerdict(f"v-{one.piece_id}", one.piece_id, None, "R. Hale", "declared", word, (), "", "t"))
        for lot in list_lots(store):
            state = lot_state(store, lot.lot)
            reviewed = Acted("R. Hale", "declared", "reviewed")
            decide_as_it_stands(store, state.lot, state.part, Wish(("release",), reviewed), state)


def grow(place: Path, base: Path, copies: int) -> None:
    """Add earlier lots: so many copies of a reviewed base."""
    with closing(sqlite3.connect(place, isolation_level=None)) as database:
        for pragma in ("journal_mode = off", "synchronous = off", "foreign_keys = off", "cache_size = -4000000"):
            database.execute(f"PRAGMA {pragma}")
        database.execute("ATTACH ? AS base", (str(base),))
        steps = {one.name: _newest(database, one) for one in metadata.sorted_tables if one.name not in ONCE}
        database.execute(
            "CREATE TEMP TABLE copy AS WITH RECURSIVE c (k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM c "
            f"WHERE k < {copies}) SELECT k FROM c"
        )
        for table in metadata.sorted_tables:
            if table.name in steps:
                names = ", ".join(f'"{column.name}"' for column in table.columns)
                values = ", ".join(copied(table, column.name, steps, SQLITE) for column in table.columns)
                rows = f'copy CROSS JOIN base."{table.name}" AS t'
                if table.name == "chain_link":
                    rows += f" WHERE t.kind NOT IN {ONCE}"
                database.execute(f'INSERT INTO main."{table.name}" ({names}) SELECT {values} FROM {rows}')
        database.execute("PRAGMA journal_mode = wal")


def _newest(database: sqlite3.Connection, table: Table) -> int:
    """The newest number of a table's rows in the base; 0 for a table whose rows have no numbers of their own."""
    if "id" not in table.c:
        return 0
    return int(database.execute(f'SELECT COALESCE(MAX(id), 0) FROM base."{table.name}"').fetchone()[0])


@dataclass(frozen=True)
class Dialect:
    """How a database says what makes a copy's own words, and its time, of a column's value."""

    own_word: str
    time: str


SQLITE = Dialect(
    "CASE WHEN {0} <> '' THEN printf('%05d-', k) || {0} ELSE {0} END",
    "strftime('%Y-%m-%dT%H:%M:%S+00:00', {0}, '-' || (k * 2) || ' hours')",
)


def copied(table: Table, name: str, steps: Mapping[str, int], dialect: Dialect) -> str:
    """What a column of a row is in the copy k."""
    column, value = table.c[name], f't."{name}"'
    target = next((one.column.table.name for one in column.foreign_keys), None)
    if name == "id" or target in steps:
        return f"{value} + k * {steps[target or table.name]}"
    if table.name == "chain_link" and name == "row_id":
        shifts = " ".join(f"WHEN '{kind}' THEN {step}" for kind, step in steps.items() if key_of(kind) == "id")
        return f"{value} + k * CASE t.kind WHEN 'profile' THEN {steps['judgement']} {shifts} END"
    if name in OWN_WORDS.get(table.name, ()):
        return dialect.own_word.format(value)
    if TIMES.get(table.name) == name:
        return dialect.time.format(value)
    return value


def timed(store: Store) -> dict[str, float]:
    """What the work takes, in ms."""
    numbers = iter(range(10_000_000, 99_999_999))

    def queue() -> None:
        waiting_count(store, Wanted())
        choices(store)
        waiting(store, Wanted(), 200)

    def verdict() -> None:
        (taken,) = claim(store, Holder("growth", "R. Hale"), Wanted(), 1)
        uid = f"growth-{next(numbers)}"
        give(store, NewVerdict(uid, taken, None, "R. Hale", "declared", "accept", (), "", "t"))

    work: dict[str, Callable[[], object]] = {
        "the queue opens": queue,
        "a piece claimed and judged": verdict,
        f"the {LISTED} newest lots listed": lambda: standings(store, list_lots(store, LISTED)),
        "one lot that waits": lambda: lot_state(store, "L-009"),
        "one lot of earlier": lambda: lot_state(store, "00001-L-004"),
        "a tray filed": lambda: file_result(store, one_tray(next(numbers), "L-009")),
    }
    return {name: median_ms(one) for name, one in work.items()}


def main(sizes: Sequence[int], folder: Path) -> None:
    """Make a store of each size, time the work on it, and print it beside the first one's."""
    base, reviewed = folder / "base.sqlite", folder / "reviewed.sqlite"
    make_base(base)
    shutil.copy(base, reviewed)
    review(reviewed)
    with closing(sqlite3.connect(reviewed)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    first: dict[str, float] = {}
    for pieces in sizes:
        place = folder / "grown.sqlite"
        shutil.copy(base, place)
        start = time.perf_counter()
        grow(place, reviewed, pieces // BASE - 1)
        size = f"{place.stat().st_size / 1e9:.2f} GB, made in {time.perf_counter() - start:.0f} s"
        with closing(open_store(place)) as store:
            took = timed(store)
        place.unlink()
        first = first or took
        print(f"| {pieces:,} pieces, {size} | ms | to the first |\n|---|---|---|")
        for name, ms in took.items():
            print(f"| {name} | {ms:.1f} | {ms / first[name]:.2f} |", flush=True)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made_in:
        main([int(word) for word in sys.argv[1:]] or [200_000, 20_000_000], Path(made_in))
