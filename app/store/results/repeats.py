"""Trays that were photographed more than once: the measurements of a gauge study."""

from sqlalchemy import exists, func, select

from app.store.database import schema
from app.store.database.connection import Store


def repeated_trays(store: Store) -> tuple[str, ...]:
    """The trays with more than one shot, by name.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    tuple[str, ...]
        In order.
    """
    identity = schema.shot_identity
    query = (
        select(schema.tray.c.tray)
        .join(schema.shot, schema.shot.c.tray_id == schema.tray.c.id)
        .join(identity, identity.c.shot_id == schema.shot.c.id)
        .group_by(schema.tray.c.id, schema.tray.c.tray)
        .having(func.count(func.distinct(identity.c.place)) > 1)
        .order_by(schema.tray.c.tray)
    )
    with store.read() as connection:
        return tuple(connection.execute(query).scalars())


def repeats(store: Store, trays: tuple[str, ...], measure: str, zone: str | None) -> dict[tuple[str, str, str], float]:
    """A measure of every piece of these trays in each shot, by (piece, station, which shot of that station).

    Pieces go by tray and number, so that they must lie in the same order each time. A shot that was judged several
    times counts once, as judged last; a value that is missing is left out.

    Parameters
    ----------
    store
        An open store.
    trays
        Their names.
    measure
        Its name.
    zone
        None where it is not taken per zone.

    Returns
    -------
    dict[tuple[str, str, str], float]
        Values in the measure's unit.
    """
    piece, judgement, filing, shot, tray = schema.piece, schema.judgement, schema.filing, schema.shot, schema.tray
    identity, judging = schema.shot_identity, schema.judging
    newest = (
        select(func.max(judgement.c.id).label("id"))
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(identity, identity.c.shot_id == filing.c.shot_id)
        .where(exists().where(judging.c.filing_id == filing.c.id, judging.c.stood == 1))
        .group_by(judgement.c.piece_id, identity.c.place)
        .subquery()
    )
    query = (
        select(tray.c.tray, piece.c.piece, shot.c.station, schema.measure.c.value)
        .select_from(judgement)
        .join(newest, newest.c.id == judgement.c.id)
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(piece, piece.c.id == judgement.c.piece_id)
        .join(tray, tray.c.id == piece.c.tray_id)
        .join(schema.measure, schema.measure.c.judgement_id == judgement.c.id)
        .where(tray.c.tray.in_(trays), schema.measure.c.measure == measure, schema.measure.c.zone == (zone or ""))
        .where(schema.measure.c.value.is_not(None))
        .order_by(tray.c.tray, piece.c.piece, shot.c.station, shot.c.taken_at, shot.c.id)
    )
    seen: dict[tuple[str, str], int] = {}
    values: dict[tuple[str, str, str], float] = {}
    with store.read() as connection:
        for row in connection.execute(query):
            key = (f"{row.tray}:{row.piece}", row.station)
            seen[key] = seen.get(key, 0) + 1
            values[*key, str(seen[key])] = row.value
    return values


def repeated_measures(store: Store, trays: tuple[str, ...]) -> tuple[tuple[str, str | None], ...]:
    """The measures, with their zones, that the pieces of these trays have.

    Parameters
    ----------
    store
        An open store.
    trays
        Their names.

    Returns
    -------
    tuple[tuple[str, str | None], ...]
        In order of measure and zone; no zone where it is not taken per zone.
    """
    table = schema.measure
    query = (
        select(table.c.measure, table.c.zone)
        .select_from(table)
        .join(schema.judgement, schema.judgement.c.id == table.c.judgement_id)
        .join(schema.piece, schema.piece.c.id == schema.judgement.c.piece_id)
        .join(schema.tray, schema.tray.c.id == schema.piece.c.tray_id)
        .where(schema.tray.c.tray.in_(trays), table.c.value.is_not(None))
        .distinct()
        .order_by(table.c.measure, table.c.zone)
    )
    with store.read() as connection:
        return tuple((row.measure, row.zone or None) for row in connection.execute(query))
