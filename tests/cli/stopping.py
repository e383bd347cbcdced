"""Commands told to stop at any moment, as a terminal (to all processes) and a supervisor (to one) do it.

As a program (`python -m tests.cli.stopping [--trials N] [--of NAME ...]`) it prints a table for
docs/benchmarks/sturdy.md; what was written until then is read again each time, and must be whole.
"""

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from app.works.folder import Works
from tests.calibrate.rig import Rig, photograph, poses
from tests.formats.made import STATION
from tests.run.waiting import until
from tests.watch.watching import drop, make_works
from vision.errors import Unusable
from vision.formats import read_result, read_station

BRIGHTBOWL: list[str | Path] = [sys.executable, "-c", "from app.cli.main import main; main()"]


@dataclass(frozen=True, slots=True)
class Ended:
    """How a command ended: exit code, how long after the signal, what it had said on stderr, whether it was over."""

    code: int
    after_s: float
    said: str
    over_before: bool


def stopped(command: list[str | Path], wait: float | Callable[[], bool], number: signal.Signals, to_all: bool) -> Ended:
    """Start a command, tell it to stop after so many seconds or once something holds, and see how it ends."""
    with subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        if callable(wait):
            until(wait)
        else:
            time.sleep(wait)
        over = running.poll() is not None
        if not over:
            os.killpg(running.pid, number) if to_all else running.send_signal(number)
        told_s = time.monotonic()
        code = running.wait(60.0)
        after_s = time.monotonic() - told_s
        assert running.stderr is not None
        said = running.stderr.read()  # ends when the last process that holds it has gone
    return Ended(code, after_s, said, over)


def commands(folder: Path) -> tuple[Works, dict[str, list[str | Path]]]:
    """A works, and long-running commands over it."""
    works, shot = make_works(folder)
    inbox = folder / "inbox"
    for number in range(40):
        drop(shot, inbox, f"T-{number:03}")
    files = {"--part": works.part_file("TS-135"), "--station": works.station_file("ST-1")}
    files |= {"--limits": works.limits_file("TS-135"), "--out": folder / "out"}
    given = [word for pair in files.items() for word in pair]
    port = str(random.Random().randint(20_000, 60_000))
    return works, {
        "inspect --jobs 2": [*BRIGHTBOWL, "inspect", inbox, *given, "--jobs", "2"],
        "inspect": [*BRIGHTBOWL, "inspect", inbox, *given],
        "watch --jobs 2": [*BRIGHTBOWL, "watch", inbox, "--works", works.folder, "--jobs", "2"],
        "serve": [*BRIGHTBOWL, "serve", "--works", works.folder, "--port", port],
        "demo": [*BRIGHTBOWL, "demo", "--out", folder / "demo"],
        "verify": [*BRIGHTBOWL, "verify", "--works", works.folder],
    }


TARGET: list[str | Path] = ["--squares", "9x6", "--pitch-mm", "2.5", "--target-thickness-mm", "0"]


def pictures_of_a_target(folder: Path) -> list[Path]:
    """Four rendered photographs of a chessboard, and a station from an earlier day beside them."""
    rng = np.random.default_rng(31)
    paths = [folder / f"view-{number}.png" for number in range(4)]
    for path, camera in zip(paths, poses(Rig(), 4, rng), strict=True):
        cv2.imwrite(str(path), photograph(camera, rng))
    (folder / "ST-1.toml").write_text(STATION)
    return paths


def not_whole(folder: Path) -> list[str]:
    """What was written and can't be read as it should: results and stations."""
    faults = []
    readers: dict[str, Callable[[Path], object]] = {"result.json": read_result, "ST-1.toml*": read_station}
    for pattern, read in readers.items():
        for file in folder.rglob(pattern):
            try:
                read(file)
            except Unusable as fault:
                faults.append(str(fault))
    return faults


def main() -> None:
    """Print how commands end, by command and signal."""
    from tests.run.test_cluster import Engine  # here, since the tests need none

    parser = argparse.ArgumentParser()
    parser.add_argument("--trials", type=int, default=12)
    parser.add_argument("--of", nargs="*", help="these commands only, such as calibrate or 'inspect --scheduler'")
    given = parser.parse_args()
    chance = random.Random(23)
    print("| command | signal | trials stopped | exit codes | longest, s | said more than its line | not whole |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as name_of_folder:
        folder = Path(name_of_folder)
        _, every = commands(folder)
        calibrate = [*BRIGHTBOWL, "calibrate", *pictures_of_a_target(folder)]
        every["calibrate"] = [*calibrate, *TARGET, "--out", folder / "ST-1.toml"]
        engine = Engine(folder)
        for _ in range(2):
            engine.add_worker()
        engine.wait_for(2)
        every["inspect --scheduler"] = [*every["inspect"], "--scheduler", engine.address, "--plain"]
        for name in given.of or every:
            for number, to_all in ((signal.SIGINT, True), (signal.SIGTERM, False)):
                ends, faults = [], []
                for _ in range(given.trials):
                    ends.append(stopped(every[name], chance.uniform(0.15, 6.0), number, to_all))
                    faults += not_whole(folder)
                told = [one for one in ends if not one.over_before]
                codes = ", ".join(map(str, sorted({one.code for one in told})))
                more = [one.said for one in told if one.said not in ("", "brightbowl: stopped\n")]
                longest = max((one.after_s for one in told), default=0.0)
                row = (name, number.name, len(told), codes, f"{longest:.1f}", len(more), len(faults))
                print("| " + " | ".join(map(str, row)) + " |", flush=True)
                for said in (*more[:1], *faults[:1]):
                    print(said, file=sys.stderr)
        engine.close()


if __name__ == "__main__":
    main()
