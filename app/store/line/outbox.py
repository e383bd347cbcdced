"""Verdicts on their way to the line: a message whenever what stands of a tray changed, numbered by station, kept.

Messages are made from what is filed, in the order of filing, so that none can be lost: whoever files need not know of
them. A message once made is never changed; sent ones are marked by a row of their own.
"""

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, exists, func, insert, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.definitions import pack, unpack
from app.store.evidence.chain import LOOK_BACK
from app.store.lots.revisions import standings_of
from app.store.results.acts import judgements_of
from app.store.results.recall import judged_pieces
from app.studies import first_reason
from vision.records import JudgedPiece

AT_ONCE = 200
"""Messages made or read in one go."""


@dataclass(frozen=True, slots=True)
class Message:
    """One tray's verdicts for the line; `payload` is the JSON text to send."""

    id: int
    station: str
    sequence: int
    payload: str


def make_messages(store: Store, at_most: int = AT_ONCE) -> int:
    """Make messages of judgings that changed what stands and have none yet, oldest first; how many were made.

    Sequences of a station have neither gaps nor repeats; two programs that do this at once take turns.

    Parameters
    ----------
    store
        An open store.
    at_most
        How many in one transaction.

    Returns
    -------
    int
        Number of messages.
    """
    message, judging = schema.line_message, schema.judging
    with store.write() as connection:
        _take_turns(connection)
        newest = connection.execute(select(func.max(message.c.judging_id))).scalar() or 0
        lacking = (
            select(judging.c.id)
            .where(judging.c.id > newest - LOOK_BACK[connection.dialect.name])
            .where(judging.c.changed == 1, ~exists().where(message.c.judging_id == judging.c.id))
            .order_by(judging.c.id)
            .limit(at_most)
        )
        ids = connection.execute(lacking).scalars().all()
        for judging_id in ids:
            content = _content(connection, judging_id)
            station = content["station"]
            last = connection.execute(select(func.max(message.c.sequence)).where(message.c.station == station)).scalar()
            content["sequence"] = (last or 0) + 1
            values = {"station": station, "sequence": content["sequence"], "body": pack(content), "filed_at": now()}
            connection.execute(insert(message).values(judging_id=judging_id, **values))
    return len(ids)


def unsent(store: Store, at_most: int = AT_ONCE) -> tuple[Message, ...]:
    """Messages not known to have arrived, in the order they were made.

    They are sent in that order, each once the one before it has arrived: so all of them are newer than what has.

    Parameters
    ----------
    store
        An open store.
    at_most
        How many.

    Returns
    -------
    tuple[Message, ...]
        Oldest first.
    """
    message, sent = schema.line_message, schema.line_sent
    with store.read() as connection:
        newest = connection.execute(select(func.max(sent.c.message_id))).scalar() or 0
        query = select(message).where(message.c.id > newest).order_by(message.c.id).limit(at_most)
        rows = connection.execute(query).all()
    return tuple(
        Message(row.id, row.station, row.sequence, json.dumps(unpack(row.body), ensure_ascii=False)) for row in rows
    )


def mark_sent(store: Store, message: Message) -> None:
    """Note that a message has arrived; noting it twice does no harm.

    Parameters
    ----------
    store
        An open store.
    message
        One that arrived.
    """
    table = schema.line_sent
    with store.write() as connection:
        if connection.execute(select(table.c.message_id).where(table.c.message_id == message.id)).first() is None:
            connection.execute(insert(table).values(message_id=message.id, sent_at=now()))


def _take_turns(connection: Connection) -> None:
    """SQLite has one writer anyway; on PostgreSQL the table is locked against another maker of messages."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("LOCK TABLE line_message IN SHARE ROW EXCLUSIVE MODE")


def _content(connection: Connection, judging_id: int) -> dict[str, Any]:
    """What the line is told: the tray's pieces as this judging made them stand."""
    judging, filing, shot = schema.judging, schema.filing, schema.shot
    head = connection.execute(
        select(
            filing.c.id,
            filing.c.digest,
            filing.c.limits_revision,
            shot.c.part,
            shot.c.station,
            shot.c.taken_at,
            schema.tray.c.tray,
            schema.lot.c.lot,
        )
        .join(judging, judging.c.filing_id == filing.c.id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .outerjoin(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .where(judging.c.id == judging_id)
    ).one()
    judged = judged_pieces(connection, list(judgements_of(connection, head.id).values()))
    return {
        "format": 1,
        "uid": f"{judging_id}-{head.digest[:16]}",
        "station": head.station,
        "tray": head.tray,
        "lot": head.lot,
        "part": head.part,
        "taken_at": head.taken_at,
        "limits_revision": head.limits_revision,
        "limits_standing": standings_of(connection, [judging_id])[judging_id],
        "pieces": [_piece(one) for one in sorted(judged.values(), key=lambda one: one.piece)],
    }


def _piece(judged: JudgedPiece) -> dict[str, Any]:
    pose = judged.pose
    return {
        "piece": judged.piece,
        "verdict": judged.verdict,
        "reason": None if judged.verdict == "pass" else first_reason(judged),
        "center_px": None if pose is None else list(pose.center_px),
        "angle_deg": None if pose is None else pose.angle_deg,
    }
