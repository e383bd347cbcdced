"""What a lot's figures need of its pieces, in a few queries, so that tens of thousands of pieces open quickly."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, Subquery, func, select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.lots.revisions import standings_of
from app.store.results.recall import process_values
from app.studies import LotPiece, LotTray, MeasureSum
from vision.records import LimitsStanding


@dataclass(frozen=True, slots=True)
class LotContent:
    """A lot of one part as it stands: trays in order of time, their pieces, sums of measures.

    `judgings`: the acts by which what stands in the lot came about, see `judgings_of`. `limits`: how many trays were
    judged by limits that stand so; None counts those of which nothing says by which.
    """

    trays: tuple[LotTray, ...]
    pieces: tuple[LotPiece, ...]
    measures: tuple[MeasureSum, ...]
    judgings: Mapping[int, str]
    limits: Mapping[LimitsStanding | None, int]


def lot_content(store: Store, lot: str, part: str) -> LotContent:
    """Read a lot; empty where the store has no such lot or part."""
    judgement, filing, shot, piece = schema.judgement, schema.filing, schema.shot, schema.piece
    newest = _newest(lot, part)
    query = (
        select(
            judgement.c.id,
            piece.c.id.label("piece_id"),
            schema.tray.c.tray,
            piece.c.piece,
            judgement.c.verdict,
            judgement.c.fault,
            judgement.c.digest,
            shot.c.id.label("shot_id"),
            shot.c.station,
            shot.c.taken_at,
            filing.c.limits_revision,
            filing.c.software,
            filing.c.filed_at,
        )
        .join(newest, newest.c.id == judgement.c.id)
        .join(piece, piece.c.id == judgement.c.piece_id)
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .order_by(shot.c.taken_at, schema.tray.c.tray, piece.c.piece)
    )
    reason = schema.reason
    why = select(reason).join(newest, newest.c.id == reason.c.judgement_id).where(reason.c.place == 0)
    with store.read() as connection:
        rows = connection.execute(query).all()
        first = {row.judgement_id: row for row in connection.execute(why)}
        process = {
            shot_id: values
            for some in _portions(sorted({row.shot_id for row in rows}))
            for shot_id, values in process_values(connection, some).items()
        }
        sums = connection.execute(_sums(newest)).all()
        judgings = _judgings(connection, lot, part)
        limits = Counter(standings_of(connection, connection.execute(_acts(lot, part)).scalars()).values())
    trays: dict[str, LotTray] = {}
    pieces = []
    for row in rows:
        given = process.get(row.shot_id, {})
        head = (row.tray, row.station, row.taken_at, row.limits_revision, row.software, row.filed_at)
        trays.setdefault(row.tray, LotTray(*head, given))
        found = first.get(row.id)
        name = None if found is None else (f"{found.measure}.{found.zone}" if found.zone else found.measure)
        if row.fault and (found is None or found.outcome == "review"):
            name = row.fault
        beyond = 0.0 if found is None or name == row.fault else _beyond(found)
        pieces.append(LotPiece(row.piece_id, row.tray, row.piece, row.verdict, name, row.digest, beyond))
    measures = (
        MeasureSum(row.measure, row.zone, row.n, row.mean, row.square, row.least, row.most, row.u) for row in sums
    )
    return LotContent(tuple(trays.values()), tuple(pieces), tuple(measures), judgings, limits)


def judgings_of(store: Store, lot: str, part: str) -> dict[int, str]:
    """Every judging that changed what stands in a lot of one part, by id, with its tray."""
    with store.read() as connection:
        return _judgings(connection, lot, part)


def _judgings(connection: Connection, lot: str, part: str) -> dict[int, str]:
    judging, filing, shot = schema.judging, schema.filing, schema.shot
    query = (
        select(judging.c.id, schema.tray.c.tray)
        .join(filing, filing.c.id == judging.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .join(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .where(schema.lot.c.lot == lot, shot.c.part == part, judging.c.changed == 1)
        .order_by(judging.c.id)
    )
    return {int(row.id): str(row.tray) for row in connection.execute(query)}


def _acts(lot: str, part: str) -> Select[Any]:
    """The judgings that stand in a lot."""
    stands, tray, lots = schema.standing_tray, schema.tray, schema.lot
    query = select(stands.c.judging_id).join(tray, tray.c.id == stands.c.tray_id)
    return query.join(lots, lots.c.id == tray.c.lot_id).where(lots.c.lot == lot, stands.c.part == part)


def _beyond(reason: Row[Any]) -> float:
    """How far a value lies beyond its limit, negative within it; 0 where there is no value or no limit."""
    if reason.value is None:
        return 0.0
    over = [] if reason.upper is None else [reason.value - reason.upper]
    under = [] if reason.lower is None else [reason.lower - reason.value]
    return float(max(over + under, default=0.0))


def _newest(lot: str, part: str) -> Subquery:
    """The judgements that stand in a lot."""
    judgement, stands, shot = schema.judgement, schema.standing_piece, schema.shot
    return (
        select(stands.c.judgement_id.label("id"))
        .join(judgement, judgement.c.id == stands.c.judgement_id)
        .join(schema.filing, schema.filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == schema.filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .join(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .where(schema.lot.c.lot == lot, shot.c.part == part)
        .subquery()
    )


def _sums(newest: Subquery) -> Select[Any]:
    """Count, mean, mean square, least, most and mean uncertainty of every measure."""
    table = schema.measure
    return (
        select(
            table.c.measure,
            table.c.zone,
            func.count(table.c.value).label("n"),
            func.avg(table.c.value).label("mean"),
            func.avg(table.c.value * table.c.value).label("square"),
            func.min(table.c.value).label("least"),
            func.max(table.c.value).label("most"),
            func.avg(table.c.uncertainty).label("u"),
        )
        .join(newest, newest.c.id == table.c.judgement_id)
        .where(table.c.value.is_not(None))
        .group_by(table.c.measure, table.c.zone)
        .order_by(table.c.measure, table.c.zone)
    )


def _portions(ids: Sequence[int], size: int = 500) -> Iterator[Sequence[int]]:
    for start in range(0, len(ids), size):
        yield ids[start : start + size]
