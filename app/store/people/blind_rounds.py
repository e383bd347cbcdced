"""Blind rounds: pieces judged again and again without what the camera said, each inspector in an own order.

The order follows from the round's seed, the inspector's name and the turn, so nothing but the verdicts themselves
has to be kept to go on where somebody stopped.
"""

import random
from dataclasses import asdict, dataclass

from sqlalchemy import exists, insert, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.rows import add, find
from app.store.people.drawing import Drawn
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


def make_blind(store: Store, name: str, seed: int, rounds: int, drawn: Drawn, made_by: str) -> Blind:
    """Begin a blind round on the pieces drawn; what they were drawn from is kept with it.

    Parameters
    ----------
    store
        An open store.
    name
        Of the round.
    seed
        Of the order in which pieces are shown.
    rounds
        How often each piece is shown.
    drawn
        What `draw_pieces` drew.
    made_by
        Who begins it.

    Returns
    -------
    Blind
        The round as filed.

    Raises
    ------
    Unusable
        The name is taken or empty, or there is no piece or no round.
    """
    if not name.strip() or rounds < 1 or not drawn.pieces:
        raise Unusable("blind round", name, "expected a name, at least one round and at least one piece")
    with store.write() as connection:
        if find(connection, schema.blind_round, {"name": name}) is not None:
            raise Unusable("blind round", name, "expected a new name; a round of this name was begun before")
        values = {"name": name, "seed": seed, "rounds": rounds, "made_by": made_by, "made_at": now()}
        blind_id = add(connection, schema.blind_round, values)
        rows = [{"blind_id": blind_id, "place": place, **asdict(one)} for place, one in enumerate(drawn.pieces)]
        connection.execute(insert(schema.blind_piece), rows)
        if drawn.sizes:
            sizes = [{"blind_id": blind_id, **asdict(one)} for one in drawn.sizes]
            connection.execute(insert(schema.blind_stratum), sizes)
    return next(one for one in blinds(store) if one.id == blind_id)


def blinds(store: Store) -> tuple[Blind, ...]:
    """Every blind round, the newest first.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    tuple[Blind, ...]
        Each with its pieces in the order drawn.
    """
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
    """The showings that an inspector has not answered yet, in order.

    Parameters
    ----------
    store
        An open store.
    blind
        The round.
    inspector
        A person's name.

    Returns
    -------
    tuple[Turn, ...]
        In the order in which they are shown to this inspector.
    """
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
