"""What of the queue is wanted, and in which order."""

from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import ColumnElement, and_, exists

from app.store.database import schema

Order = Literal["worst", "oldest"]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What of the queue is wanted; None takes all. `measure` is one that a reason names, `severity` its class."""

    lot: str | None = None
    part: str | None = None
    die: str | None = None
    measure: str | None = None
    severity: str | None = None
    verdict: str | None = None
    order: Order = "worst"


def where(wanted: Wanted) -> list[ColumnElement[bool]]:
    """What a waiting piece must be."""
    table = schema.bench
    columns = {"lot": wanted.lot, "part": wanted.part, "die": wanted.die, "verdict": wanted.verdict}
    tests: list[ColumnElement[bool]] = [table.c.waiting == 1]
    tests += [table.c[name] == value for name, value in columns.items() if value is not None]
    if wanted.severity is not None:
        tests.append(table.c["class"] == wanted.severity)
    if wanted.measure is not None:
        named = and_(schema.reason.c.judgement_id == table.c.judgement_id, schema.reason.c.measure == wanted.measure)
        tests.append(exists().where(named))
    return tests


def order(wanted: Wanted, columns: Any = None) -> tuple[ColumnElement[Any], ...]:
    """What to sort by: columns of the queue, or those of a query of it."""
    c = schema.bench.c if columns is None else columns
    if wanted.order == "worst":
        return c.badness.desc(), c.piece_id.desc()
    return c.taken_at, c.piece_id
