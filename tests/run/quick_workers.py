"""Processes that are there at once: forked from one that has loaded everything and has no thread.

Each is as much its own as one spawned, as a station's are; but spawned it would load all libraries anew, a second of
work for 15 ms of judging. That they can be spawned is tested where several are (`test_batch`), and by the commands.
"""

import multiprocessing
from multiprocessing.context import ForkServerContext

import pytest

from app.run import worker_pool


def loaded_processes() -> ForkServerContext:
    """Where such processes come from."""
    multiprocessing.set_forkserver_preload(["tests.run.all_loaded"])
    return multiprocessing.get_context("forkserver")


def fork_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have those of a pool that judges come from there, in this test."""
    monkeypatch.setattr(worker_pool, "START", loaded_processes().get_start_method())
