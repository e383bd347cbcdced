"""Whether a store in PostgreSQL is where it was walked: one that was restored from a dump is walked before it answers.

A server looks after its own pages, a dump after nothing. So the store says, in a comment on its table of versions, in
which server, database and table it was walked whole. A dump carries the comment along, and it fits no other place.
"""

from typing import TYPE_CHECKING

from sqlalchemy import Connection, text

from vision.errors import Unusable

if TYPE_CHECKING:
    from app.store.database.connection import Store

_HERE = text(
    "SELECT 'walked in ' || (SELECT system_identifier FROM pg_control_system()) || ' '"
    " || (SELECT oid FROM pg_database WHERE datname = current_database()) || ' ' || to_regclass('store_version')::oid"
)
_SAID = text("SELECT obj_description(to_regclass('store_version'), 'pg_class')")
_OWN = text("SELECT pg_has_role(relowner, 'USAGE') FROM pg_class WHERE oid = to_regclass('store_version')")


def walk_if_restored(store: "Store", links_at_most: int, migrated: bool) -> None:
    """Walk a store that is not where it was walked last, and note where it is.

    Parameters
    ----------
    links_at_most
        A larger one is left to `brightbowl verify`, which notes it too.
    migrated
        It is of an earlier program, which noted nothing: a larger one is then taken as it was found.

    Raises
    ------
    Unusable
        Something of it does not hold, or it is large and nobody has walked it here.
    """
    from app.store.evidence.verify import verify  # it uses the connection

    with store.read() as connection:
        if _is_noted(connection):
            return
        links = connection.exec_driver_sql("SELECT COALESCE(MAX(id), 0) FROM chain_link").scalar_one()
    if links <= links_at_most:
        broken = verify(store, None).broken
        if broken:
            expected = (
                "expected a sound store; this one was restored and is damaged: restore it from another copy, then "
                "import the results again; brightbowl verify tells more"
            )
            raise Unusable(store.url, "", expected, broken[0].what)
    elif not migrated:
        expected = "expected a store that was walked where it is; it was restored from a dump: brightbowl verify first"
        raise Unusable(store.url, "", expected, f"{links} links")
    note_walked(store)


def note_walked(store: "Store") -> None:
    """Note that a store was walked whole where it is; nothing on SQLite, whose pages have sums.

    Parameters
    ----------
    store
        An open store.
    """
    if not store.on_server:
        return
    with store.write() as connection:
        if connection.execute(_OWN).scalar() and not _is_noted(connection):
            here = connection.execute(_HERE).scalar_one()
            connection.exec_driver_sql(f"COMMENT ON TABLE store_version IS '{here}'")


def _is_noted(connection: Connection) -> bool:
    return bool(connection.execute(_SAID).scalar() == connection.execute(_HERE).scalar())
