"""What the queue of flagged pieces holds: which wait and how bad each is, derived from what was filed.

A piece waits when the judgement that stands is `review` or `reject` and no person's verdict holds, or where people
differ. `lay_out_all` makes the table again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, and_, delete, insert, select, update

from app.store.database import schema
from app.store.people.holding import Holding, holdings
from vision.decide import badness
from vision.records import Reason

# Badness: the class first, then a reject before a review, then how bad the reason is among those. A piece with a fault
# comes after what is surely a major and before what may be one.
_CLASS_WEIGHT = {"critical": 3000.0, "fault": 2500.0, "major": 2000.0, "minor": 1000.0, "": 0.0}
_REJECT_WEIGHT = 500.0
_AT_ONCE = 500  # keys in one query: SQLite of old took 999 at most


def lay_out(connection: Connection, piece_ids: Sequence[int]) -> None:
    """Bring these pieces' lines up to date with what was filed; loans stay."""
    table = schema.bench
    for start in range(0, len(piece_ids), _AT_ONCE):
        found = _amiss(connection, piece_ids[start : start + _AT_ONCE])
        if found.lacking:
            connection.execute(
                insert(table), [{**line, "holder": "", "holder_name": "", "held_until": 0.0} for line in found.lacking]
            )
        for line in found.other:
            connection.execute(update(table).where(table.c.piece_id == line["piece_id"]).values(**line))
        if found.strange:
            connection.execute(delete(table).where(table.c.piece_id.in_(found.strange)))


def lay_out_all(connection: Connection) -> None:
    """Bring every line up to date with what was filed, while nobody else changes one."""
    if connection.dialect.name == "postgresql":  # SQLite has one writer anyway
        connection.exec_driver_sql("LOCK TABLE bench IN SHARE ROW EXCLUSIVE MODE")
    lay_out(connection, list(connection.execute(select(schema.piece.c.id)).scalars()))


def first_amiss(connection: Connection) -> int | None:
    """The first piece whose line is not as what was filed has it; None where all are."""
    piece, after = schema.piece, 0
    while (
        ids := connection.execute(select(piece.c.id).where(piece.c.id > after).order_by(piece.c.id).limit(_AT_ONCE))
        .scalars()
        .all()
    ):
        found = _amiss(connection, ids)
        amiss = [*(line["piece_id"] for line in (*found.lacking, *found.other)), *found.strange]
        if amiss:
            return int(min(amiss))
        after = ids[-1]
    return None


@dataclass(frozen=True, slots=True)
class _Amiss:
    """Lines that are not there and should be, that say something else than they should, pieces with one too many."""

    lacking: list[dict[str, Any]]
    other: list[dict[str, Any]]
    strange: list[int]


def _amiss(connection: Connection, piece_ids: Sequence[int]) -> _Amiss:
    table = schema.bench
    rows = connection.execute(select(table).where(table.c.piece_id.in_(piece_ids)))
    known = {row.piece_id: row._mapping for row in rows}
    lines = _lines(connection, piece_ids)
    flagged = {line["piece_id"]: line for line in lines if line["verdict"] != "pass" or line["waiting"]}
    return _Amiss(
        [line for one, line in flagged.items() if one not in known],
        [line for one, line in flagged.items() if one in known and any(known[one][k] != v for k, v in line.items())],
        [one for one in known if one not in flagged],
    )


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
        severity, bad = worst.get(row.id, ("", 0.0))
        if row.fault is not None and bad < _CLASS_WEIGHT["fault"]:
            severity, bad = "fault", _CLASS_WEIGHT["fault"]
        lines.append(
            {
                "piece_id": row.piece_id,
                "judgement_id": row.id,
                "waiting": int(_waits(row.verdict, people.get(row.piece_id))),
                "badness": bad,
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
        value = (row.value, row.uncertainty, row.lower, row.upper)
        reason = Reason(row.measure, row.zone, *value, severity, row.outcome, row.conformance)
        weight = _CLASS_WEIGHT[severity] + (_REJECT_WEIGHT if row.outcome == "reject" else 0.0)
        bad = weight + (_REJECT_WEIGHT - 1.0) * badness(reason)
        if bad > worst.get(row.judgement_id, ("", -1.0))[1]:
            worst[row.judgement_id] = (severity, bad)
    return worst


def _waits(verdict: str, people: Holding | None) -> bool:
    if people is None:
        return verdict != "pass"
    return people.differ or (verdict != "pass" and people.counts is None)
