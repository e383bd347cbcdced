"""Blind rounds: pieces judged again and again without what the camera said, each inspector in an own order.

The order follows from the round's seed and the inspector's name, so nothing but the verdicts themselves
has to be kept to go on where somebody stopped.
"""

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache

from sqlalchemy import exists, func, insert, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.rows import add, find
from app.store.people.drawing import Drawn
from vision.errors import Unusable

CHANGES = 4
"""Changes of place tried for each showing. With 30 pieces shown twice the shares of later showings in each tenth of the
order are the same from three changes on, to a hundredth."""


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
    """One showing: which piece, by which judgement's place, the how-manieth time, and its running number (from 1)."""

    piece_id: int
    judgement_id: int
    turn: int
    number: int


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


@lru_cache(maxsize=64)
def turns(blind: Blind, inspector: str) -> tuple[Turn, ...]:
    """All showings for one inspector, in order: first and later ones of the pieces among one another.

    Between two showings of a piece lie at least a third of the pieces (for three pieces and more). Beyond that no order
    is preferred, so that a place does not tell whether its piece was seen before: from an order that keeps this
    distance, showings change places two by two wherever it stays kept. Each such change is as likely as its undoing.
    """
    pieces = dict(blind.pieces)
    apart = len(pieces) // 3
    chance = random.Random(f"{blind.seed}/{inspector}")  # text: the same on every machine
    order = _one_after_the_other(sorted(pieces), blind.rounds, apart, chance)
    places: dict[int, list[int]] = {}
    for place, piece in enumerate(order):
        places.setdefault(piece, []).append(place)
    for _ in range(CHANGES * len(order)):
        one, other = chance.randrange(len(order)), chance.randrange(len(order))
        first, second = places[order[one]], places[order[other]]
        if first is not second and _may_move(first, one, other, apart) and _may_move(second, other, one, apart):
            first[first.index(one)], second[second.index(other)] = other, one
            order[one], order[other] = order[other], order[one]
    seen: Counter[int] = Counter()
    shown = []
    for number, piece in enumerate(order, start=1):
        seen[piece] += 1
        shown.append(Turn(piece, pieces[piece], seen[piece], number))
    return tuple(shown)


def _one_after_the_other(pieces: Sequence[int], rounds: int, apart: int, chance: random.Random) -> list[int]:
    """Every piece once, then every piece again in another order, and so on, none sooner than may be."""
    shown: list[int] = []
    order: list[int] = []
    for _ in range(rounds):
        recent = set(order[-apart:]) if apart else set()
        early = [piece for piece in pieces if piece not in recent]
        chance.shuffle(early)
        rest = sorted(set(pieces) - set(early[:apart]))
        chance.shuffle(rest)
        order = early[:apart] + rest
        shown += order
    return shown


def _may_move(places: Sequence[int], here: int, there: int, apart: int) -> bool:
    return all(abs(there - other) > apart for other in places if other != here)


def given_by_each(store: Store, blind: Blind) -> dict[str, int]:
    """How many showings each person has answered who began the round, of `len(blind.pieces) * blind.rounds`.

    Parameters
    ----------
    store
        An open store.
    blind
        The round.

    Returns
    -------
    dict[str, int]
        Answers that stand, by the person's name.
    """
    table, later = schema.verdict, schema.verdict.alias()
    query = (
        select(table.c.inspector, func.count())
        .where(
            table.c.blind_id == blind.id,
            table.c.verdict != "withdrawn",
            ~exists().where(later.c.replaces == table.c.id),
        )
        .group_by(table.c.inspector)
        .order_by(table.c.inspector)
    )
    with store.read() as connection:
        return {str(name): int(count) for name, count in connection.execute(query)}


def lots_of(store: Store, blind: Blind) -> tuple[tuple[str, str], ...]:
    """The lots and parts that a round's pieces are of.

    Parameters
    ----------
    store
        An open store.
    blind
        The round.

    Returns
    -------
    tuple[tuple[str, str], ...]
        Lot ("": of none) and part, sorted.
    """
    member, judgement, filing, shot, tray = (
        schema.blind_piece,
        schema.judgement,
        schema.filing,
        schema.shot,
        schema.tray,
    )
    query = (
        select(schema.lot.c.lot, shot.c.part)
        .select_from(member)
        .join(judgement, judgement.c.id == member.c.judgement_id)
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(tray, tray.c.id == shot.c.tray_id)
        .outerjoin(schema.lot, schema.lot.c.id == tray.c.lot_id)
        .where(member.c.blind_id == blind.id)
        .distinct()
    )
    with store.read() as connection:
        return tuple(sorted((row.lot or "", row.part) for row in connection.execute(query)))


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
