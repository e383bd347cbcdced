"""What is filed of a station as a whole, once: its checks and its challenges."""

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Table, select

from app.store.database.connection import Store, now
from app.store.database.definitions import digest, pack, unpack
from app.store.database.rows import add, find


def file_once(
    connection: Connection, table: Table, station: str, content: Mapping[str, Any], columns: Mapping[str, str]
) -> bool:
    """File one record, what is asked for of it in columns of its own, unless it is there; whether it was new."""
    key = {"station": station, "digest": digest(json.loads(json.dumps(content)))}
    if find(connection, table, key) is not None:
        return False
    add(connection, table, {**key, **columns, "body": pack(content), "filed_at": now()})
    return True


def contents_of(store: Store, table: Table, station: str) -> list[Any]:
    """What was filed of a station, in the order of filing."""
    query = select(table.c.body).where(table.c.station == station).order_by(table.c.id)
    with store.read() as connection:
        return [unpack(body) for body in connection.execute(query).scalars()]
