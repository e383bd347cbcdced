"""Many tray shots in order, on one core or several: one that fails never stops the others."""

import multiprocessing
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path

import cv2

from app.run.shot import Work, add_beside, inspect_shot
from vision.errors import Unusable, printable
from vision.formats import read_shot
from vision.records import TrayResult

# Shots waiting for each process: enough that none is ever idle, few enough that memory stays flat.
_AHEAD = 2
_SAID = 400  # characters of what an unforeseen fault says of itself
# Findings of a tray that shows no piece at all because nothing could be seen, not because it lies empty.
_BLIND = ("exposure", "focus")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one shot: its result where one was written, and what could not be done (a line each).

    `unwritten` says that the place of results could not be written: no fault of the shot.
    """

    folder: Path
    result: TrayResult | None
    failures: tuple[str, ...] = ()
    unwritten: bool = False


def inspect_batch(folders: Sequence[Path], work: Work, jobs: int = 1) -> Iterator[Outcome]:
    """Inspect shots and yield their outcomes in the order given; the results are the same for any number of jobs.

    Of shots that give the same tray's name in the same lot, without saying that they are retakes, none is judged. A
    process that dies costs its shots a second try, each alone.
    """
    same = same_trays(folders)
    if jobs == 1:
        on_one_core()
        for folder in folders:
            yield same.get(folder) or attempt(folder, work)
    else:
        yield from _in_processes(folders, work, jobs, same)


def same_trays(folders: Sequence[Path]) -> dict[Path, Outcome]:
    """Outcomes of the shots whose tray another of the same lot has too, without saying that it is a retake.

    Upper and lower case are one, as on many disks.
    """
    by_tray: dict[tuple[str, str | None], list[tuple[Path, bool]]] = {}
    for folder in folders:
        try:
            shot = read_shot(folder)
            by_tray.setdefault((shot.tray.casefold(), shot.lot), []).append((folder, shot.retake))
        except Unusable:
            continue  # told when its turn comes
    outcomes = {}
    for alike in by_tray.values():
        unsaid = [folder for folder, retake in alike if not retake]
        for folder in unsaid if len(unsaid) > 1 else ():
            others = ", ".join(str(other) for other in unsaid if other != folder)
            expected = 'a tray\'s name of its own in its lot expected; change one, or say in shot.json "retake": true'
            fault = Unusable(folder, "tray", expected, f"the same in {others}")
            outcomes[folder] = Outcome(folder, None, (str(fault),))
    return outcomes


def attempt(folder: Path, work: Work) -> Outcome:
    """Inspect one shot; whatever goes wrong becomes a line."""
    result = None
    try:
        inspected = inspect_shot(folder, work)
        result = inspected.result
        add_beside(inspected, work)
    except Unusable as fault:
        return Outcome(folder, result, (str(fault),), unwritten=Path(fault.where).is_relative_to(work.out))
    except Exception as fault:  # noqa: BLE001
        what = "judged, but its pictures could not be drawn" if result else "could not be judged"
        return Outcome(folder, result, (unforeseen(folder, what, fault),))
    blind = [finding for finding in result.tray_findings if finding.kind in _BLIND] if not result.pieces else []
    return Outcome(folder, result, tuple(f"{folder}: nothing measured: {finding.detail}" for finding in blind))


def unforeseen(where: Path | str, what: str, fault: Exception) -> str:
    """A fault of the software's own in one line, with the place where it arose, for whoever mends it."""
    trace = fault.__traceback__
    while trace and trace.tb_next:
        trace = trace.tb_next
    place = f" at {Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace else ""
    said = printable(str(fault), _SAID)
    return printable(
        f"{where}: {what}, a fault of this software; please report it ({type(fault).__name__}{place}: {said})"
    )


def on_one_core() -> None:
    """OpenCV keeps to one core, in each process: the shots are what runs side by side."""
    cv2.setNumThreads(1)


def _pool(processes: int) -> ProcessPoolExecutor:
    # Spawned, not forked: the same on every system, and safe whatever threads this process has.
    return ProcessPoolExecutor(processes, multiprocessing.get_context("spawn"), on_one_core)


def _in_processes(folders: Sequence[Path], work: Work, jobs: int, same: dict[Path, Outcome]) -> Iterator[Outcome]:
    waiting = deque(folders)
    while waiting:
        running: deque[tuple[Path, Future[Outcome] | None]] = deque()
        with _pool(min(jobs, len(waiting))) as pool:
            try:
                while waiting or running:
                    while waiting and len(running) < _AHEAD * jobs:
                        # Taken off the line only once it runs: submitting to a broken pool raises too.
                        future = None if waiting[0] in same else pool.submit(attempt, waiting[0], work)
                        running.append((waiting.popleft(), future))
                    folder, future = running[0]
                    outcome = future.result() if future else same[folder]
                    running.popleft()
                    yield outcome
                continue
            except BrokenProcessPool:
                pool.shutdown(wait=False, cancel_futures=True)
        for folder, _ in running:
            yield same.get(folder) or _alone(folder, work)


def _alone(folder: Path, work: Work) -> Outcome:
    """A second try in a process of its own, so that a shot that kills it takes no other along."""
    with _pool(1) as pool:
        try:
            return pool.submit(attempt, folder, work).result()
        except BrokenProcessPool:
            line = f"{folder}: the process that judged it died twice; give it more memory, or judge it with --jobs 1"
            return Outcome(folder, None, (line,))
