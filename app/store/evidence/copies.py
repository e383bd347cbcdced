"""A store copied while it is used, row by row with every id and link: into a backup, out of it, to another database."""

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, func, insert, select, text

from app.store.database import schema
from app.store.database.connection import Store, version_of
from vision.errors import Unusable

_ROWS_AT_ONCE = 2000


def copy_store(source: Store, target: Store) -> int:
    """Copy all rows into an empty store of the same version, as they stood at one moment; how many.

    Parameters
    ----------
    source
        Where rows come from.
    target
        An empty store of the same version.

    Returns
    -------
    int
        Number of rows.

    Raises
    ------
    Unusable
        The target holds something, or is of another version.
    """
    if version_of(source) != version_of(target):
        raise Unusable(target.url, "", f"expected a store of version {version_of(source)}", str(version_of(target)))
    count = 0
    # Past `Store.write`: the links come with the rows, none is made.
    with source.read() as rows, target.writer.begin() as into:
        tables = schema.metadata.sorted_tables
        if any(into.execute(select(func.count()).select_from(table)).scalar() for table in tables):
            raise Unusable(target.url, "", "expected an empty store to copy into", "one that holds something")
        for table in tables:
            query = select(table).order_by(*table.primary_key.columns)
            for some in rows.execution_options(yield_per=_ROWS_AT_ONCE).execute(query).mappings().partitions():
                into.execute(insert(table), [dict(row) for row in some])
                count += len(some)
        _number_on(into)
    return count


def copy_to_file(source: Store, file: Path) -> None:
    """Copy a store into a new file of SQLite while it is used, as it stood at one moment.

    Parameters
    ----------
    source
        May be in use.
    file
        A new file of SQLite.

    Raises
    ------
    Unusable
        The file holds a store already that is not empty, or can't be written.
    """
    from app.store.database.connection import open_store

    if source.url.startswith("postgresql"):
        with closing(open_store(file)) as target:
            copy_store(source, target)
        return
    with closing(sqlite3.connect(source.url)) as old, closing(sqlite3.connect(file)) as new:
        old.backup(new)


def _number_on(connection: Connection) -> None:
    """PostgreSQL numbers rows by counters of its own, which rows that bring their numbers leave behind."""
    if connection.dialect.name != "postgresql":
        return
    for table in schema.metadata.sorted_tables:
        if "id" in table.c and table.name != "chain_link":
            name = f"pg_get_serial_sequence('{table.name}', 'id')"
            newest = f"(SELECT MAX(id) FROM {table.name})"
            connection.execute(text(f"SELECT setval({name}, {newest}) WHERE {newest} IS NOT NULL"))
