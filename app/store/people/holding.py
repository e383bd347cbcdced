"""Which of people's verdicts on a piece holds: each is tied to the judgement it was given on, and to what was seen.

An accept holds while what stands is that judgement, or one that says nothing worse; a reject until it is withdrawn.
A verdict takes the place of those that its giver had seen. Verdicts that differ, neither giver having seen the
other's, leave the reject in force and the piece waiting. Clocks play no part: what counts is what was filed, and seen.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, exists, func, select

from app.store.database import schema
from app.store.lots.revisions import limits_of
from app.store.results.recall import judged_pieces
from vision.decide import says_nothing_worse

_AT_ONCE = 500
_COVERAGE = 0.95
"""Behind the guard bands where the limits themselves were not filed; what limits hold that say nothing of it."""


@dataclass(frozen=True, slots=True)
class Holding:
    """What people's verdicts on a piece come to.

    `counts`: the row of the verdict that counts, None where none does; `differ`: people differ, and the piece waits;
    `lapsed`: rows of accepts that no longer hold, since what stands says worse.
    """

    counts: int | None
    differ: bool
    lapsed: tuple[int, ...]


def holdings(connection: Connection, piece_ids: Sequence[int] | None = None) -> dict[int, Holding]:
    """What people's verdicts on pieces come to, by piece id; pieces without any are left out. None: all pieces.

    Parameters
    ----------
    connection
        A transaction of the store.
    piece_ids
        Rows of pieces; none: all pieces.

    Returns
    -------
    dict[int, Holding]
        By row of the piece.
    """
    if piece_ids is None:
        return _holdings(connection, _standing_rows(connection, None))
    found: dict[int, Holding] = {}
    for start in range(0, len(piece_ids), _AT_ONCE):
        found |= _holdings(connection, _standing_rows(connection, piece_ids[start : start + _AT_ONCE]))
    return found


def _standing_rows(connection: Connection, piece_ids: Sequence[int] | None) -> Sequence[Row[Any]]:
    table, later, stands = schema.verdict, schema.verdict.alias(), schema.standing_piece
    query = (
        select(
            table.c.id,
            table.c.piece_id,
            table.c.judgement_id,
            table.c.verdict,
            table.c.seen_id,
            stands.c.judgement_id.label("stands"),
        )
        .outerjoin(stands, stands.c.piece_id == table.c.piece_id)
        .where(
            # Nearly all verdicts are of no blind round: an index by it must not be taken for the way to a few pieces.
            func.coalesce(table.c.blind_id, 0) == 0,
            table.c.verdict != "withdrawn",
            ~exists().where(later.c.replaces == table.c.id),
        )
        .order_by(table.c.id)
    )
    if piece_ids is not None:
        query = query.where(table.c.piece_id.in_(piece_ids))
    return list(connection.execute(query))


def _holdings(connection: Connection, rows: Sequence[Row[Any]]) -> dict[int, Holding]:
    by_piece: defaultdict[int, list[Row[Any]]] = defaultdict(list)
    for row in rows:
        by_piece[row.piece_id].append(row)
    unseen = {piece: _unseen(said) for piece, said in by_piece.items()}
    accepts = [one for said in unseen.values() for one in said if one.verdict == "accept"]
    holds = _accepts_that_hold(connection, accepts)
    found = {}
    for piece, said in unseen.items():
        rejects = [one.id for one in said if one.verdict == "reject"]
        accepted = [one.id for one in said if one.verdict == "accept" and holds[one.id]]
        lapsed = tuple(one.id for one in said if one.verdict == "accept" and not holds[one.id])
        found[piece] = Holding(max(rejects or accepted, default=None), bool(rejects and accepted), lapsed)
    return found


def _unseen(said: Sequence[Row[Any]]) -> list[Row[Any]]:
    """Verdicts on one piece whose places no later one took, its giver having seen them."""
    return [one for one in said if not any((other.seen_id or 0) >= one.id for other in said if other.id > one.id)]


def _accepts_that_hold(connection: Connection, accepts: Sequence[Row[Any]]) -> Mapping[int, bool]:
    """Whether what stands says nothing worse than what each accept was given on, by the verdict's row."""
    holds = {one.id: one.stands is not None and one.judgement_id == one.stands for one in accepts}
    open_ones = [
        one for one in accepts if not holds[one.id] and one.stands is not None and one.judgement_id is not None
    ]
    if open_ones:
        judged = judged_pieces(connection, sorted({i for one in open_ones for i in (one.judgement_id, one.stands)}))
        coverage = _coverages(connection, sorted({one.stands for one in open_ones}))
        for one in open_ones:
            pair = (judged[one.stands], judged[one.judgement_id])
            holds[one.id] = says_nothing_worse(*pair, coverage[one.stands])
    return holds


def _coverages(connection: Connection, judgement_ids: Sequence[int]) -> dict[int, float]:
    """The probability behind the guard bands of judgements."""
    filing, shot, judgement = schema.filing, schema.shot, schema.judgement
    query = (
        select(judgement.c.id, shot.c.part, filing.c.limits_revision)
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .where(judgement.c.id.in_(judgement_ids))
    )
    rows = connection.execute(query).all()
    by_limits = {(row.part, row.limits_revision) for row in rows}
    known = {key: limits_of(connection, *key) for key in by_limits}
    coverage = {key: _COVERAGE if limits is None else limits.coverage for key, limits in known.items()}
    return {row.id: coverage[row.part, row.limits_revision] for row in rows}
