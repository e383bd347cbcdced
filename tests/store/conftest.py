"""A store of each kind: SQLite in a file, and PostgreSQL on loopback where its programs are installed."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from app.store.database.connection import Store, open_store
from tests.store.postgresql_server import postgresql_server


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """URL of a PostgreSQL server of this test run alone."""
    with postgresql_server() as server:
        yield server.url


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where an empty store may be made."""
    if request.param == "sqlite":
        return str(tmp_path / "store.sqlite")
    return new_schema(request.getfixturevalue("postgresql"), tmp_path.name)


def new_schema(server: str, name: str) -> str:
    """A schema of its own in the one database: quicker made than a database."""
    import psycopg
    from psycopg import sql

    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE SCHEMA {}").format(sql.Identifier(name)))
    return f"{server}?options=-csearch_path%3D{name}"


@pytest.fixture
def opened() -> Iterator[Callable[[str | Path], Store]]:
    """Opens stores and closes them after the test."""
    stores: list[Store] = []

    def open_one(place: str | Path) -> Store:
        stores.append(open_store(place))
        return stores[-1]

    yield open_one
    for store in stores:
        store.close()


@pytest.fixture
def store(place: str, opened: Callable[[str | Path], Store]) -> Store:
    """An empty store."""
    return opened(place)
