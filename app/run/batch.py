"""Many tray shots in order, on one core or several: one that fails never stops the others."""

from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

from app.run.attempt import Outcome, attempt, on_one_core
from app.run.shot import Work
from app.run.worker_pool import WorkerPool
from vision.errors import Unusable
from vision.formats import read_shot
from vision.records import Station

# Shots begun for each process before the first in line is done: none is ever idle, and memory stays flat.
_AHEAD = 4
_LOOK_S = 1.0


def inspect_batch(folders: Sequence[Path], work: Work, jobs: int = 1) -> Iterator[Outcome]:
    """Inspect shots and yield their outcomes in the order given; the results are the same for any number of jobs.

    Of shots that give the same tray's name in the same lot, without saying that they are retakes, none is judged. A
    process that dies costs its shots a second try, each alone.
    """
    same = same_trays(folders, work.station)
    if jobs == 1:
        on_one_core()
        for folder in folders:
            yield same.get(folder) or attempt(folder, work)
    else:
        yield from _in_processes(folders, work, jobs, same)


def same_trays(folders: Sequence[Path], station: Station) -> dict[Path, Outcome]:
    """Outcomes of the shots whose tray another of the same lot has too, without saying that it is a retake.

    Upper and lower case are one, as on many disks.
    """
    by_tray: dict[tuple[str, str | None], list[tuple[Path, bool]]] = {}
    for folder in folders:
        try:
            shot = read_shot(folder, (station,))
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


def _in_processes(folders: Sequence[Path], work: Work, jobs: int, same: dict[Path, Outcome]) -> Iterator[Outcome]:
    """Outcomes in order, from a pool whose processes take a shot each as they are free."""
    done = dict(same)
    waiting = deque(enumerate(folder for folder in folders if folder not in same))
    again: deque[Path] = deque()  # those whose process died: once more, after the others
    tried: set[Path] = set()
    yielded = 0
    with closing(WorkerPool(min(jobs, max(len(waiting), 1)))) as pool:
        for folder in folders:
            while folder not in done:
                while pool.has_room() and waiting and waiting[0][0] < yielded + _AHEAD * jobs:
                    pool.send(waiting.popleft()[1], work)
                while pool.has_room() and again:
                    pool.send(again.popleft(), work)
                for outcome in pool.ended(_LOOK_S):
                    if outcome.died and outcome.folder not in tried:
                        tried.add(outcome.folder)
                        again.append(outcome.folder)
                    else:
                        done[outcome.folder] = _of_two_tries(outcome) if outcome.died else outcome
            yielded += 1
            yield done.pop(folder)


def _of_two_tries(died: Outcome) -> Outcome:
    line = f"{died.folder}: the process that judged it died twice; give it more memory, or judge it with --jobs 1"
    return Outcome(died.folder, None, (line,))
