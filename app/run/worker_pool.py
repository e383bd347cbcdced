"""Processes that judge, one tray each: a tray that kills its process takes no other along, nor us."""

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Literal

from app.run.attempt import Outcome, attempt, on_one_core
from app.run.ending import undisturbed
from app.run.shot import Work

# Spawned, not forked: the same on every system, and safe whatever threads this process has.
START: Literal["spawn", "fork"] = "spawn"
# A tray of six frames takes seconds; one that has taken so long never comes back.
LONGEST_S = 600.0


@dataclass(slots=True, eq=False)
class _Worker:
    process: BaseProcess
    pipe: Connection
    folder: Path | None = None
    since_s: float = 0.0


class WorkerPool:
    """A number of processes that judge trays; each is replaced when it dies."""

    def __init__(self, size: int) -> None:
        self._workers = [_start() for _ in range(size)]

    def has_room(self) -> bool:
        """Whether another tray can be sent."""
        return any(worker.folder is None for worker in self._workers)

    def send(self, folder: Path, work: Work) -> None:
        """Have a tray judged by a process that is free."""
        index = next(index for index, worker in enumerate(self._workers) if worker.folder is None)
        try:
            self._workers[index].pipe.send((folder, work))
        except OSError:  # it died while it had nothing to do
            self._replace(index)
            self._workers[index].pipe.send((folder, work))
        self._workers[index].folder, self._workers[index].since_s = folder, time.monotonic()

    def ended(self, longest_s: float) -> Iterator[Outcome]:
        """Wait at most so long for trays to come back; one whose process died over it has no result."""
        busy = {worker.pipe: index for index, worker in enumerate(self._workers) if worker.folder is not None}
        back = set(wait(busy, longest_s))
        for pipe, index in busy.items():
            worker = self._workers[index]
            assert worker.folder is not None
            late = time.monotonic() - worker.since_s > LONGEST_S
            if pipe in back:
                try:
                    outcome: Outcome = worker.pipe.recv()
                except (EOFError, OSError):
                    yield self._died(index, "")
                else:
                    worker.folder = None
                    yield outcome
            elif late:
                yield self._died(index, f"it took more than {LONGEST_S:.0f} s")

    def close(self) -> None:
        """End the processes."""
        for worker in self._workers:
            worker.process.kill()
            worker.process.join()
            worker.pipe.close()

    def _died(self, index: int, why: str) -> Outcome:
        folder = self._workers[index].folder
        assert folder is not None
        code = self._replace(index)
        said = why or (f"killed by signal {-code}; it may want more memory" if code < 0 else f"exit code {code}")
        return Outcome(folder, None, (f"{folder}: the process that judged it died ({said})",), died=True)

    def _replace(self, index: int) -> int:
        """Put a new process in the place of one that died or must; the old one's exit code."""
        old = self._workers[index]
        # One that died by itself has a moment to be gone, so that its own exit code is told.
        old.process.join(1.0)
        old.process.kill()
        old.process.join()
        old.pipe.close()
        self._workers[index] = _start()
        return old.process.exitcode or 0


def _start() -> _Worker:
    context = multiprocessing.get_context(START)
    ours, theirs = context.Pipe()
    process: BaseProcess = context.Process(target=_judge, args=(theirs,), daemon=True)  # type: ignore[attr-defined]
    with undisturbed():
        process.start()
    theirs.close()
    return _Worker(process, ours)


def _judge(pipe: Connection) -> None:
    """What a process of the pool does: judge what comes, until its parent is gone."""
    for ending in (signal.SIGINT, signal.SIGTERM):
        signal.signal(ending, signal.SIG_IGN)  # they are meant for whoever started us, who then ends us
    threading.Thread(target=_go_with_our_parent, daemon=True).start()
    on_one_core()
    while True:
        try:
            folder, work = pipe.recv()
        except EOFError:
            return
        pipe.send(attempt(folder, work))


def _go_with_our_parent() -> None:
    """End at once when our parent was killed: the next one judges this shot anew, and two would write one folder."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)
