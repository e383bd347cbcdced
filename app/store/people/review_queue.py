"""The queue of flagged pieces: which wait, in what order, and who has which in hand.

A piece waits when the judgement that stands is `review` or `reject` and no person's verdict holds, or where people
differ. Pieces are handed
out on loan: a loan that is not renewed ends by itself, so that a closed browser blocks nothing, and while it lasts
nobody else is given the piece. This table is derived; `rebuild` makes it again from what was filed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import ColumnElement, Connection, Row, and_, delete, exists, func, insert, or_, select, update

from app.store.database import schema
from app.store.database.connection import Store, clock_s
from app.store.people.holding import Holding, holdings

Order = Literal["worst", "oldest"]
# A page renews its loans every 15 s; three misses and they are free.
LOAN_S = 45.0
# Badness: the class first, then a reject before a review, then how far beyond the limit. A piece with a fault comes
# after what is surely a major and before what may be one.
_CLASS_WEIGHT = {"critical": 3000.0, "fault": 2500.0, "major": 2000.0, "minor": 1000.0, "": 0.0}
_REJECT_WEIGHT = 500.0
_EXCESS_WEIGHT = 100.0
_AT_ONCE = 500  # keys in one query: SQLite of old took 999 at most


@dataclass(frozen=True, slots=True)
class Wanted:
    """What of the queue is wanted; None takes all. `measure` is one that a reason names, `severity` its class."""

    lot: str | None = None
    part: str | None = None
    die: str | None = None
    measure: str | None = None
    severity: str | None = None
    verdict: str | None = None
    order: Order = "worst"


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


def lay_out(connection: Connection, piece_ids: Sequence[int]) -> None:
    """Bring these pieces' lines up to date with what was filed; loans stay."""
    table = schema.bench
    for start in range(0, len(piece_ids), _AT_ONCE):
        some = piece_ids[start : start + _AT_ONCE]
        lines = _lines(connection, some)
        known = set(connection.execute(select(table.c.piece_id).where(table.c.piece_id.in_(some))).scalars())
        flagged = [line for line in lines if line["verdict"] != "pass" or line["waiting"]]
        new = [line for line in flagged if line["piece_id"] not in known]
        gone = list(known - {line["piece_id"] for line in flagged})
        if new:
            connection.execute(
                insert(table), [{**line, "holder": "", "holder_name": "", "held_until": 0.0} for line in new]
            )
        for line in flagged:
            if line["piece_id"] in known:
                connection.execute(update(table).where(table.c.piece_id == line["piece_id"]).values(**line))
        if gone:
            connection.execute(delete(table).where(table.c.piece_id.in_(gone)))


def lay_out_all(connection: Connection) -> None:
    """Make every line anew from what was filed."""
    connection.execute(delete(schema.bench))
    lay_out(connection, list(connection.execute(select(schema.piece.c.id)).scalars()))


def rebuild(store: Store) -> int:
    """Make the queue again from what was filed; how many pieces it holds."""
    with store.write() as connection:
        lay_out_all(connection)
        return int(connection.execute(select(func.count()).select_from(schema.bench)).scalar_one())


def claim(store: Store, holder: Holder, wanted: Wanted, count: int, but: Sequence[int] = ()) -> list[int]:
    """Take up to `count` waiting pieces on loan, none of which anybody else holds.

    Parameters
    ----------
    but
        Pieces that the holder has already or wants to skip.
    """
    table = schema.bench
    free = or_(table.c.held_until < clock_s(), table.c.holder == holder.key)
    query = (
        select(table.c.piece_id)
        .where(*_where(wanted), free, table.c.piece_id.not_in(but[-_AT_ONCE:]))
        .order_by(*_order(wanted))
        .limit(count)
        .with_for_update(skip_locked=True)
    )
    with store.write() as connection:
        taken = [int(one) for one in connection.execute(query).scalars()]
        _lend(connection, holder, taken)
    return taken


def renew(store: Store, holder: Holder, piece_ids: Sequence[int]) -> dict[int, str]:
    """Keep pieces on loan a while longer; those that somebody else has by now, with that person's name."""
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
    """Hand in every piece on loan, except some."""
    table = schema.bench
    change = update(table).where(table.c.holder == holder.key, table.c.held_until > 0, table.c.piece_id.not_in(but))
    with store.write() as connection:
        connection.execute(change.values(holder="", holder_name="", held_until=0.0))


def waiting_count(store: Store, wanted: Wanted) -> int:
    """How many pieces wait."""
    with store.read() as connection:
        query = select(func.count()).select_from(schema.bench).where(*_where(wanted))
        return int(connection.execute(query).scalar_one())


