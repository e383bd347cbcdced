"""Processes of a pool that are there at once; the fixture `quick_workers` of `tests/conftest.py` asks for them."""

import multiprocessing

import pytest

from app.run import worker_pool


def fork_from_one_that_has_all_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fork each from one process that has loaded everything and has no thread: as much its own as one spawned.

    Spawned, as a station's are, each would load all libraries anew: a second of work for 15 ms of judging. That they
    can be spawned is tested where several are (`test_batch`), and by the commands.
    """
    multiprocessing.set_forkserver_preload(["tests.run.all_loaded"])
    monkeypatch.setattr(worker_pool, "START", "forkserver")
