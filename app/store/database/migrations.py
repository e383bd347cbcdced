"""The store's versions: a numbered list of steps, run under a lock, each once.

A store made by a newer program is refused, never guessed at.
"""

from datetime import UTC, datetime
from importlib.metadata import version

from sqlalchemy import Connection, inspect, text
from sqlalchemy.exc import DBAPIError

from app.store.database.soundness import APPLICATION
from app.store.database.steps import STEPS
from vision.errors import Unusable

NEWEST = len(STEPS)

# Any number that no other program on the server is likely to lock by; "bb" in ASCII, then our format's number.
_POSTGRESQL_LOCK = 0x6262_0001


def migrate(connection: Connection, where: str, until: int = NEWEST) -> int:
    """Bring a store up to a version, inside the caller's write transaction.

    Parameters
    ----------
    connection
        In a transaction that writes (on SQLite begun IMMEDIATE, which is the lock there).
    where
        The store's name in messages.
    until
        The version wanted; tests ask for old ones.

    Returns
    -------
    int
        How many steps were done.

    Raises
    ------
    Unusable
        The store was made by a newer program, or it holds tables that are not a store's.
    """
    dialect = connection.dialect.name
    if dialect == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _POSTGRESQL_LOCK})
    present = stored_version(connection, where)
    if present > NEWEST:
        raise Unusable(
            where,
            "",
            f"expected a store of version {NEWEST} or older: use the newer brightbowl that made it",
            f"version {present}, made by {_made_by(connection)}",
        )
    if dialect == "sqlite" and not connection.exec_driver_sql("PRAGMA application_id").scalar():
        connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION}")
    for number in range(present + 1, until + 1):
        if number == 1:
            connection.execute(
                text("CREATE TABLE store_version (version INTEGER PRIMARY KEY, software TEXT, applied_at TEXT)")
            )
        try:
            for statement in STEPS[number - 1](dialect):
                connection.exec_driver_sql(statement)
        except DBAPIError as fault:
            if "already exists" not in str(fault.orig):
                raise
            expected = "expected a row for each version; bring back a copy of the store"
            raise Unusable(where, "store_version", expected, f"what version {number} makes is there") from None
        connection.execute(
            text("INSERT INTO store_version VALUES (:version, :software, :applied_at)"),
            {
                "version": number,
                "software": f"brightbowl {version('brightbowl')}",
                "applied_at": datetime.now(UTC).isoformat(timespec="seconds"),
            },
        )
    return max(until - present, 0)


def stored_version(connection: Connection, where: str) -> int:
    """The version that a store has; 0 for an empty database.

    Raises
    ------
    Unusable
        It holds another program's tables, or rows of its own versions are missing.
    """
    tables = inspect(connection).get_table_names()
    if "store_version" not in tables:
        if tables and connection.dialect.name == "sqlite":
            found = f"tables {', '.join(sorted(tables))[:80]}"
            raise Unusable(where, "", "expected a store; this is another program's and was left as it is", found)
        return 0
    try:
        versions = list(connection.execute(text("SELECT version FROM store_version ORDER BY version")).scalars())
        made = [str(one) for one in connection.execute(text("SELECT software FROM store_version")).scalars()]
    except DBAPIError:
        raise Unusable(where, "", "expected a store; this is another program's and was left as it is") from None
    if not versions or versions != list(range(1, len(versions) + 1)) or not all(map(_is_ours, made)):
        found = f"rows of versions {', '.join(map(str, versions)) or 'none'}"
        raise Unusable(where, "store_version", "expected a row for each version; bring back a copy of the store", found)
    return len(versions)


def _is_ours(software: str) -> bool:
    return software.startswith("brightbowl ")


def _made_by(connection: Connection) -> str:
    newest = text("SELECT software FROM store_version ORDER BY version DESC LIMIT 1")
    return str(connection.execute(newest).scalar())
