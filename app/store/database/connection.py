"""Opening a store: one SQLite file, or a PostgreSQL database by URL; who writes takes turns, who reads never waits."""

import time
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, OperationalError

from app.store.database.migrations import NEWEST, migrate, stored_version
from app.store.database.restored import walk_if_restored
from app.store.database.soundness import Use, begin_use
from app.store.evidence.chain import seal, unlinked
from vision.errors import Unusable
from vision.formats import BROKEN

# How long a writer waits for its turn. One verdict takes about 4 ms, so twenty writers need far less; SQLite's own
# retry is not fair (seen: 2.9 s with four busy writers), hence the room.
BUSY_WAIT_S = 30.0
# A store that nobody vouches for is walked whole up to so many links (ten thousand trays, some seconds); larger ones by
# `brightbowl verify`.
_WALKED_LINKS = 40_000


class Away(Unusable):
    """A database that can't be reached now, and may be there again later."""


@dataclass(frozen=True, slots=True, eq=False)
class Store:
    """An open store. `url` is safe to show: a password in it is hidden.

    `chained`: whatever is written is linked into the chain as the transaction ends.
    """

    url: str
    reader: Engine
    writer: Engine
    chained: bool = False
    use: Use | None = None

    @property
    def on_server(self) -> bool:
        """Whether a server holds it, and no file of ours."""
        return self.writer.dialect.name == "postgresql"

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection that sees one state of the store and can't change it."""
        with _errors_in_one_line(self.url), self.reader.connect() as connection:
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A connection in a transaction that writes: all of it is kept when the block ends well, else none."""
        with _errors_in_one_line(self.url), self.writer.begin() as connection:
            strays = unlinked(connection) if self.chained else {}
            yield connection
            if self.chained:
                seal(connection, strays)

    def close(self) -> None:
        """Let go of every connection."""
        self.reader.dispose()
        self.writer.dispose()
        if self.use is not None:
            self.use.close()


def open_store(place: str | Path, must_exist: bool = False, try_log: bool = True, walk: bool = True) -> Store:
    """Open a store, making it or bringing it up to date where needed.

    Parameters
    ----------
    place
        A file of SQLite, or a URL (`sqlite:///...`, `postgresql://user@host/name`).
    must_exist
        Refuse a file that is not there instead of making it.
    try_log
        Hold a log that was left beside a file of SQLite against it before they become one.
    walk
        Read a store whole that nobody vouches for (a file brought back, a database restored), and refuse it where
        something of it does not hold; whoever walks its chain next to name what that is does without.

    Returns
    -------
    Store
        The store; the caller closes it.

    Raises
    ------
    Unusable
        The URL can't be read, the database can't be reached, is another program's, is damaged, or was made by a newer
        program.
    """
    url = place if isinstance(place, str) and "://" in place else f"sqlite:///{place}"
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise Unusable("--store", "", "expected a file or a URL such as postgresql://user@host/name") from None
    if parsed.get_backend_name() == "postgresql":
        store = _open_postgresql(url)
    elif parsed.get_backend_name() == "sqlite" and parsed.database:
        file = Path(parsed.database)
        if must_exist and not file.is_file():
            raise Unusable(file, "", "expected a store; make one with `brightbowl new WORKS`", "no such file")
        if not file.parent.is_dir():
            raise Unusable(file, "", "expected an existing folder to hold the store", f"no folder {file.parent}")
        use = begin_use(file, try_log)
        store = replace(_open_sqlite(file), use=use)
    else:
        raise Unusable("--store", "", "expected sqlite:///FILE or postgresql://...", parsed.get_backend_name())
    try:
        if walk and store.use is not None and not store.use.known_sound:
            _walk(store)
        with store.write() as connection:
            tables = inspect(connection).get_table_names()
            strays = unlinked(connection, tables) if "chain_link" in tables else {}
            steps = migrate(connection, store.url)
            if steps:
                _lay_out_anew(connection)
            chained = connection.dialect.has_table(connection, "chain_link")
            if chained:
                seal(connection, strays)
        store = replace(store, chained=chained)
        if walk and store.on_server:
            walk_if_restored(store, _WALKED_LINKS, steps > 0)
    except BaseException:
        store.close()
        raise
    return store


def _walk(store: Store) -> None:
    """Read a store whole that nobody vouches for: its pages, and what it holds against its chain.

    Raises
    ------
    Unusable
        Something of it does not hold.
    """
    from app.store.evidence.verify import verify  # it uses this module

    try:
        with store.read() as connection:
            said = str(connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar())
            newest = said == "ok" and stored_version(connection, store.url) == NEWEST
            links = connection.exec_driver_sql("SELECT MAX(id) FROM chain_link").scalar() if newest else None
        whole = newest and (links or 0) <= _WALKED_LINKS
        broken = verify(store, None).broken if whole else ()
    except BROKEN as fault:  # texts and packed bodies that can't be read at all
        raise Unusable(store.url, "", _SAYINGS["malformed"], str(fault)) from None
    if said != "ok":
        raise Unusable(store.url, "", _SAYINGS["malformed"], said)
    if broken:
        raise Unusable(store.url, "", f"{_SAYINGS['malformed']}; brightbowl verify tells more", broken[0].what)


def _lay_out_anew(connection: Connection) -> None:
    """Make the queue again: a step may have changed by what a piece waits."""
    from app.store.people.queue_lines import lay_out_all  # it uses this module

    lay_out_all(connection)


def version_of(store: Store) -> int:
    """The version of the tables in an open store."""
    with store.read() as connection:
        return stored_version(connection, store.url)


def now() -> str:
    """This moment as it is written in the store: UTC, ISO 8601, milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def moment(text: str) -> datetime:
    """An ISO 8601 time; UTC where it names no zone."""
    told = datetime.fromisoformat(text)
    return told if told.tzinfo else told.replace(tzinfo=UTC)


