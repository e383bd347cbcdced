"""How the store does as it grows on PostgreSQL: the work of `store_growth`, on a server of its own.

Run by hand: `python -m tests.speed.store_growth_server [TRAYS_OF_LOT COPIES]`, by default 20 and 1000: ten lots of
twenty trays, 2,000 pieces, filed by the program; then ten and a thousand copies of them as earlier lots, made row by
row inside the server as `store_growth` makes them in a file.
"""

import sys
from contextlib import closing

import psycopg
from sqlalchemy import text

from app.store import open_store
from app.store.database.columns import metadata
from app.store.evidence.copies import _number_on
from tests.speed import store_growth as growth
from tests.store.postgresql_server import copied_database, new_database, postgresql_server

FEWEST = 10
"""So many copies at least, that there are as many lots as a list holds."""
# A colon before a name would be a parameter's.
POSTGRESQL = growth.Dialect(
    "CASE WHEN {0} <> '' THEN lpad(k\\:\\:text, 5, '0') || '-' || {0} ELSE {0} END",
    "to_char(({0}\\:\\:timestamptz - k * 2 * interval '1 hour') AT TIME ZONE 'UTC', "
    "'YYYY-MM-DD\"T\"HH24\\:MI\\:SS') || '+00\\:00'",
)


def bring_over(reviewed: str, place: str) -> None:
    """Copy all rows of one database into a schema `base` of another."""
    with psycopg.connect(reviewed) as source, psycopg.connect(place) as target:
        target.execute("CREATE SCHEMA base")
        for table in metadata.sorted_tables:
            target.execute(f'CREATE TABLE base."{table.name}" (LIKE public."{table.name}")')
            with (
                source.cursor().copy(f'COPY public."{table.name}" TO STDOUT') as out,
                target.cursor().copy(f'COPY base."{table.name}" FROM STDIN') as into,
            ):
                for some in out:
                    into.write(some)


def grow(place: str, copies: int) -> None:
    """Add earlier lots: so many copies of the reviewed base."""
    with closing(open_store(place)) as store, store.writer.begin() as database:
        database.exec_driver_sql("SET LOCAL session_replication_role = replica")  # neither guards nor keys
        newest = {
            one.name: int(database.exec_driver_sql(f'SELECT COALESCE(MAX(id), 0) FROM base."{one.name}"').scalar_one())
            for one in metadata.sorted_tables
            if "id" in one.c
        }
        steps = {one.name: newest.get(one.name, 0) for one in metadata.sorted_tables if one.name not in growth.ONCE}
        for table in metadata.sorted_tables:
            if table.name in steps:
                names = ", ".join(f'"{column.name}"' for column in table.columns)
                values = ", ".join(growth.copied(table, column.name, steps, POSTGRESQL) for column in table.columns)
                rows = f'generate_series(1, {copies}) AS copy (k) CROSS JOIN base."{table.name}" AS t'
                if table.name == "chain_link":
                    rows += f" WHERE t.kind NOT IN {growth.ONCE}"
                database.execute(text(f'INSERT INTO public."{table.name}" ({names}) SELECT {values} FROM {rows}'))
        _number_on(database)
        database.exec_driver_sql("DROP SCHEMA base CASCADE")
        database.exec_driver_sql("ANALYZE")


def main(trays_of_lot: int, copies: int) -> None:
    """Time the work on the base alone and on the grown store."""
    growth.TRAYS_OF_LOT, growth.BASE = trays_of_lot, growth.ON_TRAY * trays_of_lot * growth.LOTS
    with postgresql_server() as server:
        base = new_database(server.url, "base")
        growth.make_base(base)
        reviewed, grown, small = (copied_database(server.url, name, "base") for name in ("reviewed", "grown", "small"))
        growth.review(reviewed)
        first: dict[str, float] = {}
        for place, times in ((small, FEWEST), (grown, copies)):
            bring_over(reviewed, place)
            grow(place, times)
            with closing(open_store(place, walk=False)) as store:
                took = growth.timed(store)
            first = first or took
            print(f"| {growth.BASE * (times + 1):,} pieces | ms | to the first |\n|---|---|---|")
            for name, ms in took.items():
                print(f"| {name} | {ms:.1f} | {ms / first[name]:.2f} |", flush=True)


if __name__ == "__main__":
    main(*([int(word) for word in sys.argv[1:]] or [20, 1000]))
