"""What people decided on a lot, for a reason: whether it may be packed, how the next are inspected; never changed."""

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any, Literal

from sqlalchemy import Connection, insert, select

from app.statistics import Severity
from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.definitions import pack, unpack
from app.store.database.rows import add, find
from app.store.people.actor import Known
from vision.errors import Unusable

Word = Literal["release", "hold"] | Severity
"""Release or hold the lot; or the inspection by sample that is to begin after it."""


@dataclass(frozen=True, slots=True)
class Decision:
    """One decision on a lot's pieces of one part.

    `uid` is made where it is given, so that sending it twice files it once. `seen` are the figures that the person
    decided by, `judgings` what they were made of: any that changed what stands and is not among them came too late, by
    whatever clock.
    """

    uid: str
    lot: str
    part: str
    decision: Word
    given_by: str
    identity: Known
    why: str
    seen: dict[str, Any]
    judgings: frozenset[int] = field(default=frozenset(), repr=False)
    given_at: str = ""

    @property
    def then(self) -> Severity | None:
        """The inspection that is to begin after the lot; None where it says whether the lot may be packed."""
        return None if self.decision == "release" or self.decision == "hold" else self.decision


def decide(connection: Connection, decision: Decision) -> None:
    """File a decision; its time is the store's. Sent once more it is filed once.

    Parameters
    ----------
    store
        An open store.
    decision
        What is decided on a lot and part, by whom and why.

    Returns
    -------
    Decision
        The decision as filed, with its time.

    Raises
    ------
    Unusable
        The store has no such lot of that part, or name or reason are missing.
    """
    if not decision.given_by.strip() or not decision.why.strip():
        raise Unusable(f"lot {decision.lot}", decision.decision, "a name and a reason; say who decides, and why")
    lot_id = find(connection, schema.lot, {"lot": decision.lot})
    if lot_id is None or not _has_part(connection, lot_id, decision.part):
        expected = "a lot of the store, with a part of it; see `brightbowl lot --works WORKS`"
        raise Unusable("lot", "", expected, f"{decision.lot}, {decision.part}")
    if find(connection, schema.lot_decision, {"uid": decision.uid}) is not None:
        return
    values = {
        "uid": decision.uid,
        "lot_id": lot_id,
        "part": decision.part,
        "decision": decision.decision,
        "given_by": decision.given_by.strip(),
        "identity": decision.identity,
        "why": decision.why.strip(),
        "body": pack(decision.seen),
        "given_at": now(),
    }
    decision_id = add(connection, schema.lot_decision, values)
    rows = [{"decision_id": decision_id, "judging_id": one} for one in sorted(decision.judgings)]
    if rows:
        connection.execute(insert(schema.decided_judging), rows)


def _has_part(connection: Connection, lot_id: int, part: str) -> bool:
    shot, tray = schema.shot, schema.tray
    query = select(shot.c.id).join(tray, tray.c.id == shot.c.tray_id)
    return connection.execute(query.where(tray.c.lot_id == lot_id, shot.c.part == part).limit(1)).first() is not None


def decisions(store: Store, lot: str, part: str) -> tuple[Decision, ...]:
    """All decisions on a lot's pieces of one part, the newest last."""
    table, seen = schema.lot_decision, schema.decided_judging
    query = select(table).join(schema.lot, schema.lot.c.id == table.c.lot_id)
    query = query.where(schema.lot.c.lot == lot, table.c.part == part).order_by(table.c.id)
    judgings: dict[int, set[int]] = defaultdict(set)
    with store.read() as connection:
        rows = connection.execute(query).all()
        for row in connection.execute(select(seen).where(seen.c.decision_id.in_([row.id for row in rows]))):
            judgings[row.decision_id].add(row.judging_id)
    return tuple(
        Decision(
            uid=row.uid,
            lot=lot,
            part=part,
            decision=row.decision,
            given_by=row.given_by,
            identity=row.identity,
            why=row.why,
            seen=unpack(row.body),
            judgings=frozenset(judgings[row.id]),
            given_at=row.given_at,
        )
        for row in rows
    )
