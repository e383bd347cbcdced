"""A works that is watched, an inbox, and a watcher in a thread that is quick to try again."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from threading import Event, Thread

import pytest

from app.watch import attempts, loop
from app.watch.loop import Watcher
from app.watch.single_instance import alone
from app.works.folder import Works, read_works
from tests.run.quick_workers import fork_workers
from tests.watch.watching import make_works, order


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Works, Path]:
    return make_works(tmp_path_factory.mktemp("watched"))


@pytest.fixture
def works(template: tuple[Works, Path], tmp_path: Path) -> Works:
    """A works of this test alone, its store still empty."""
    shutil.copytree(template[0].folder, tmp_path / "works")
    return read_works(tmp_path / "works")


@pytest.fixture
def shot(template: tuple[Works, Path]) -> Path:
    return template[1]


@pytest.fixture
def inbox(tmp_path: Path) -> Path:
    folder = tmp_path / "inbox"
    folder.mkdir()
    return folder


@pytest.fixture
def watching(works: Works, inbox: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Watcher]:
    """A watcher in a thread of this process, quick to try again; stopped at the end."""
    fork_workers(monkeypatch)
    monkeypatch.setattr(loop, "SCAN_S", 0.05)
    monkeypatch.setattr(attempts, "PAUSES_S", (0.1, 0.1))
    store, stop = works.open(), Event()
    with alone(works, inbox) as state:
        watcher = Watcher(order(works, inbox, state), store)
        thread = Thread(target=watcher.run, args=(stop,))
        thread.start()
        yield watcher
        stop.set()
        thread.join()
    store.close()
