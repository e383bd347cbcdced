"""Lots and what is known of how they were made."""

from dataclasses import dataclass

from sqlalchemy import case, distinct, func, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.rows import add, ensure
from app.store.results.filing import split_value


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


def list_lots(store: Store) -> tuple[LotSummary, ...]:
    """Every lot that has pieces, by the time its first tray was taken."""
    judgement, filing, shot, stands = schema.judgement, schema.filing, schema.shot, schema.standing_piece
    first = func.min(shot.c.taken_at)
    query = (
        select(
            schema.lot.c.lot,
            first.label("first"),
            func.count(distinct(shot.c.tray_id)).label("trays"),
            func.count().label("pieces"),
            func.sum(case((judgement.c.verdict == "review", 1), else_=0)).label("review"),
            func.sum(case((judgement.c.verdict == "reject", 1), else_=0)).label("reject"),
        )
        .join(stands, stands.c.judgement_id == judgement.c.id)
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .join(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .group_by(schema.lot.c.id, schema.lot.c.lot)
        .order_by(first, schema.lot.c.lot)
    )
    of_parts = (
        select(schema.lot.c.lot, shot.c.part)
        .join(schema.tray, schema.tray.c.lot_id == schema.lot.c.id)
        .join(schema.standing_tray, schema.standing_tray.c.tray_id == schema.tray.c.id)
        .join(schema.judging, schema.judging.c.id == schema.standing_tray.c.judging_id)
        .join(filing, filing.c.id == schema.judging.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .distinct()
    )
    with store.read() as connection:
        rows = connection.execute(query).all()
        parts: dict[str, list[str]] = {}
        for row in connection.execute(of_parts.order_by(shot.c.part)):
            parts.setdefault(row.lot, []).append(row.part)
    return tuple(
        LotSummary(row.lot, tuple(parts[row.lot]), row.first, row.trays, row.pieces, int(row.review), int(row.reject))
        for row in rows
    )
