"""Lots and what is known of how they were made."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, func, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.rows import add, ensure
from app.store.results.filing import split_value

LISTED = 100
"""So many of the newest lots are listed where nobody asks for all."""


@dataclass(frozen=True, slots=True)
class LotSummary:
    """A lot at a glance; counts are of pieces as they stand."""

    lot: str
    parts: tuple[str, ...]
    first_taken_at: str | None
    trays: int
    pieces: int
    review: int
    reject: int


def set_lot_value(store: Store, lot: str, name: str, value: str | float, given_by: str) -> None:
    """Write down a process value of a lot; an older one of that name stays in the store, the newest counts."""
    with store.write() as connection:
        lot_id = ensure(connection, schema.lot, {"lot": lot}, {"filed_at": now()})
        values = {"lot_id": lot_id, "name": name, **split_value(value), "given_by": given_by, "given_at": now()}
        add(connection, schema.lot_value, values)


def lot_values(store: Store, lot: str) -> dict[str, str | float]:
    """A lot's process values: those given to the lot, and of its shots that stand those that all share."""
    values, table, stands = schema.process_value, schema.lot_value, schema.standing_tray
    of_shots = (
        select(values.c.name, values.c.number, values.c.words)
        .join(schema.filing, schema.filing.c.shot_id == values.c.shot_id)
        .join(schema.judging, schema.judging.c.filing_id == schema.filing.c.id)
        .join(stands, stands.c.judging_id == schema.judging.c.id)
        .join(schema.tray, schema.tray.c.id == stands.c.tray_id)
        .join(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .where(schema.lot.c.lot == lot)
        .distinct()
    )
    of_lot = (
        select(table.c.name, table.c.number, table.c.words)
        .join(schema.lot, schema.lot.c.id == table.c.lot_id)
        .where(schema.lot.c.lot == lot)
        .order_by(table.c.id)
    )
    with store.read() as connection:
        seen: dict[str, set[str | float]] = {}
        for row in connection.execute(of_shots):
            seen.setdefault(row.name, set()).add(row.number if row.words is None else row.words)
        known = {name: next(iter(found)) for name, found in seen.items() if len(found) == 1}
        for row in connection.execute(of_lot):
            known[row.name] = row.number if row.words is None else row.words
    return known


def list_lots(store: Store, newest: int | None = None) -> tuple[LotSummary, ...]:
    """Lots that have pieces, by the time their first tray was taken: all of them, or so many of the newest.

    Parameters
    ----------
    store
        An open store.
    newest
        How many; none: all.

    Returns
    -------
    tuple[LotSummary, ...]
        Oldest first, with counts of trays, pieces and verdicts.
    """
    sums, lot = schema.lot_sum, schema.lot
    first = func.min(sums.c.first_taken_at)
    chosen = select(lot.c.id, lot.c.lot, first.label("first")).join(sums, sums.c.lot_id == lot.c.id)
    chosen = chosen.group_by(lot.c.id, lot.c.lot).order_by(first.desc().nulls_last(), lot.c.lot.desc())
    if newest is not None:
        chosen = chosen.limit(newest)
    with store.read() as connection:
        heads = connection.execute(chosen).all()[::-1]
        of_lot: dict[int, list[Row[Any]]] = {}
        query = select(sums) if newest is None else select(sums).where(sums.c.lot_id.in_([one.id for one in heads]))
        for row in connection.execute(query.order_by(sums.c.part)):
            of_lot.setdefault(row.lot_id, []).append(row)
    return tuple(
        LotSummary(
            lot=head.lot,
            parts=tuple(row.part for row in of_lot[head.id]),
            first_taken_at=head.first,
            trays=sum(row.trays for row in of_lot[head.id]),
            pieces=sum(row.pieces for row in of_lot[head.id]),
            review=sum(row.review for row in of_lot[head.id]),
            reject=sum(row.reject for row in of_lot[head.id]),
        )
        for head in heads
    )


def known_parts(store: Store, lot: str | None = None) -> tuple[str, ...]:
    """The parts of a lot, or of all lots, by name.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name; none: all lots.

    Returns
    -------
    tuple[str, ...]
        Names in order.
    """
    sums = schema.lot_sum
    query = select(sums.c.part).distinct().order_by(sums.c.part)
    if lot is not None:
        query = query.join(schema.lot, schema.lot.c.id == sums.c.lot_id).where(schema.lot.c.lot == lot)
    with store.read() as connection:
        return tuple(connection.execute(query).scalars())
