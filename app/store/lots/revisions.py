"""Limits with every revision, and who released which and why."""

from dataclasses import dataclass

from sqlalchemy import Connection, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.definitions import digest, limits_content, limits_record, pack, unpack
from app.store.database.rows import add, ensure_allowed, find
from vision.errors import Unusable
from vision.records import Limits


@dataclass(frozen=True, slots=True)
class Revision:
    """One set of limits as filed; `released_by`, `why` and `released_at` are None until somebody releases it here."""

    id: int
    limits: Limits
    filed_at: str
    released_by: str | None
    why: str | None
    released_at: str | None


def file_limits(connection: Connection, limits: Limits) -> int:
    """Keep a set of limits; the id of its row.

    A draft may be filed again and again as it changes: each state is kept. A released revision is one set for ever.

    Raises
    ------
    Unusable
        That revision was released with other content.
    """
    content = limits_content(limits)
    key = {"part": limits.part, "revision": limits.revision, "digest": digest(content)}
    more = {"status": limits.status, "body": pack(content), "filed_at": now()}
    # Inserted first and looked for then: whoever comes second finds the first one's row, whatever the order.
    kept = ensure_allowed(connection, schema.limits_revision, key, more)
    if kept is None:
        raise Unusable(
            f"limits of {limits.part}",
            f"revision {limits.revision}",
            "expected the limits that were released under this number; give changed limits the next number",
            "other limits",
        )
    return kept


def release(store: Store, limits: Limits, released_by: str, why: str) -> Revision:
    """File released limits and write down who released them and why.

    Raises
    ------
    Unusable
        The limits are a draft, no name or reason was given, or that revision was released before.
    """
    where = f"limits of {limits.part}"
    if limits.status != "released":
        raise Unusable(where, "status", 'expected "released"', limits.status)
    if not released_by.strip() or not why.strip():
        raise Unusable(where, "release", "expected a name and a reason; neither may be empty")
    with store.write() as connection:
        limits_id = file_limits(connection, limits)
        if find(connection, schema.limits_release, {"limits_id": limits_id}) is not None:
            raise Unusable(where, f"revision {limits.revision}", "expected a revision that was not released before")
        values = {"limits_id": limits_id, "released_by": released_by, "why": why, "released_at": now()}
        add(connection, schema.limits_release, values)
    return next(one for one in revisions(store, limits.part) if one.id == limits_id)


def revisions(store: Store, part: str) -> tuple[Revision, ...]:
    """Every set of limits filed for a part, in the order of their numbers and then of filing."""
    table, released = schema.limits_revision, schema.limits_release
    query = (
        select(
            table.c.id, table.c.body, table.c.filed_at, released.c.released_by, released.c.why, released.c.released_at
        )
        .outerjoin(released, released.c.limits_id == table.c.id)
        .where(table.c.part == part)
        .order_by(table.c.revision, table.c.id)
    )
    with store.read() as connection:
        rows = connection.execute(query).all()
    return tuple(
        Revision(row.id, limits_record(unpack(row.body)), row.filed_at, row.released_by, row.why, row.released_at)
        for row in rows
    )


def limits_of(connection: Connection, part: str, revision: int) -> Limits | None:
    """The limits of one revision as filed last (a released set before a draft), or None where they were never filed."""
    table = schema.limits_revision
    query = (
        select(table.c.body)
        .where(table.c.part == part, table.c.revision == revision)
        .order_by(table.c.status.desc(), table.c.id.desc())
        .limit(1)
    )
    body = connection.execute(query).scalar()
    return None if body is None else limits_record(unpack(body))
