"""A watcher whose PostgreSQL goes away and comes back: under it, and before it starts."""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from threading import Event, Thread

import pytest
from sqlalchemy import text

from app.store.database.connection import open_store
from app.store.results.recall import recall_results
from app.watch import loop
from app.watch.loop import Watcher
from app.watch.single_instance import alone
from app.works.folder import Works
from tests.run.waiting import until
from tests.store.postgresql_server import Server, postgresql_server
from tests.watch.watching import drop, make_works, order

BRIGHTBOWL = Path(sys.executable).with_name("brightbowl")


@pytest.fixture(scope="module")
def one_server() -> Iterator[Server]:
    with postgresql_server() as one:
        yield one


@pytest.fixture
def server(one_server: Server) -> Server:
    """The server, running, whatever the test before did to it."""
    one_server.start()
    return one_server


def state(works: Works) -> str:
    file = works.folder / "watch" / "health.json"
    return str(json.loads(file.read_text())["state"]) if file.is_file() else ""


def filed(url: str) -> list[str]:
    with closing(open_store(url)) as store:
        return sorted(one.tray for one in recall_results(store))


@pytest.mark.usefixtures("quick_workers")
def test_a_server_that_stops_under_the_watcher_loses_nothing(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(loop, "SCAN_S", 0.05)
    monkeypatch.setattr(loop, "LONGEST_PAUSE_S", 0.5)
    works, shot = make_works(tmp_path / "made")
    inbox, stop = tmp_path / "inbox", Event()
    inbox.mkdir()
    with closing(open_store(server.url)) as store, alone(works, inbox) as place:
        watcher = Thread(target=Watcher(order(works, inbox, place), store).run, args=(stop,))
        watcher.start()
        try:
            drop(shot, inbox, "T-0")
            until(lambda: filed(server.url) == ["T-0"])
            names = [drop(shot, inbox, f"T-{k}").name for k in range(1, 9)]
            until(lambda: "T-1" in filed(server.url))
            server.stop()  # with trays in hand and in the queue
            names.append(drop(shot, inbox, "T-9").name)
            until(lambda: state(works) == "held")
            server.start()
            until(lambda: filed(server.url) == ["T-0", *names])
            until(lambda: state(works) == "watching")
            with closing(open_store(server.url)) as asked, asked.read() as connection:
                assert connection.execute(text("SELECT count(*) FROM filing")).scalar_one() == 10
        finally:
            stop.set()
            watcher.join()


@pytest.mark.long
def test_a_watcher_started_while_the_server_is_away_says_so_and_waits(server: Server, tmp_path: Path) -> None:
    works, shot = make_works(tmp_path / "made")
    inbox = tmp_path / "inbox"
    drop(shot, inbox, "S-1")
    server.stop()
    command = [BRIGHTBOWL, "watch", inbox, "--works", works.folder, "--store", server.url]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as watcher:
        try:
            assert watcher.stderr is not None
            said = watcher.stderr.readline()
            assert "expected a database that answers; start it" in said
            assert said.endswith("waiting for it\n")
            server.start()
            until(lambda: "S-1" in filed(server.url))
        finally:
            watcher.send_signal(signal.SIGTERM)
        assert watcher.wait(60) == 0


def test_a_watcher_that_waits_for_the_server_can_be_stopped(server: Server, tmp_path: Path) -> None:
    works, _ = make_works(tmp_path / "made")
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    server.stop()
    command = [BRIGHTBOWL, "watch", inbox, "--works", works.folder, "--store", server.url]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as watcher:
        assert watcher.stderr is not None
        watcher.stderr.readline()
        watcher.send_signal(signal.SIGTERM)
        assert watcher.wait(60) == 0


def test_a_store_that_the_server_does_not_have_is_an_error_at_once(server: Server, tmp_path: Path) -> None:
    works, _ = make_works(tmp_path / "made")
    (tmp_path / "inbox").mkdir()
    other = server.url.replace("/postgres", "/nowhere")
    command = [BRIGHTBOWL, "watch", tmp_path / "inbox", "--works", works.folder]
    done = subprocess.run([*command, "--store", other], capture_output=True, text=True, timeout=100, check=False)
    assert done.returncode == 2
    assert 'database "nowhere" does not exist' in done.stderr
