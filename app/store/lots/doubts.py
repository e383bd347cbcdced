"""Doubtful cases of an old store, found once when its rows got their new form, for a person to settle."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import insert, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.people.actor import Acted
from vision.errors import Unusable

DoubtKind = Literal["split", "claimed", "retaken", "again"]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A tray of which an old store could not tell what stands.

    `split`: trays of several lots bore its name, and are now told apart; `claimed`: one shot of it was filed for
    several lots, or with and without one; `retaken`: several shots bear its name in its lot; `again`: a shot was judged
    several times, and the program of then kept no judging that came back to an earlier result.
    """

    id: int
    kind: DoubtKind
    tray: str
    lot: str | None


def doubts_left(store: Store) -> tuple[Doubt, ...]:
    """The doubtful cases that nobody settled yet.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    tuple[Doubt, ...]
        Oldest first.
    """
    table, settled, tray = schema.doubt, schema.doubt_settled, schema.tray
    query = (
        select(table.c.id, table.c.kind, tray.c.tray, schema.lot.c.lot)
        .join(tray, tray.c.id == table.c.tray_id)
        .outerjoin(schema.lot, schema.lot.c.id == tray.c.lot_id)
        .outerjoin(settled, settled.c.doubt_id == table.c.id)
        .where(settled.c.doubt_id.is_(None))
        .order_by(table.c.id)
    )
    with store.read() as connection:
        return tuple(Doubt(*row) for row in connection.execute(query))


def settle_doubts(store: Store, ids: Sequence[int], acted: Acted) -> int:
    """Write down that doubtful cases are settled, by whom and why; how many.

    Parameters
    ----------
    store
        An open store.
    ids
        Of open cases.
    acted
        Who does it, and why.

    Returns
    -------
    int
        Number of cases.

    Raises
    ------
    Unusable
        Name or reason are missing, or a number is none of an open case.
    """
    if not acted.by.strip() or not acted.why.strip():
        raise Unusable("--settle", "", "--by NAME and --why REASON with it; say who settles it, and why")
    still = {one.id for one in doubts_left(store)}
    unknown = next((one for one in ids if one not in still), None)
    if unknown is not None:
        raise Unusable("--settle", "", "the number of a case that is open", str(unknown))
    rows = [{"doubt_id": one, "given_by": acted.by, "why": acted.why, "given_at": now()} for one in dict.fromkeys(ids)]
    with store.write() as connection:
        connection.execute(insert(schema.doubt_settled), rows)
    return len(rows)
