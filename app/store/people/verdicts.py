"""What people said: rows that are only ever added; a correction is a new row that names the old one.

Their order is that of filing: the clock of whoever gave them is kept, and decides nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import ColumnElement, Connection, Row, exists, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.rows import add, find
from app.store.people.holding import holdings
from app.store.people.queue_lines import lay_out

VerdictWord = Literal["accept", "reject", "withdrawn"]
Identity = Literal["declared", "login", "imported"]
Outcome = Literal["stored", "known", "corrected", "refused"]
_AT_ONCE = 500  # keys in one query: SQLite of old took 999 at most


@dataclass(frozen=True, slots=True)
class NewVerdict:
    """One verdict as it leaves a person's hands.

    `uid` is made where it is given, so that sending it twice files it once. `judgement_id` is the judgement that was on
    the screen; None for one brought in from a file, which is taken to be given on what stands. `seen` is the newest
    verdict on the piece (its uid) that its giver had seen: it takes the place of that and of those before.
    `withdrawn` takes back the verdict `takes_back` (its uid). `turn` (from 1) says the how-manieth of this person's
    verdicts on the piece it is, in the blind round `blind_id` or outside all; without it the store counts.
    """

    uid: str
    piece_id: int
    judgement_id: int | None
    inspector: str
    identity: Identity
    verdict: VerdictWord
    defects: tuple[str, ...]
    note: str
    given_at: str
    takes_back: str | None = None
    blind_id: int | None = None
    turn: int | None = None
    seen: str | None = None


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of a verdict; `detail` says why one was refused."""

    uid: str
    outcome: Outcome
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """A verdict that stands: neither corrected nor withdrawn. `round` counts from 1 as in `verdicts.csv`.

    `judgement_id`: the one that it was given on; `id`: its row, by which verdicts go in the order of filing.
    """

    uid: str
    piece_id: int
    tray: str
    piece: int
    inspector: str
    identity: str
    round: int
    verdict: Literal["accept", "reject"]
    defects: tuple[str, ...]
    note: str
    given_at: str
    blind: str | None
    judgement_id: int | None = None
    id: int = 0


def give(store: Store, verdict: NewVerdict) -> Receipt:
    """File one verdict.

    A second one by the same person on the same judgement, given with the first in sight, is filed as a correction of
    it: it names it, and both stay. After a new judgement of the piece it opens the person's next round.

    Parameters
    ----------
    store
        An open store.
    verdict
        By whom, of which piece, on which judgement.

    Returns
    -------
    Receipt
        What came of it, and the row.
    """
    with store.write() as connection:
        receipt = give_in(connection, verdict)
        if verdict.blind_id is None and receipt.outcome != "refused":
            lay_out(connection, [verdict.piece_id])
    return receipt


def give_in(connection: Connection, verdict: NewVerdict) -> Receipt:
    """File one verdict in the caller's transaction; the queue is the caller's to bring up to date."""
    table = schema.verdict
    if find(connection, table, {"uid": verdict.uid}) is not None:
        return Receipt(verdict.uid, "known")
    piece = select(schema.piece.c.id).where(schema.piece.c.id == verdict.piece_id).with_for_update()
    if connection.execute(piece).first() is None:
        return Receipt(verdict.uid, "refused", "this piece is not in the store")
    if verdict.judgement_id is not None:
        own = {"id": verdict.judgement_id, "piece_id": verdict.piece_id}
        if find(connection, schema.judgement, own) is None:
            return Receipt(verdict.uid, "refused", "this judgement is not of this piece")
    # The row is locked now (SQLite: the whole store is), so the newest verdict can't change under our hands.
    if find(connection, table, {"uid": verdict.uid}) is not None:
        return Receipt(verdict.uid, "known")
    last = _last(connection, verdict)
    if verdict.verdict == "withdrawn" and (last is None or last.uid != verdict.takes_back):
        return Receipt(verdict.uid, "refused", "this verdict was changed since; nothing was taken back")
    seen_id = None if verdict.seen is None else find(connection, table, {"uid": verdict.seen})
    judgement_id = verdict.judgement_id
    if judgement_id is None:
        judgement_id = _stands(connection, verdict.piece_id)
    corrects = last is not None and (
        verdict.turn is not None
        or (last.judgement_id == judgement_id and (last.verdict == "withdrawn" or (seen_id or 0) >= last.id))
    )
    if verdict.turn is not None:
        turn = verdict.turn
    else:
        turn = 1 if last is None else last.round + (0 if corrects or verdict.verdict == "withdrawn" else 1)
    values = {
        "uid": verdict.uid,
        "piece_id": verdict.piece_id,
        "judgement_id": judgement_id,
        "inspector": verdict.inspector,
        "identity": verdict.identity,
        "round": turn,
        "verdict": verdict.verdict,
        "defects": ";".join(verdict.defects),
        "note": verdict.note,
        "given_at": verdict.given_at,
        "filed_at": now(),
        "replaces": last.id if last is not None and turn == last.round else None,
        "blind_id": verdict.blind_id,
        "seen_id": seen_id,
    }
    add(connection, table, values)
    standing_before = last is not None and corrects and last.verdict != "withdrawn" and verdict.verdict != "withdrawn"
    return Receipt(verdict.uid, "corrected" if standing_before else "stored")


