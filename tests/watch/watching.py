"""A works, an inbox, small rendered trays, and a program that watches and is killed again and again.

As a program (`python -m tests.watch.watching WORKS INBOX KILLS SEED`) it loads everything once and forks a watcher for
each life, so that twenty deaths cost twenty watchers and not twenty loadings of all libraries.
"""

import fcntl
import json
import os
import random
import shutil
import signal
import sqlite3
import sys
import time
import zlib
from collections.abc import Callable
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from app.run import worker_pool
from app.run.ending import ended_by_signals
from app.store.results.recall import recall_results
from app.watch import attempts
from app.watch.loop import Watcher
from app.watch.prepare import Order
from app.watch.single_instance import alone
from app.works.folder import Works, read_works
from synthetic_images.spoons import TEASPOON
from synthetic_images.trays.history import DieCourse, History, render_history
from tests.run.rendered_works import works_of
from tests.run.waiting import until

COARSE_MM_PER_PX = 0.2
"""A tray of one teaspoon is then 755 x 272 px and judged in some 15 ms."""
FILED_IN_A_LIFE = (0, 9)
"""So many trays a watcher files before it is killed: each death then falls into the middle of its work ..."""
MORE_S = (0.0, 0.06)
"""... at any moment of a tray: judged, written, filed, or on its way to the next."""


def make_works(folder: Path) -> tuple[Works, Path]:
    """A works that judges teaspoons, and one rendered shot to copy."""
    one = History(TEASPOON, (DieCourse("D1"),), 1, 1000.0, pieces=1, mm_per_px=COARSE_MM_PER_PX)
    list(render_history(folder, one))
    works = works_of(folder, folder / "works")
    return works, next((folder / "shots").iterdir())


def drop(shot: Path, inbox: Path, tray: str) -> Path:
    """Put a copy of a shot into an inbox under another tray's name, `shot.json` last, as a camera would."""
    folder = inbox / tray
    folder.mkdir(parents=True)
    shutil.copyfile(shot / "back.png", folder / "back.png")
    # A shot of its own, since it was taken at another time: to the microsecond, or of 200 some would share a second.
    second, microsecond = divmod(zlib.crc32(tray.encode()), 1_000_000)
    taken_at = f"2026-11-02T06:{second // 60 % 60:02}:{second % 60:02}.{microsecond:06}+00:00"
    table = {**json.loads((shot / "shot.json").read_text()), "tray": tray, "taken_at": taken_at}
    (folder / "shot.json").write_text(json.dumps(table))
    return folder


def drop_spoilt(shot: Path, inbox: Path, tray: str, spoil: Callable[[Path], object]) -> Path:
    """Spoil a copy of a shot beside the inbox and move it in at once: a watcher never sees it as it was before."""
    made = drop(shot, inbox.parent / "made", tray)
    spoil(made)
    return made.rename(inbox / tray)


def order(works: Works, inbox: Path, state: Path) -> Order:
    """What to watch, without pictures."""
    return Order(inbox, works, state, 1, False)


def judgements(works: Works) -> int:
    """How many judgements the store holds."""
    return _rows(works, "judgement")


def _rows(works: Works, table: str) -> int:
    """Asked without opening the store as a works does: quick enough to ask often."""
    with closing(sqlite3.connect(f"file:{works.folder / works.store_address}?mode=ro", uri=True)) as store:
        return int(store.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def health(works: Works) -> dict[str, Any]:
    file = works.folder / "watch" / "health.json"
    return json.loads(file.read_text()) if file.is_file() else {}


def filed(works: Works) -> list[str]:
    """The trays that the store holds; it is opened as a works does wherever anything was filed since."""
    return list(_filed(works.folder, _rows(works, "filing")))


@cache
def _filed(folder: Path, _filings: int) -> tuple[str, ...]:
    with closing(read_works(folder).open()) as store:
        return tuple(sorted(one.tray for one in recall_results(store)))


def live(works: Works, inbox: Path) -> None:
    """One watcher's life, until it is told to stop."""
    store = works.open()
    with alone(works, inbox) as state, ended_by_signals(True, raising=False) as stop:
        Watcher(order(works, inbox, state), store).run(stop)
    store.close()


def drill(works: Works, inbox: Path, kills: int, seed: int) -> None:
    """Let a watcher live, kill it at a random moment of its work, `kills` times; the last one ends when asked.

    Prints how many trays were filed at each death, then the last one's process.
    """
    (works.folder / "watch").mkdir(exist_ok=True)
    worker_pool.START = "fork"  # all is loaded here; the parent has no thread that a fork could lose
    attempts.PAUSES_S = (0.1, 0.1)  # what is poison is tried again soon
    chance = random.Random(seed)
    deaths: list[int] = []
    for life in range(kills + 1):
        goal = judgements(works) + chance.randint(*FILED_IN_A_LIFE)
        child = os.fork()
        if child == 0:
            live(works, inbox)
            os._exit(0)
        if life < kills:
            until(lambda goal=goal: judgements(works) >= goal)
            time.sleep(chance.uniform(*MORE_S))
            os.kill(child, signal.SIGKILL)
            deaths.append(judgements(works))
        else:
            print(*deaths, child, flush=True)
        _, status = os.waitpid(child, 0)
        _until_alone(works)
        if life == kills:
            sys.exit(os.waitstatus_to_exitcode(status))


def _until_alone(works: Works) -> None:
    """Wait until the dead watcher's own process is gone too: forked here, it shares the lock (spawned, it has none)."""
    with (works.folder / "watch" / "lock").open("ab") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)


def spoilt_frame(folder: Path) -> None:
    """Cut a frame short."""
    frame = folder / "back.png"
    frame.write_bytes(frame.read_bytes()[:2000])


def small_frame(folder: Path) -> None:
    """Put a black frame in the place of the right one."""
    cv2.imwrite(str(folder / "back.png"), np.zeros((272, 755), np.uint8))


if __name__ == "__main__":
    cv2.setNumThreads(1)
    drill(read_works(Path(sys.argv[1])), Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
