"""What a report printed today proves later: the head of the chain over all that was filed, signed where a key is."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from app.store import Store

_END = "</body>"


@dataclass(frozen=True, slots=True)
class Stamp:
    """The chain's head, `NUMBER:HASH`, and its signature by the works' key; empty where the works has none."""

    head: str
    signature: str


def stamp_of(store: Store, works: Path | None) -> Stamp:
    """The head of a store as it is now.

    Parameters
    ----------
    store
        An open store.
    works
        Folder of the store's works; none where it has none.

    Returns
    -------
    Stamp
        The head, and its signature where the works has a key.

    Raises
    ------
    Unusable
        The works' key can't be used.
    """
    from app.store import head_of, key_file, signed  # here, since a run without a store need not load it

    with store.read() as connection:
        head = str(head_of(connection))
    key = key_file(works)
    return Stamp(head, "" if key is None else signed(head, key))


def stamped(page: str, stamp: Stamp | None) -> str:
    """A page with the head at its foot; the page itself where there is none.

    Parameters
    ----------
    page
        HTML.
    stamp
        None: nothing is added.

    Returns
    -------
    str
        HTML.
    """
    if stamp is None:
        return page
    by = f", signed by the works <code>{escape(stamp.signature)}</code>" if stamp.signature else ""
    words = (
        f"<footer>All that was filed until then has the head <code>{escape(stamp.head)}</code>{by}; "
        "<code>brightbowl verify --head</code> holds a store against it.</footer>\n"
    )
    before, end, after = page.rpartition(_END)
    return f"{before}{words}{end}{after}"
