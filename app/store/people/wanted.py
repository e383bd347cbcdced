"""What of the queue is wanted, and in which order."""

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field
from sqlalchemy import ColumnElement, and_, exists

from app.store.database import schema

NO_ZERO = r"^[^\x00]*$"
"""Pattern of texts that a store keeps: PostgreSQL keeps none with a zero in it."""
Order = Literal["worst", "oldest"]
Text = Annotated[str, Field(max_length=10_000, pattern=NO_ZERO)]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What of the queue is wanted; None takes all. `measure` is one that a reason names, `severity` its class.

    A page's call is read as one, which holds its texts to their bounds.
    """

    lot: Text | None = None
    part: Text | None = None
    die: Text | None = None
    measure: Text | None = None
    severity: Text | None = None
    verdict: Text | None = None
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
