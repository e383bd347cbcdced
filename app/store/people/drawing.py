"""Drawing the pieces of a blind round: at random, or by strata of the camera's verdict with any shares.

What is drawn from is counted when it is drawn and kept with the round, so that figures can be weighted by it.
"""

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from app.studies import ALL_PIECES
from vision.errors import Unusable
from vision.records import Verdict


@dataclass(frozen=True, slots=True)
class Draw:
    """How a round is to be drawn from a lot (None: from all).

    `shares`: of its pieces, by the camera's verdict, in any measure; None draws at random from all of them.
    """

    lot: str | None
    count: int
    seed: int
    shares: Mapping[Verdict, float] | None = None


@dataclass(frozen=True, slots=True)
class DrawnPiece:
    """A piece, by its judgement at the time, and the stratum that it was drawn from."""

    piece_id: int
    judgement_id: int
    stratum: str


@dataclass(frozen=True, slots=True)
class StratumSize:
    """How many pieces of a lot and part were in a stratum; `lot` empty for pieces without one."""

    stratum: str
    lot: str
    part: str
    size: int


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a round is made of, and what it was drawn from."""

    pieces: tuple[DrawnPiece, ...]
    sizes: tuple[StratumSize, ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """A piece with its newest judgement, of those that can be shown."""

    piece_id: int
    judgement_id: int
    verdict: Verdict
    lot: str
    part: str


def draw_pieces(store: Store, wish: Draw) -> Drawn:
    """Draw pieces for a blind round.

    A stratum of fewer pieces than its share asks for is taken whole, and the others make up for it.

    Parameters
    ----------
    store
        An open store.
    wish
        From which lot, how many, by which shares, from which seed.

    Returns
    -------
    Drawn
        Pieces in the order of their rows, and the sizes of what they were drawn from.

    Raises
    ------
    Unusable
        A share is negative or all are 0, or a verdict that occurs has a share of 0, so that figures of the lot could
        not speak of its pieces.
    """
    known = judged_until(store, wish.lot)
    strata: dict[str, list[Judged]] = {}
    for one in known:
        strata.setdefault(ALL_PIECES if wish.shares is None else one.verdict, []).append(one)
    shares = {ALL_PIECES: 1.0} if wish.shares is None else {str(name): share for name, share in wish.shares.items()}
    empty = sorted(name for name in strata if shares.get(name, 0.0) <= 0.0)
    if empty or any(share < 0 for share in shares.values()):
        expected = "a share above 0 for each of the camera's verdicts that occurs: figures speak of all pieces"
        raise Unusable("blind round", "shares", expected, f"{', '.join(empty) or 'a negative one'}")
    counts = allotted({name: len(pieces) for name, pieces in strata.items()}, shares, wish.count)
    chance = random.Random(wish.seed)
    drawn = [
        DrawnPiece(one.piece_id, one.judgement_id, name)
        for name in sorted(strata)
        for one in chance.sample(strata[name], counts[name])
    ]
    return Drawn(tuple(sorted(drawn, key=lambda one: one.piece_id)), _sizes(strata))


def allotted(sizes: Mapping[str, int], shares: Mapping[str, float], count: int) -> dict[str, int]:
    """How many pieces each stratum gives: by its share, at least one, at most all that it has."""
    taken = {name: min(1, size) for name, size in sizes.items()}
    while sum(taken.values()) < min(count, sum(sizes.values())):
        # One by one to the stratum that is farthest behind its share.
        behind = min((n for n in sorted(sizes) if taken[n] < sizes[n]), key=lambda n: taken[n] / shares[n])
        taken[behind] += 1
    return taken


def judged_until(store: Store, lot: str | None, moment: str | None = None) -> tuple[Judged, ...]:
    """Pieces that can be shown, by what stands now, or by the newest judgement filed until a moment; by their ids."""
    table, filing, shot, tray = schema.judgement, schema.filing, schema.shot, schema.tray
    query = (
        select(table.c.piece_id, table.c.id, table.c.verdict, schema.lot.c.lot, shot.c.part)
        .join(filing, filing.c.id == table.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(tray, tray.c.id == shot.c.tray_id)
        .outerjoin(schema.lot, schema.lot.c.id == tray.c.lot_id)
        .where(table.c.x_px.is_not(None))
        .order_by(table.c.id)
    )
    if lot is not None:
        query = query.where(schema.lot.c.lot == lot)
    if moment is None:
        query = query.join(schema.standing_piece, schema.standing_piece.c.judgement_id == table.c.id)
    else:
        query = query.where(filing.c.filed_at <= moment)
    with store.read() as connection:
        rows = connection.execute(query).all()
    newest = {int(row.piece_id): Judged(row.piece_id, row.id, row.verdict, row.lot or "", row.part) for row in rows}
    return tuple(newest[piece] for piece in sorted(newest))


def stratum_sizes(store: Store, lot: str | None) -> dict[Verdict, int]:
    """How many pieces each of the camera's verdicts has in a lot (None: in all), of those that can be shown.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name; none: all lots.

    Returns
    -------
    dict[Verdict, int]
        Number of pieces by verdict.
    """
    return dict(Counter(one.verdict for one in judged_until(store, lot)))


def _sizes(strata: Mapping[str, Sequence[Judged]]) -> tuple[StratumSize, ...]:
    counts = Counter((name, one.lot, one.part) for name, pieces in strata.items() for one in pieces)
    return tuple(StratumSize(*key, size) for key, size in sorted(counts.items()))
