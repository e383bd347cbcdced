"""How many pieces a lot has of which only a sample is photographed: a process value of it."""

from collections.abc import Mapping

from app.store.database.connection import Store
from app.store.lots.lot_list import set_lot_value

LOT_SIZE = "lot_size"
"""Process value of a lot: how many pieces it has where only a sample of them was photographed; with a part's name after
it, how many of that part, which comes first."""


def stated_size(values: Mapping[str, str | float], part: str) -> int | None:
    """How many pieces of a part a lot was said to have, among its process values.

    Parameters
    ----------
    values
        The lot's process values.
    part
        The part's name.

    Returns
    -------
    int | None
        Number of pieces; none where nobody said.
    """
    value = values.get(f"{LOT_SIZE} {part}", values.get(LOT_SIZE))
    return int(value) if isinstance(value, float) else None


def state_size(store: Store, lot: str, part: str, size: int, given_by: str) -> None:
    """Write down how many pieces of a part a lot has, of which a sample is photographed.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name.
    part
        The part's name.
    size
        Number of pieces.
    given_by
        Who says so.
    """
    set_lot_value(store, lot, f"{LOT_SIZE} {part}", float(size), given_by)
