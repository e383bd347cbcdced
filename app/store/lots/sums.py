"""Sums of what stands in each lot, kept so that no list of lots reads all judgements; made from its trays' own."""

from collections.abc import Iterable

from sqlalchemy import Connection, delete, func, insert, select

from app.store.database import schema


def sum_up(connection: Connection, lot_ids: Iterable[int | None]) -> None:
    """Make the sums of some lots anew, after what stands in them has changed; None, for no lot, is passed over.

    Whoever else changes one of them waits here until this transaction ends, so that no sum is made of half of it.
    """
    ids = sorted({one for one in lot_ids if one is not None})
    if not ids:
        return
    lot, tray, stands, sums = schema.lot, schema.tray, schema.standing_tray, schema.lot_sum
    # Not a full lock of the row: others may go on to file trays that name the lot.
    connection.execute(select(lot.c.id).where(lot.c.id.in_(ids)).order_by(lot.c.id).with_for_update(key_share=True))
    connection.execute(delete(sums).where(sums.c.lot_id.in_(ids)))
    totals = (func.sum(stands.c.pieces), func.sum(stands.c.review), func.sum(stands.c.reject))
    made = (
        select(tray.c.lot_id, stands.c.part, func.count(), *totals, func.min(stands.c.taken_at))
        .join(stands, stands.c.tray_id == tray.c.id)
        .where(tray.c.lot_id.in_(ids))
        .group_by(tray.c.lot_id, stands.c.part)
    )
    names = ("lot_id", "part", "trays", "pieces", "review", "reject", "first_taken_at")
    connection.execute(insert(sums).from_select(names, made))
