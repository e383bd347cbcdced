"""A PostgreSQL server of the tests alone, on loopback, in a folder that goes with it; it can be stopped and started."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from app.store.database.connection import open_store
from tests.loopback import free_port

_READY = "ready"
_HOMES = "usr/lib/postgresql/*/bin"  # where Debian puts it; other systems have it on PATH


class Server:
    """One server in one folder."""

    def __init__(self, programs: Path, folder: Path) -> None:
        self.programs = programs
        self.folder = folder
        self.port = free_port()
        self.url = f"postgresql://station@127.0.0.1:{self.port}/postgres"
        self._run("initdb", "-U", "station", "-A", "trust", "-E", "UTF8", "-N")

    def start(self) -> None:
        """Start it and wait until it answers; nothing where it runs already."""
        if self._runs():
            return
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1 -c fsync=off -c max_connections=60"
        self._run("pg_ctl", "-o", options, "-l", str(self.folder / "log"), "-w", "start")

    def stop(self) -> None:
        """End it at once, with all its connections, as a crash would; nothing where it is ended already."""
        if self._runs():
            self._run("pg_ctl", "-m", "immediate", "-w", "stop")

    def _runs(self) -> bool:
        return (self.folder / "data" / "postmaster.pid").is_file()

    def _run(self, program: str, *words: str) -> None:
        command = [str(self.programs / program), "-D", str(self.folder / "data"), *words]
        if os.geteuid() == 0:  # PostgreSQL refuses to run as root: there, its own user runs it
            command = ["runuser", "-u", "postgres", "--", *command]
        # Not captured: the server keeps the pipes of the program that starts it.
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=self.folder)


@contextmanager
def postgresql_server() -> Iterator[Server]:
    """A server that runs; the test is skipped where PostgreSQL is not installed."""
    on_path = shutil.which("initdb")
    homes = sorted(Path("/").glob(_HOMES))
    if on_path is None and not homes:
        pytest.skip("PostgreSQL is not installed (apt install postgresql)")
    # Not below pytest's own folder, which only this user may enter.
    folder = Path(tempfile.mkdtemp(prefix="brightbowl-postgresql-"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres")
    server = Server(Path(on_path).parent if on_path else homes[-1], folder)
    server.start()
    open_store(blank_database(server.url, _READY)).close()
    try:
        yield server
    finally:
        server.stop()
        shutil.rmtree(folder)


def new_database(server: str, name: str) -> str:
    """The URL of an empty store, copied from one made once."""
    return copied_database(server, name, _READY)


def blank_database(server: str, name: str) -> str:
    """The URL of a new database that holds nothing."""
    return copied_database(server, name, "template1")


def copied_database(server: str, name: str, template: str) -> str:
    """The URL of a new database with all that another holds."""
    _tell(server, "CREATE DATABASE {} TEMPLATE {}", name, template)
    return f"{server.rpartition('/')[0]}/{name}"


def drop_database(server: str, name: str) -> None:
    """Let go of a database, whoever is still connected to it."""
    _tell(server, "DROP DATABASE {} WITH (FORCE)", name)


def _tell(server: str, words: str, *names: str) -> None:
    import psycopg
    from psycopg import sql

    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(sql.SQL(words).format(*map(sql.Identifier, names)))  # type: ignore[arg-type]
