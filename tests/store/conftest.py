"""A store of each kind: SQLite in a file, and PostgreSQL on loopback where its programs are installed."""

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from app.store.connection import Store, open_store

_POSTGRESQL_HOMES = "/usr/lib/postgresql/*/bin"  # where Debian puts it; other systems have it on PATH


def _postgresql_programs() -> Path | None:
    on_path = shutil.which("initdb")
    homes = sorted(Path("/").glob(_POSTGRESQL_HOMES.lstrip("/")))
    return Path(on_path).parent if on_path else (homes[-1] if homes else None)


def _as_postgres(command: list[str]) -> list[str]:
    """PostgreSQL refuses to run as root: there, its own user runs it."""
    return ["runuser", "-u", "postgres", "--", *command] if os.geteuid() == 0 else command


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """URL of a PostgreSQL server of this test run alone, on loopback, in a folder that goes with it."""
    programs = _postgresql_programs()
    if programs is None:
        pytest.skip("PostgreSQL is not installed (apt install postgresql)")
    # Not below pytest's own folder, which only this user may enter.
    folder = Path(tempfile.mkdtemp(prefix="brightbowl-postgresql-"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = str(folder / "data")
    options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off -c max_connections=60"
    start = [str(programs / "pg_ctl"), "-D", data, "-o", options, "-l", str(folder / "log"), "-w", "start"]
    subprocess.run(
        _as_postgres([str(programs / "initdb"), "-D", data, "-U", "station", "-A", "trust", "-E", "UTF8", "-N"]),
        check=True,
        capture_output=True,
        cwd=folder,
    )
    subprocess.run(_as_postgres(start), check=True, stdout=subprocess.DEVNULL, cwd=folder)
    yield f"postgresql://station@127.0.0.1:{port}/postgres"
    stop = [str(programs / "pg_ctl"), "-D", data, "-m", "immediate", "-w", "stop"]
    subprocess.run(_as_postgres(stop), check=True, stdout=subprocess.DEVNULL, cwd=folder)
    shutil.rmtree(folder)


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where an empty store may be made."""
    if request.param == "sqlite":
        return str(tmp_path / "store.sqlite")
    return _new_schema(request.getfixturevalue("postgresql"), tmp_path.name)


def _new_schema(server: str, name: str) -> str:
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