def clock_s() -> float:
    """Seconds since 1970, for leases.

    Returns
    -------
    float
        Seconds since 1970, by this machine's clock.
    """
    return time.time()


def _open_sqlite(file: Path) -> Store:
    # isolation_level None leaves transactions to us; the driver would begin them late and take the lock midway.
    options: dict[str, Any] = {"connect_args": {"isolation_level": None, "timeout": BUSY_WAIT_S}}
    reader = create_engine(f"sqlite:///{file}", **options)
    writer = create_engine(f"sqlite:///{file}", **options)
    for engine, begin, only in ((reader, "BEGIN", "ON"), (writer, "BEGIN IMMEDIATE", "OFF")):
        _tune_sqlite(engine, begin, only)
    return Store(str(file), reader, writer)


def _tune_sqlite(engine: Engine, begin: str, only: str) -> None:
    """Set every connection up: write-ahead log, full synchronisation (a power cut loses nothing), foreign keys."""

    def on_connect(connection: Any, _record: Any) -> None:
        for pragma in (
            f"busy_timeout = {int(BUSY_WAIT_S * 1000)}",
            "journal_mode = wal",
            "synchronous = full",
            "foreign_keys = on",
            f"query_only = {only}",
        ):
            connection.execute(f"PRAGMA {pragma}")

    def on_begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    event.listen(engine, "connect", on_connect)
    event.listen(engine, "begin", on_begin)


def _open_postgresql(url: str) -> Store:
    parsed = make_url(url).set(drivername="postgresql+psycopg")
    try:
        engine = create_engine(parsed, pool_pre_ping=True, pool_size=8, max_overflow=24)
    except ModuleNotFoundError:
        raise Unusable(
            "--store", "", "expected the driver for PostgreSQL: pip install brightbowl[postgres]", "no psycopg"
        ) from None
    reader = engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    return Store(parsed.set(drivername="postgresql").render_as_string(hide_password=True), reader, engine)


@contextmanager
def _errors_in_one_line(url: str) -> Iterator[None]:
    """Turn what a database says into one line that a person can act on."""
    try:
        yield
    except DBAPIError as fault:
        said = str(fault.orig).splitlines()[0] if str(fault.orig) else type(fault.orig).__name__
        expected = _expected(said)
        if expected is None and isinstance(fault, OperationalError) and url.startswith("postgresql"):
            kind = Away if _away(said) else Unusable
            raise kind(url, "", "expected a database that answers; start it, or correct --store", said) from fault
        if expected is None:  # no fault of the store's: it goes on
            raise Unusable("what was to be filed", "", "values that the database takes expected", said) from fault
        raise Unusable(url, "", expected, said) from fault
    except UnicodeEncodeError as fault:
        raise Unusable("what was to be filed", "", "text in UTF-8 expected", repr(fault.object)) from None
    except (UnicodeDecodeError, zlib.error) as fault:
        raise Unusable(url, "", _SAYINGS["malformed"], str(fault)) from None


_SAYINGS = {
    "not a database": "expected a store; this file is something else or damaged: bring back a copy of it",
    "malformed": "expected a sound store; this one is damaged: bring back a copy of it, then import the results again",
    "Could not decode": "expected a sound store; this one is damaged: bring back a copy of it",
    "disk is full": "expected room on the disk; nothing was written: make room and do it again",
    "disk I/O error": "expected a disk that can be written; nothing was written: check it and do it again",
    "readonly database": "expected a store that may be written; check the file's and the folder's rights",
    "unable to open": "expected a store that can be opened; check the folder and its rights",
    "locked": f"expected a turn within {BUSY_WAIT_S:.0f} s; another program holds the store: end it and do it again",
    "append-only": "expected a new row; what was filed is never changed or deleted",
}


def _away(said: str) -> bool:
    """Whether a server was not there or only begins or ends, and did not refuse a name, a password or a database."""
    for_now = ("the database system is", "too many clients", "remaining connection slots", "too many connections")
    return "FATAL" not in said or any(words in said for words in for_now)


def _expected(said: str) -> str | None:
    return next((expected for saying, expected in _SAYINGS.items() if saying in said), None)
