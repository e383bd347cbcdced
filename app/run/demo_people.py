"""What the invented people of the demo said: verdicts from the queue, and a blind round that one has half done."""

import uuid
from datetime import UTC, datetime
from typing import Literal

from app.store import (
    Draw,
    NewVerdict,
    Store,
    Wanted,
    draw_pieces,
    give,
    make_blind,
    newest_judgements,
    turns_left,
    waiting,
)

_MOST = 500  # more pieces than a demo has


def judge_the_queue(store: Store, lot: str, inspector: str) -> int:
    """Somebody looks at every piece of a lot that waits; what the camera would reject they reject too.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name.
    inspector
        Who judges.

    Returns
    -------
    int
        Number of pieces.
    """
    pieces = waiting(store, Wanted(lot=lot), _MOST)
    standing = newest_judgements(store, [one.piece_id for one in pieces])
    for one in pieces:
        word: Literal["accept", "reject"] = "reject" if one.verdict == "reject" else "accept"
        _give(store, inspector, one.piece_id, standing[one.piece_id], word)
    return len(pieces)


def half_a_blind_round(store: Store, lot: str, name: str, made_by: str, inspector: str) -> tuple[int, int]:
    """Begin a blind round of a lot, and answer half of it; how many were answered, of how many.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name.
    name
        Of the round.
    made_by, inspector
        Who begins it, and who answers.

    Returns
    -------
    tuple[int, int]
        Answered, and all.
    """
    drawn = draw_pieces(store, Draw(lot, 6, 2611))
    blind = make_blind(store, name, 2611, 1, drawn, made_by)
    turns = turns_left(store, blind, inspector)
    for number, turn in enumerate(turns[: len(turns) // 2]):
        word: Literal["accept", "reject"] = "reject" if number % 3 == 2 else "accept"
        _give(store, inspector, turn.piece_id, turn.judgement_id, word, blind.id, turn.turn)
    return len(turns) // 2, len(turns)


def _give(
    store: Store,
    inspector: str,
    piece_id: int,
    judgement_id: int,
    word: Literal["accept", "reject"],
    blind_id: int | None = None,
    turn: int | None = None,
) -> None:
    now = datetime.now(UTC).isoformat(timespec="seconds")
    made = str(uuid.uuid4())
    give(
        store,
        NewVerdict(
            made, piece_id, judgement_id, inspector, "declared", word, (), "", now, blind_id=blind_id, turn=turn
        ),
    )
