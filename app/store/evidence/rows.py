"""What was filed as content to digest: each row with the rows that belong to it, absent values left out.

Leaving out what is null keeps a digest as it is when a later version of the store adds a column.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from app.store.database import schema


@dataclass(frozen=True, slots=True)
class Branch:
    """Rows of a table that belong to a row of another, by `key`, with those that belong to them in turn."""

    table: str
    key: str
    below: tuple["Branch", ...] = ()


_JUDGEMENT = Branch(
    "judgement",
    "filing_id",
    tuple(Branch(name, "judgement_id") for name in ("measure", "reason", "finding_list")),
)
# Everything filed: table -> what belongs to a row of it. A tray's name and lot may change, each time by a choice.
KINDS: dict[str, tuple[Branch, ...]] = {
    "part": (),
    "station": (),
    "limits_revision": (),
    "limits_act": (),
    "lot": (),
    "lot_value": (),
    "tray": (),
    "shot": (Branch("process_value", "shot_id"), Branch("shot_identity", "shot_id")),
    "filing": (Branch("tray_finding", "filing_id"), Branch("filing_known", "filing_id"), _JUDGEMENT),
    "judging": (),
    "profile": (),
    "picture": (),
    "kept_file": (),
    "forgotten": (),
    "blind_round": (Branch("blind_piece", "blind_id"), Branch("blind_stratum", "blind_id")),
    "verdict": (),
    "finding_label": (),
    "choice": (),
    "doubt": (),
    "doubt_settled": (),
    "station_check": (),
    "challenge": (),
    "lot_decision": (Branch("decided_judging", "decision_id"),),
    "set_aside": (),
    "watched": (),
    "line_message": (),
}
# Tables whose rows are known by another key than `id`.
_KEYS = {"profile": "judgement_id", "doubt_settled": "doubt_id"}
AT_ONCE = 500


def key_of(kind: str) -> str:
    """The column by which rows of a kind are known."""
    return _KEYS.get(kind, "id")


def digests(connection: Connection, kind: str, ids: Sequence[int]) -> dict[int, str]:
    """A digest of each row that is there, by its key."""
    found = _contents(connection, kind, key_of(kind), KINDS[kind], ids)
    key = key_of(kind)
    told = {int(row[key]): row for rows in found.values() for row in rows}
    if kind == "tray":
        _as_first_filed(connection, told)
    return {one: _digest(content) for one, content in told.items()}


def _contents(
    connection: Connection, name: str, key: str, below: tuple[Branch, ...], ids: Sequence[int]
) -> dict[int, list[dict[str, Any]]]:
    """Rows of a table by the key's value, each with what belongs to it."""
    table = schema.metadata.tables[name]
    order = [table.c[column.name] for column in table.primary_key.columns]
    query = select(table).where(table.c[key].in_(ids)).order_by(*order)
    rows = [_told(dict(row._mapping)) for row in connection.execute(query)]
    if "piece_id" in table.c:
        _number(connection, rows)
    for branch in below:
        own = [row["id"] for row in rows]
        beneath = _contents(connection, branch.table, branch.key, branch.below, own) if own else {}
        for row in rows:
            if row["id"] in beneath:
                row[branch.table] = beneath[row["id"]]
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        found[row[key]].append(row)
    return found


def _number(connection: Connection, rows: Sequence[dict[str, Any]]) -> None:
    """Add which piece of which tray a row is on: pieces are no rows of their own in the chain."""
    table = schema.piece
    wanted = sorted({row["piece_id"] for row in rows})
    known: dict[int, list[int]] = {}
    for start in range(0, len(wanted), AT_ONCE):
        query = select(table).where(table.c.id.in_(wanted[start : start + AT_ONCE]))
        known |= {one.id: [one.tray_id, one.piece] for one in connection.execute(query)}
    for row in rows:
        row["piece"] = known.get(row["piece_id"])


def _as_first_filed(connection: Connection, told: Mapping[int, dict[str, Any]]) -> None:
    """A tray as its first choice found it, where it is now what its newest choice made of it."""
    choice, lot = schema.choice, schema.lot
    lots = [row["lot_id"] for row in told.values() if "lot_id" in row]
    names = {one.id: one.lot for one in connection.execute(select(lot.c.id, lot.c.lot).where(lot.c.id.in_(lots)))}
    for row in told.values():
        row["lot"] = names.get(row.pop("lot_id", None))
    moved = choice.c.kind == "move"
    for one in connection.execute(select(choice).where(choice.c.tray_id.in_(list(told)), moved).order_by(choice.c.id)):
        row = told[one.tray_id]
        row.setdefault("first", [one.tray_before, one.lot_before])
        row["last"] = [one.tray, one.lot]
    for row in told.values():
        first, last = row.pop("first", None), row.pop("last", None)
        if first is not None:
            row["tray"], row["lot"] = first if [row["tray"], row["lot"]] == last else ("moved", "by nobody's choice")


def _told(row: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if value is not None}


def _digest(content: Any) -> str:
    plain = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=_bytes)
    return hashlib.sha256(plain.encode()).hexdigest()


def _bytes(value: Any) -> str:
    if not isinstance(value, bytes | memoryview):
        raise TypeError(type(value).__name__)
    return hashlib.sha256(value).hexdigest()
