"""A works, an inbox, small rendered trays, and a program that watches and is killed again and again.

As a program (`python -m tests.run.watching WORKS INBOX KILLS SEED`) it loads everything once and forks a watcher for
each life, so that twenty deaths cost twenty watchers and not twenty loadings of all libraries.
"""

import json
import os
import random
import shutil
import signal
import sys
import time
from pathlib import Path

import cv2
import numpy as np

from app.run import crew
from app.run.prepare import Order
from app.run.watch import Watcher
from app.run.watch_alone import alone, stopping
from app.store.works import Works, read_works
from synthetic_images.history import DieCourse, History, render_history
from synthetic_images.spoons import TEASPOON
from tests.run.rendered_works import works_of

COARSE_MM_PER_PX = 0.2
"""A tray of one teaspoon is then 755 x 272 px and judged in some 15 ms."""
LIFE_S = (0.05, 0.4)


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
    table = {**json.loads((shot / "shot.json").read_text()), "tray": tray}
    (folder / "shot.json").write_text(json.dumps(table))
    return folder


def order(works: Works, inbox: Path, state: Path) -> Order:
    """What to watch, without pictures."""
    return Order(inbox, works, state, 1, False)


def live(works: Works, inbox: Path) -> None:
    """One watcher's life, until it is told to stop."""
    store = works.open()
    with alone(works, inbox) as state, stopping() as stop:
        Watcher(order(works, inbox, state), store).run(stop)
    store.close()


def drill(works: Works, inbox: Path, kills: int, seed: int) -> None:
    """Let a watcher live, kill it after a random while, `kills` times; the last one ends by itself when asked."""
    crew.START = "fork"  # all is loaded here; the parent has no thread that a fork could lose
    chance = random.Random(seed)
    for life in range(kills + 1):
        child = os.fork()
        if child == 0:
            live(works, inbox)
            os._exit(0)
        if life < kills:
            time.sleep(chance.uniform(*LIFE_S))
            os.kill(child, signal.SIGKILL)
        else:
            print("alive", child, flush=True)
        _, status = os.waitpid(child, 0)
        if life == kills:
            sys.exit(os.waitstatus_to_exitcode(status))


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
