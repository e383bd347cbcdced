"""Rows by their unique keys: find, add, or make sure of one while others do the same."""

from typing import Any

from sqlalchemy import Connection, Table, insert, select
from sqlalchemy.dialects import postgresql, sqlite


def find(connection: Connection, table: Table, key: dict[str, Any]) -> int | None:
    """The id of the row with these unique values, or None."""
    query = select(table.c.id).where(*(table.c[name] == value for name, value in key.items()))
    found = connection.execute(query).scalar()
    return None if found is None else int(found)


def add(connection: Connection, table: Table, values: dict[str, Any]) -> int:
    """Insert a row; its id."""
    return int(connection.execute(insert(table).values(**values).returning(table.c.id)).scalar_one())


def add_missing(connection: Connection, table: Table, values: dict[str, Any]) -> None:
    """Insert a row unless one with the same unique values is there."""
    insert_or_leave = (postgresql if connection.dialect.name == "postgresql" else sqlite).insert
    connection.execute(insert_or_leave(table).values(**values).on_conflict_do_nothing())


def ensure(connection: Connection, table: Table, key: dict[str, Any], more: dict[str, Any] | None = None) -> int:
    """The id of the row with these unique values, made (with `more` in its other columns) where it is missing."""
    found = ensure_allowed(connection, table, key, more or {})
    assert found is not None
    return found


def ensure_allowed(connection: Connection, table: Table, key: dict[str, Any], more: dict[str, Any]) -> int | None:
    """As `ensure`, for a table with a second unique rule: None where another row holds what this one would."""
    found = find(connection, table, key)
    if found is None:
        add_missing(connection, table, {**key, **more})
        found = find(connection, table, key)
    return found
