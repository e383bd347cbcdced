"""How fast people judge."""

from sqlalchemy import func, select

from app.store.database import schema
from app.store.database.connection import Store


def pace(store: Store, since: str, inspector: str | None = None) -> int:
    """How many verdicts were filed since a moment (as `connection.now` writes it), withdrawals left aside.

    Parameters
    ----------
    store
        An open store.
    since
        ISO 8601 in UTC, as the store writes times.
    inspector
        A person's name; none: all.

    Returns
    -------
    int
        Number of verdicts.
    """
    table = schema.verdict
    query = select(func.count()).select_from(table).where(table.c.filed_at >= since, table.c.verdict != "withdrawn")
    if inspector is not None:
        query = query.where(table.c.inspector == inspector)
    with store.read() as connection:
        return int(connection.execute(query).scalar_one())
