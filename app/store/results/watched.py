"""Folders of an inbox that were dealt with: judged and filed, or set aside and why; each by what it held then."""

from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.rows import add_missing

# Names in one query: both databases take far more, and memory stays small.
_AT_ONCE = 500


def dealt_with(store: Store, folders: Sequence[str]) -> Mapping[str, Mapping[str, str | None]]:
    """What is known of some folders.

    Parameters
    ----------
    store
        An open store.
    folders
        As the store keeps paths (`kept_path`).

    Returns
    -------
    Mapping
        For each folder that is known at all, the digests of what it held when it was dealt with, and for each digest
        why it was set aside, or None where it was judged and filed.
    """
    known: dict[str, dict[str, str | None]] = {}
    judged, aside = schema.watched, schema.set_aside
    with store.read() as connection:
        for start in range(0, len(folders), _AT_ONCE):
            some = folders[start : start + _AT_ONCE]
            given_up = select(aside.c.folder, aside.c.digest, aside.c.why).where(aside.c.folder.in_(some))
            for folder, digest, why in connection.execute(given_up):
                known.setdefault(folder, {})[digest] = why
            filed = select(judged.c.folder, judged.c.digest).where(judged.c.folder.in_(some))
            for folder, digest in connection.execute(filed):
                known.setdefault(folder, {})[digest] = None
    return known


def note_judged(connection: Connection, folder: str, digest: str, tray: str) -> None:
    """Write down that a folder was judged, in the transaction that files its result.

    Parameters
    ----------
    connection
        A transaction of the store.
    folder
        As the store keeps paths.
    digest
        Of what the folder holds.
    tray
        The tray's name.
    """
    values = {"folder": folder, "digest": digest, "tray": tray.casefold(), "filed_at": now()}
    add_missing(connection, schema.watched, values)


def put_aside(store: Store, folder: str, digest: str, why: str) -> None:
    """Write down that a folder can't be judged, and why.

    Parameters
    ----------
    store
        An open store.
    folder
        As the store keeps paths.
    digest
        Of what the folder holds.
    why
        In words.

    Raises
    ------
    Unusable
        The store can't be written.
    """
    with store.write() as connection:
        add_missing(connection, schema.set_aside, {"folder": folder, "digest": digest, "why": why, "filed_at": now()})
