"""The queue of flagged pieces: in what order they are judged, and who has which in hand.

Pieces are handed out on loan: a loan that is not renewed ends by itself, so that a closed browser blocks nothing, and
while it lasts nobody else is given the piece.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, func, or_, select, true, update

from app.store.database import schema
from app.store.database.connection import Store, clock_s
from app.store.people.wanted import Wanted, order, where

# A page renews its loans every 15 s; three misses and they are free.
LOAN_S = 45.0
_AT_ONCE = 500  # keys in one query: SQLite of old took 999 at most


@dataclass(frozen=True, slots=True)
class Holder:
    """Who takes pieces on loan: a browser's own name, and the inspector's."""

    key: str
    name: str


@dataclass(frozen=True, slots=True)
class Waiting:
    """One line of the queue."""

    piece_id: int
    tray: str
    piece: int
    part: str
    lot: str
    die: str
    verdict: str
    severity: str
    taken_at: str
    held_by: str | None


@dataclass(frozen=True, slots=True)
class Choices:
    """What the waiting pieces can be narrowed down by."""

    lots: tuple[str, ...]
    parts: tuple[str, ...]
    dies: tuple[str, ...]
    measures: tuple[str, ...]
    severities: tuple[str, ...]


def claim(
    store: Store, holder: Holder, wanted: Wanted, count: int, but: Sequence[int] = (), *, take_over: bool = False
) -> list[int]:
    """Take up to `count` waiting pieces on loan, none of which anybody else holds.

    Parameters
    ----------
    store
        An open store.
    holder
        Who has the pieces on loan.
    wanted
        Which pieces, and in which order.
    count
        How many pieces at most.
    but
        Pieces that the holder has already or wants to skip.
    take_over
        Take them from whoever holds them.

    Returns
    -------
    list[int]
        Rows of the pieces, in the order wanted.
    """
    table = schema.bench
    free = true() if take_over else or_(table.c.held_until < clock_s(), table.c.holder == holder.key)
    query = (
        select(table.c.piece_id)
        .where(*where(wanted), free, table.c.piece_id.not_in(but[-_AT_ONCE:]))
        .order_by(*order(wanted))
        .limit(count)
        .with_for_update(skip_locked=True)
    )
    with store.write() as connection:
        taken = [int(one) for one in connection.execute(query).scalars()]
        _lend(connection, holder, taken)
    return taken


def renew(store: Store, holder: Holder, piece_ids: Sequence[int]) -> dict[int, str]:
    """Keep pieces on loan a while longer; those that somebody else has by now, with that person's name.

    Parameters
    ----------
    store
        An open store.
    holder
        Who has the pieces on loan.
    piece_ids
        Rows of pieces on loan.

    Returns
    -------
    dict[int, str]
        Names by row of the piece; empty where all are still on loan.
    """
    table = schema.bench
    moment = clock_s()
    free = or_(table.c.held_until < moment, table.c.holder == holder.key)
    others = select(table.c.piece_id, table.c.holder_name).where(
        table.c.piece_id.in_(piece_ids), table.c.held_until >= moment, table.c.holder.not_in([holder.key, ""])
    )
    with store.write() as connection:
        _lend(connection, holder, piece_ids, free)
        return {int(row.piece_id): str(row.holder_name) for row in connection.execute(others)}


def give_back(store: Store, holder: Holder, but: Sequence[int] = ()) -> None:
    """Hand in every piece on loan, except some.

    Parameters
    ----------
    store
        An open store.
    holder
        Who has the pieces on loan.
    but
        Rows of pieces to keep.
    """
    table = schema.bench
    change = update(table).where(table.c.holder == holder.key, table.c.held_until > 0, table.c.piece_id.not_in(but))
    with store.write() as connection:
        connection.execute(change.values(holder="", holder_name="", held_until=0.0))


def waiting_count(store: Store, wanted: Wanted) -> int:
    """How many pieces wait.

    Parameters
    ----------
    store
        An open store.
    wanted
        Which pieces, and in which order.

    Returns
    -------
    int
        Number of pieces.
    """
    with store.read() as connection:
        query = select(func.count()).select_from(schema.bench).where(*where(wanted))
        return int(connection.execute(query).scalar_one())


def in_hand(store: Store, holder: Holder, wanted: Wanted) -> dict[str, int]:
    """How many waiting pieces are on loan to others, by name; the same person's in another window among them.

    Parameters
    ----------
    store
        An open store.
    holder
        Who asks, and in which window.
    wanted
        Which pieces.

    Returns
    -------
    dict[str, int]
        Pieces by the name of who has them.
    """
    table = schema.bench
    lent = (table.c.held_until >= clock_s(), table.c.holder.not_in([holder.key, ""]))
    query = select(table.c.holder_name, func.count()).where(*where(wanted), *lent).group_by(table.c.holder_name)
    with store.read() as connection:
        return {str(name): int(count) for name, count in connection.execute(query.order_by(table.c.holder_name))}


def waiting(store: Store, wanted: Wanted, count: int) -> tuple[Waiting, ...]:
    """The first pieces of the queue.

    Parameters
    ----------
    store
        An open store.
    wanted
        Which pieces, and in which order.
    count
        How many pieces at most.

    Returns
    -------
    tuple[Waiting, ...]
        In the order wanted, with who has them on loan.
    """
    table = schema.bench
    first = (
        select(table).where(*where(wanted)).order_by(*order(wanted)).limit(count).subquery()
    )  # the join comes after the limit: it is then of few rows
    query = (
        select(first, schema.tray.c.tray, schema.piece.c.piece)
        .join(schema.piece, schema.piece.c.id == first.c.piece_id)
        .join(schema.tray, schema.tray.c.id == schema.piece.c.tray_id)
        .order_by(*order(wanted, first.c))
    )
    with store.read() as connection:
        rows = connection.execute(query).all()
    moment = clock_s()
    return tuple(_waiting(row, moment) for row in rows)


def choices(store: Store) -> Choices:
    """What the waiting pieces can be narrowed down by.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    Choices
        Lots, parts, dies, measures and classes that occur, each in order.
    """
    table, reason = schema.bench, schema.reason
    with store.read() as connection:

        def distinct(column: ColumnElement[Any]) -> tuple[str, ...]:
            query = select(column).where(table.c.waiting == 1, column != "").distinct().order_by(column)
            return tuple(str(one) for one in connection.execute(query).scalars())

        joined = select(reason.c.measure).join(table, table.c.judgement_id == reason.c.judgement_id)
        query = joined.where(table.c.waiting == 1).distinct().order_by(reason.c.measure)
        measures = tuple(connection.execute(query).scalars())
        return Choices(
            distinct(table.c.lot), distinct(table.c.part), distinct(table.c.die), measures, distinct(table.c["class"])
        )


def _waiting(row: Row[Any], moment: float) -> Waiting:
    held_by = row.holder_name if row.held_until >= moment and row.holder else None
    return Waiting(
        row.piece_id,
        row.tray,
        row.piece,
        row.part,
        row.lot,
        row.die,
        row.verdict,
        row._mapping["class"],
        row.taken_at,
        held_by,
    )


def _lend(
    connection: Connection, holder: Holder, piece_ids: Sequence[int], free: ColumnElement[bool] | None = None
) -> None:
    table = schema.bench
    change = update(table).where(table.c.piece_id.in_(piece_ids))
    if free is not None:
        change = change.where(free)
    connection.execute(change.values(holder=holder.key, holder_name=holder.name, held_until=clock_s() + LOAN_S))
