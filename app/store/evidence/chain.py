"""The chain: a link for each row filed, in order; each link's hash holds the one before it and the row's digest.

Links are made from what is filed, at the end of each transaction that writes, so that none can be forgotten: whoever
files need not know of the chain. SHA-256 throughout (FIPS 180-4).
"""

import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select, text

from app.store.database import schema
from app.store.evidence.rows import AT_ONCE, KINDS, digests, key_of

BEGIN = "0" * 64
# Writers that run side by side on PostgreSQL may commit rows in another order than they numbered them: so far back is
# looked for rows without a link. None has that many rows of one kind under way beside another's. SQLite has one writer.
LOOK_BACK = {"sqlite": 0, "postgresql": 500}
# Few rows, keyed by what they belong to and filed in any order: all of them are looked at.
_ANY_ORDER = ("doubt_settled",)
# Rows keyed so that are many: whoever files them says which, see `link_later`.
_TOLD = ("profile",)
_LATER = "rows to link"
_NO_ROW = 2**62


Strays = Mapping[str, Sequence[int]]
"""Rows without a link, by kind."""


@dataclass(frozen=True, slots=True)
class Head:
    """The newest link: how many there are, and its hash. It stands for all that was filed until then."""

    links: int
    hash: str

    def __str__(self) -> str:
        return f"{self.links}:{self.hash}"


def head_of(connection: Connection) -> Head:
    """The chain's head.

    Parameters
    ----------
    connection
        A transaction of the store.

    Returns
    -------
    Head
        How many links there are, and the hash of the newest.
    """
    table = schema.chain_link
    row = connection.execute(select(table.c.id, table.c.hash).order_by(table.c.id.desc()).limit(1)).first()
    return Head(0, BEGIN) if row is None else Head(int(row.id), row.hash)


def seal(connection: Connection, strays: Strays) -> int:
    """Link what a transaction filed, at its end; how many links were made.

    Parameters
    ----------
    strays
        What had no link as it began: written past the program, it never gets one, and `verify` names it.
    """
    found = unlinked(connection)
    waiting = {kind: [one for one in ids if one not in strays.get(kind, ())] for kind, ids in found.items()}
    if not any(waiting.values()):
        return 0
    if hold_end(connection):
        waiting = {kind: _without(connection, kind, ids) for kind, ids in waiting.items()}  # others may have had turns
    head = head_of(connection)
    made, last = head.links, head.hash
    for kind, ids in waiting.items():
        for start in range(0, len(ids), AT_ONCE):
            rows: list[dict[str, int | str]] = []
            for row_id, digest in sorted(digests(connection, kind, ids[start : start + AT_ONCE]).items()):
                made, last = made + 1, hash_of(last, kind, row_id, digest)
                rows.append({"id": made, "kind": kind, "row_id": row_id, "digest": digest, "hash": last})
            if rows:
                connection.execute(insert(schema.chain_link), rows)
    return made - head.links


def hold_end(connection: Connection) -> bool:
    """Let nobody else end a transaction that files anything until this one has ended; whether others may write at all.

    On SQLite whoever writes is alone anyway.
    """
    if connection.dialect.name != "postgresql":
        return False
    connection.exec_driver_sql("LOCK TABLE chain_link IN SHARE ROW EXCLUSIVE MODE")
    return True


def hash_of(before: str, kind: str, row_id: int, digest: str) -> str:
    """The hash of a link from the one before it and the row that it stands for."""
    return hashlib.sha256(f"{before}\n{kind}\n{row_id}\n{digest}".encode()).hexdigest()


def link_later(connection: Connection, kind: str, ids: Sequence[int]) -> None:
    """Say which rows of a kind were filed that are not found by their number alone."""
    connection.info.setdefault(_LATER, []).extend((kind, one) for one in ids)


def unlinked(connection: Connection, tables: Collection[str] = KINDS) -> dict[str, list[int]]:
    """The rows of each kind that have no link, among the newest and those told.

    Parameters
    ----------
    tables
        Those that are there: an older store lacks the newer kinds.
    """
    kinds = [kind for kind in KINDS if kind in tables]
    query = _QUERIES[connection.dialect.name]
    if len(kinds) < len(KINDS):
        query = text(_query(connection.dialect.name, kinds))
    found: dict[str, list[int]] = {}
    for kind, row_id in connection.execute(query):
        found.setdefault(kind, []).append(int(row_id))
    told: dict[str, list[int]] = {}
    for kind, row_id in connection.info.pop(_LATER, ()):
        told.setdefault(kind, []).append(row_id)
    for kind, ids in told.items():
        found[kind] = sorted({*found.get(kind, []), *_without(connection, kind, ids)})
    return {kind: ids for kind, ids in found.items() if ids}


def _without(connection: Connection, kind: str, ids: Sequence[int]) -> list[int]:
    """Those of some rows that have no link."""
    table, linked = schema.chain_link, set()
    for start in range(0, len(ids), AT_ONCE):
        some = ids[start : start + AT_ONCE]
        linked |= set(
            connection.execute(select(table.c.row_id).where(table.c.kind == kind, table.c.row_id.in_(some))).scalars()
        )
    return [one for one in ids if one not in linked]


def _query(dialect: str, kinds: Iterable[str] = KINDS) -> str:
    parts = []
    for kind in kinds:
        key, newest = key_of(kind), f"(SELECT MAX(row_id) FROM chain_link WHERE kind = '{kind}')"
        after = "0" if kind in _ANY_ORDER else f"COALESCE({newest} - {LOOK_BACK[dialect]}, 0)"
        if kind in _TOLD:  # all of them once, in a store whose chain begins
            after = f"CASE WHEN {newest} IS NULL THEN 0 ELSE {_NO_ROW} END"
        parts.append(
            f"SELECT '{kind}' AS kind, t.{key} AS row_id FROM {kind} AS t WHERE t.{key} > {after} AND NOT EXISTS "
            f"(SELECT 1 FROM chain_link AS l WHERE l.kind = '{kind}' AND l.row_id = t.{key})"
        )
    return f"SELECT kind, row_id FROM ({' UNION ALL '.join(parts)}) AS waiting ORDER BY kind, row_id"


_QUERIES = {dialect: text(_query(dialect)) for dialect in LOOK_BACK}