def waiting(store: Store, wanted: Wanted, count: int) -> tuple[Waiting, ...]:
    """The first pieces of the queue."""
    table = schema.bench
    first = (
        select(table).where(*_where(wanted)).order_by(*_order(wanted)).limit(count).subquery()
    )  # the join comes after the limit: it is then of few rows
    query = (
        select(first, schema.tray.c.tray, schema.piece.c.piece)
        .join(schema.piece, schema.piece.c.id == first.c.piece_id)
        .join(schema.tray, schema.tray.c.id == schema.piece.c.tray_id)
        .order_by(*_order(wanted, first.c))
    )
    with store.read() as connection:
        rows = connection.execute(query).all()
    moment = clock_s()
    return tuple(_waiting(row, moment) for row in rows)


def choices(store: Store) -> Choices:
    """What the waiting pieces can be narrowed down by."""
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


def _where(wanted: Wanted) -> list[ColumnElement[bool]]:
    table = schema.bench
    columns = {"lot": wanted.lot, "part": wanted.part, "die": wanted.die, "verdict": wanted.verdict}
    tests: list[ColumnElement[bool]] = [table.c.waiting == 1]
    tests += [table.c[name] == value for name, value in columns.items() if value is not None]
    if wanted.severity is not None:
        tests.append(table.c["class"] == wanted.severity)
    if wanted.measure is not None:
        named = and_(schema.reason.c.judgement_id == table.c.judgement_id, schema.reason.c.measure == wanted.measure)
        tests.append(exists().where(named))
    return tests


def _order(wanted: Wanted, columns: Any = None) -> tuple[ColumnElement[Any], ...]:
    c = schema.bench.c if columns is None else columns
    if wanted.order == "worst":
        return c.badness.desc(), c.piece_id.desc()
    return c.taken_at, c.piece_id


def _lend(
    connection: Connection, holder: Holder, piece_ids: Sequence[int], free: ColumnElement[bool] | None = None
) -> None:
    table = schema.bench
    change = update(table).where(table.c.piece_id.in_(piece_ids))
    if free is not None:
        change = change.where(free)
    connection.execute(change.values(holder=holder.key, holder_name=holder.name, held_until=clock_s() + LOAN_S))


def _lines(connection: Connection, piece_ids: Sequence[int]) -> list[dict[str, Any]]:
    """The queue's lines of some pieces, those that pass included, as what was filed has them."""
    judgement, shot, stands = schema.judgement, schema.shot, schema.standing_piece
    die = and_(schema.process_value.c.shot_id == shot.c.id, schema.process_value.c.name == "die")
    query = (
        select(
            judgement.c.id,
            judgement.c.piece_id,
            judgement.c.verdict,
            judgement.c.fault,
            shot.c.part,
            shot.c.taken_at,
            schema.lot.c.lot,
            schema.process_value.c.words,
            schema.process_value.c.number,
        )
        .join(schema.filing, schema.filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == schema.filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .join(stands, stands.c.judgement_id == judgement.c.id)
        .outerjoin(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .outerjoin(schema.process_value, die)
        .where(stands.c.piece_id.in_(piece_ids))
    )
    rows = connection.execute(query).all()
    worst = _worst_reasons(connection, [row.id for row in rows])
    people = holdings(connection, piece_ids)
    lines = []
    for row in rows:
        severity, badness = worst.get(row.id, ("", 0.0))
        if row.fault is not None and badness < _CLASS_WEIGHT["fault"]:
            severity, badness = "fault", _CLASS_WEIGHT["fault"]
        lines.append(
            {
                "piece_id": row.piece_id,
                "judgement_id": row.id,
                "waiting": int(_waits(row.verdict, people.get(row.piece_id))),
                "badness": badness,
                "class": severity,
                "verdict": row.verdict,
                "part": row.part,
                "lot": row.lot or "",
                "die": row.words or ("" if row.number is None else f"{row.number:g}"),
                "taken_at": row.taken_at or "",
            }
        )
    return lines


def _worst_reasons(connection: Connection, judgement_ids: Sequence[int]) -> dict[int, tuple[str, float]]:
    """Each judgement's worst reason: its class and badness."""
    query = select(schema.reason).where(schema.reason.c.judgement_id.in_(judgement_ids))
    worst: dict[int, tuple[str, float]] = {}
    for row in connection.execute(query):
        severity = row._mapping["class"]
        beyond = [
            max(0.0, side * (row.value - bound)) / max(abs(bound), 1e-9)
            for bound, side in ((row.upper, 1.0), (row.lower, -1.0))
            if bound is not None and row.value is not None
        ]
        badness = (
            _CLASS_WEIGHT[severity]
            + (_REJECT_WEIGHT if row.outcome == "reject" else 0.0)
            + min(_REJECT_WEIGHT - 1.0, _EXCESS_WEIGHT * max(beyond, default=0.0))
        )
        if badness > worst.get(row.judgement_id, ("", -1.0))[1]:
            worst[row.judgement_id] = (severity, badness)
    return worst


def _waits(verdict: str, people: Holding | None) -> bool:
    if people is None:
        return verdict != "pass"
    return people.differ or (verdict != "pass" and people.counts is None)
