"""A store of each kind: SQLite in a file, and PostgreSQL on loopback where its programs are installed.

Empty stores are copied from one made once: the steps that make one are tested in `test_migrations`.
"""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from app.store.database.connection import Store, open_store
from tests.store.postgresql_server import blank_database, drop_database, new_database, postgresql_server


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """URL of a PostgreSQL server of this test run alone."""
    with postgresql_server() as server:
        yield server.url


@pytest.fixture(scope="session")
def made_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty store in a file, to be copied."""
    file = tmp_path_factory.mktemp("made") / "store.sqlite"
    open_store(file).close()
    return file


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Where an empty store is."""
    if request.param == "sqlite":
        yield str(shutil.copy(request.getfixturevalue("made_file"), tmp_path / "store.sqlite"))
        return
    server = request.getfixturevalue("postgresql")
    yield new_database(server, tmp_path.name)
    drop_database(server, tmp_path.name)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def shared_store(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """An empty store for the tests of a file that leave what one of its fixtures filed as it is."""
    folder = tmp_path_factory.mktemp("shared")
    if request.param == "sqlite":
        place = str(shutil.copy(request.getfixturevalue("made_file"), folder / "store.sqlite"))
    else:
        place = new_database(request.getfixturevalue("postgresql"), folder.name)
    store = open_store(place)
    yield store
    store.close()
    if request.param == "postgresql":
        drop_database(request.getfixturevalue("postgresql"), folder.name)


@pytest.fixture(params=["sqlite", "postgresql"])
def blank_place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Where a store may be made."""
    if request.param == "sqlite":
        yield str(tmp_path / "store.sqlite")
        return
    server = request.getfixturevalue("postgresql")
    yield blank_database(server, tmp_path.name)
    drop_database(server, tmp_path.name)


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
