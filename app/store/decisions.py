"""Whether a lot may be packed: released or held by somebody, for a reason; never changed, the newest counts."""

from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import select

from app.store import schema
from app.store.connection import Store, now
from app.store.definitions import pack, unpack
from app.store.rows import add, find
from vision.errors import Unusable

Word = Literal["release", "hold"]


@dataclass(frozen=True, slots=True)
class Decision:
    """One decision on a lot; `seen` are the figures that the person decided by (pieces, trays, to packing, waiting).

    `uid` is made where it is given, so that sending it twice files it once.
    """

    uid: str
    lot: str
    decision: Word
    given_by: str
    identity: Literal["declared", "login"]
    why: str
    seen: dict[str, Any]
    given_at: str = ""


def decide(store: Store, decision: Decision) -> Decision:
    """File a decision; its time is the store's.

    Raises
    ------
    Unusable
        The store has no such lot, or name or reason are missing.
    """
    if not decision.given_by.strip() or not decision.why.strip():
        raise Unusable(f"lot {decision.lot}", decision.decision, "a name and a reason; say who decides, and why")
    with store.write() as connection:
        lot_id = find(connection, schema.lot, {"lot": decision.lot})
        if lot_id is None:
            raise Unusable("lot", "", "a lot of the store; see `brightbowl lot --works WORKS`", decision.lot)
        if find(connection, schema.lot_decision, {"uid": decision.uid}) is None:
            values = {
                "uid": decision.uid,
                "lot_id": lot_id,
                "decision": decision.decision,
                "given_by": decision.given_by.strip(),
                "identity": decision.identity,
                "why": decision.why.strip(),
                "body": pack(decision.seen),
                "given_at": now(),
            }
            add(connection, schema.lot_decision, values)
    return decisions(store, decision.lot)[-1]


def decisions(store: Store, lot: str) -> tuple[Decision, ...]:
    """All decisions on a lot, the newest last."""
    table = schema.lot_decision
    query = select(table).join(schema.lot, schema.lot.c.id == table.c.lot_id).where(schema.lot.c.lot == lot)
    with store.read() as connection:
        rows = connection.execute(query.order_by(table.c.id)).all()
    return tuple(
        Decision(row.uid, lot, row.decision, row.given_by, row.identity, row.why, unpack(row.body), row.given_at)
        for row in rows
    )