def _stands(connection: Connection, piece_id: int) -> int | None:
    table = schema.standing_piece
    return connection.execute(select(table.c.judgement_id).where(table.c.piece_id == piece_id)).scalar()


def _last(connection: Connection, verdict: NewVerdict) -> Row[Any] | None:
    """The newest verdict of the same person on the same piece, of the same turn where one is named."""
    table = schema.verdict
    query = select(table).where(table.c.piece_id == verdict.piece_id, table.c.inspector == verdict.inspector)
    query = query.where(table.c.blind_id.is_not_distinct_from(verdict.blind_id))
    if verdict.turn is not None:
        query = query.where(table.c.round == verdict.turn)
    return connection.execute(query.order_by(table.c.id.desc()).limit(1)).first()


def standing(
    store: Store, inspector: str | None = None, blind: str | None = None, piece_ids: Sequence[int] | None = None
) -> tuple[Standing, ...]:
    """The verdicts that stand, neither corrected nor withdrawn, in the order of filing.

    Rounds count the same inspector's repeats of a piece from 1, reviews and blind rounds in the order they were begun;
    within one blind round (`blind` names it) they are that round's own turns.

    Parameters
    ----------
    store
        An open store.
    inspector
        A person's name; none: all.
    blind
        A blind round's name; none: all verdicts.
    piece_ids
        Rows of pieces; none: all pieces.

    Returns
    -------
    tuple[Standing, ...]
        With round, time and how the name is known.
    """
    table = schema.verdict
    some: list[ColumnElement[bool]] = []
    if inspector is not None:
        some.append(table.c.inspector == inspector)
    if blind is not None:
        some.append(schema.blind_round.c.name == blind)
    if piece_ids is None:
        rows = _standing_rows(store, some)
    else:
        portions = [piece_ids[start : start + _AT_ONCE] for start in range(0, len(piece_ids), _AT_ONCE)]
        found = [row for ids in portions for row in _standing_rows(store, [*some, table.c.piece_id.in_(ids)])]
        rows = sorted(found, key=lambda row: row.id)
    return _standings(rows, own_turns=blind is not None)


def on_blind_pieces(store: Store) -> tuple[Standing, ...]:
    """All verdicts that stand on pieces of blind rounds, those outside the rounds among them."""
    pieces = select(schema.blind_piece.c.piece_id)
    return _standings(_standing_rows(store, [schema.verdict.c.piece_id.in_(pieces)]), own_turns=False)


def _standing_rows(store: Store, some: Sequence[ColumnElement[bool]]) -> Sequence[Row[Any]]:
    table, later = schema.verdict, schema.verdict.alias()
    query = (
        select(table, schema.tray.c.tray, schema.piece.c.piece, schema.blind_round.c.name)
        .join(schema.piece, schema.piece.c.id == table.c.piece_id)
        .join(schema.tray, schema.tray.c.id == schema.piece.c.tray_id)
        .outerjoin(schema.blind_round, schema.blind_round.c.id == table.c.blind_id)
        .where(table.c.verdict != "withdrawn", ~exists().where(later.c.replaces == table.c.id), *some)
        .order_by(table.c.id)
    )
    with store.read() as connection:
        return connection.execute(query).all()


def _standings(rows: Sequence[Row[Any]], own_turns: bool) -> tuple[Standing, ...]:
    """Rows as records; rounds are counted, or are a blind round's own turns."""
    counts: dict[tuple[int, str], int] = {}
    said = []
    for row in rows:
        key = (row.piece_id, row.inspector)
        counts[key] = counts.get(key, 0) + 1
        said.append(
            Standing(
                row.uid,
                row.piece_id,
                row.tray,
                row.piece,
                row.inspector,
                row.identity,
                row.round if own_turns else counts[key],
                row.verdict,
                tuple(filter(None, row.defects.split(";"))),
                row.note,
                row.given_at,
                row.name,
                row.judgement_id,
                row.id,
            )
        )
    return tuple(said)


def holding(store: Store, piece_ids: Sequence[int] | None = None) -> tuple[Standing, ...]:
    """Of the verdicts that stand, those that count: at most one a piece, see `Holding`.

    Parameters
    ----------
    store
        An open store.
    piece_ids
        Rows of pieces; none: all pieces.

    Returns
    -------
    tuple[Standing, ...]
        In the order of filing.
    """
    with store.read() as connection:
        ids = {one.counts for one in holdings(connection, piece_ids).values()}
    return tuple(one for one in standing(store, piece_ids=piece_ids) if one.id in ids)
