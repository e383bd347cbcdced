"""Blind rounds: pieces judged again and again without what the camera said, each inspector in an own order.

The order follows from the round's seed, the inspector's name and the turn, so nothing but the verdicts themselves
has to be kept to go on where somebody stopped.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import exists, insert, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.rows import add, find
from vision.errors import Unusable


@dataclass(frozen=True, slots=True)
class Blind:
    """A blind round: each of its pieces, with the judgement shown, is to be seen `rounds` times by each inspector."""

    id: int
    name: str
    seed: int
    rounds: int
    made_by: str
    made_at: str
    pieces: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Turn:
    """One showing: which piece, by which judgement's place, and the how-manieth time (from 1)."""

    piece_id: int
    judgement_id: int
    turn: int


def make_blind(store: Store, name: str, seed: int, rounds: int, piece_ids: Sequence[int], made_by: str) -> Blind:
    """Begin a blind round on some pieces, each as its newest judgement has it.

    Raises
    ------
    Unusable
        The name is taken or empty, there is no piece or no round, or a piece is not in the store.
    """
    if not name.strip() or rounds < 1 or not piece_ids:
        raise Unusable("blind round", name, "expected a name, at least one round and at least one piece")
    judged = schema.standing_piece
    query = select(judged.c.piece_id, judged.c.judgement_id).where(judged.c.piece_id.in_(piece_ids))
    with store.write() as connection:
        if find(connection, schema.blind_round, {"name": name}) is not None:
            raise Unusable("blind round", name, "expected a new name; a round of this name was begun before")
        newest = {int(row.piece_id): int(row.judgement_id) for row in connection.execute(query)}
        missing = sorted(set(piece_ids) - set(newest))
        if missing:
            raise Unusable("blind round", name, "expected pieces that are in the store", f"no piece {missing[0]}")
        values = {"name": name, "seed": seed, "rounds": rounds, "made_by": made_by, "made_at": now()}
        blind_id = add(connection, schema.blind_round, values)
        rows = [
            {"blind_id": blind_id, "place": place, "piece_id": piece_id, "judgement_id": newest[piece_id]}
            for place, piece_id in enumerate(dict.fromkeys(piece_ids))
        ]
        connection.execute(insert(schema.blind_piece), rows)
    return next(one for one in blinds(store) if one.id == blind_id)


def sample_pieces(store: Store, lot: str | None, count: int, seed: int) -> list[int]:
    """Pieces for a blind round, at random: half of them flagged as far as there are, the others passed."""
    table, filing, shot = schema.judgement, schema.filing, schema.shot
    query = (
        select(table.c.piece_id, table.c.verdict)
        .join(filing, filing.c.id == table.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.standing_piece, schema.standing_piece.c.judgement_id == table.c.id)
        .where(table.c.x_px.is_not(None))
        .order_by(table.c.id)
    )
    if lot is not None:
        query = query.join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        query = query.join(schema.lot, schema.lot.c.id == schema.tray.c.lot_id).where(schema.lot.c.lot == lot)
    with store.read() as connection:
        newest = {int(row.piece_id): str(row.verdict) for row in connection.execute(query)}
    chance = random.Random(seed)
    sides = [[piece for piece, verdict in newest.items() if (verdict == "pass") is passed] for passed in (False, True)]
    for side in sides:
        chance.shuffle(side)
    flagged = sides[0][: max(count - count // 2, count - len(sides[1]))]
    return sorted(flagged + sides[1][: count - len(flagged)])


def blinds(store: Store) -> tuple[Blind, ...]:
    """Every blind round, the newest first."""
    table, member = schema.blind_round, schema.blind_piece
    with store.read() as connection:
        heads = connection.execute(select(table).order_by(table.c.id.desc())).all()
        rows = connection.execute(select(member).order_by(member.c.blind_id, member.c.place)).all()
    pieces: dict[int, list[tuple[int, int]]] = {}
    for row in rows:
        pieces.setdefault(row.blind_id, []).append((row.piece_id, row.judgement_id))
    return tuple(
        Blind(row.id, row.name, row.seed, row.rounds, row.made_by, row.made_at, tuple(pieces[row.id])) for row in heads
    )


def turns(blind: Blind, inspector: str) -> tuple[Turn, ...]:
    """All showings for one inspector, in order: every piece once, then every piece again in another order, and so on.

    Between two showings of a piece lie at least a third of the pieces (for three pieces and more).
    """
    pieces = dict(blind.pieces)
    apart = len(pieces) // 3
    order: list[int] = []
    shown: list[Turn] = []
    for turn in range(1, blind.rounds + 1):
        chance = random.Random(f"{blind.seed}/{inspector}/{turn}")  # text: the same on every machine
        recent = set(order[-apart:]) if apart else set()
        early = sorted(set(pieces) - recent)
        chance.shuffle(early)
        rest = sorted(set(pieces) - set(early[:apart]))
        chance.shuffle(rest)
        order = early[:apart] + rest
        shown.extend(Turn(piece_id, pieces[piece_id], turn) for piece_id in order)
    return tuple(shown)


def turns_left(store: Store, blind: Blind, inspector: str) -> tuple[Turn, ...]:
    """The showings that an inspector has not answered yet, in order."""
    table, later = schema.verdict, schema.verdict.alias()
    query = select(table.c.piece_id, table.c.round).where(
        table.c.blind_id == blind.id,
        table.c.inspector == inspector,
        table.c.verdict != "withdrawn",
        ~exists().where(later.c.replaces == table.c.id),
    )
    with store.read() as connection:
        answered = {(row.piece_id, row.round) for row in connection.execute(query)}
    return tuple(one for one in turns(blind, inspector) if (one.piece_id, one.turn) not in answered)
