"""Findings to be looked at without what the camera said of them: a second time, or of a blind round that was judged.

By the first the works learns how far labels can be relied on. Of a blind round nothing is shown before all of it was
judged, as a place to look at would tell what the camera saw.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Row, select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.people.blind_rounds import Blind, turns_left
from app.store.people.labels import newest_labels
from app.store.people.questions import drawn_again, mixed, questions
from app.store.results.recall import judged_pieces
from vision.errors import Unusable

AGAIN_AFTER_H = 20.0  # on another day: nobody is asked again what they have just said

Looks = dict[int, tuple[int, ...]]
"""Findings by their judgement, both in the order in which they are shown."""


def second_looks(store: Store, inspector: str) -> Looks:
    """The findings that a person is to look at a second time: of a tenth of the pieces with findings that have labels.

    Parameters
    ----------
    store
        An open store.
    inspector
        Who is to look.

    Returns
    -------
    Looks
        Findings by judgement, but for those that the person looked at again or said something of lately.
    """
    lately = (datetime.now(UTC) - timedelta(hours=AGAIN_AFTER_H)).isoformat(timespec="milliseconds")
    said: dict[int, set[int]] = defaultdict(set)
    done: dict[int, set[int]] = defaultdict(set)
    for row in _newest_rows(store):
        if not drawn_again(row.judgement_id) or row.label == "withdrawn":
            continue
        said[row.judgement_id].add(row.finding)
        if row.inspector == inspector and (row.shown_because == "again" or row.filed_at > lately):
            done[row.judgement_id].add(row.finding)
    return _left(said, done)


def looks_of_round(store: Store, blind: Blind, inspector: str) -> Looks:
    """The findings of a blind round that a person is to look at, having judged all of it.

    Parameters
    ----------
    store
        An open store.
    blind
        The round.
    inspector
        Who is to look.

    Returns
    -------
    Looks
        Findings by judgement, but for those of which the person said something in that way.

    Raises
    ------
    Unusable
        The person has pieces of the round left to judge.
    """
    if turns_left(store, blind, inspector):
        raise Unusable(
            "blind round", blind.name, f"expected one that {inspector} has judged all of: judge the rest first"
        )
    judgements = [judgement for _, judgement in blind.pieces]
    with store.read() as connection:
        judged = judged_pieces(connection, judgements)
    asked = {one: {ask.finding for ask in questions(one, judged[one])} for one in judgements}
    done: dict[int, set[int]] = defaultdict(set)
    for row in _newest_rows(store):
        if row.inspector == inspector and row.shown_because == "blind" and row.label != "withdrawn":
            done[row.judgement_id].add(row.finding)
    return _left(asked, done)


def _left(asked: dict[int, set[int]], done: dict[int, set[int]]) -> Looks:
    left = {one: mixed(one, findings - done.get(one, set())) for one, findings in asked.items()}
    return {one: findings for one, findings in left.items() if findings}


def _newest_rows(store: Store) -> Sequence[Row[Any]]:
    """Of each person and finding what was said last."""
    table = schema.finding_label
    query = select(table).where(table.c.id.in_(newest_labels())).order_by(table.c.id)
    with store.read() as connection:
        return connection.execute(query).all()
