"""Commands told to stop at any moment, as a terminal (to all processes) and a supervisor (to one) do it.

As a program (`python -m tests.cli.stopping [--trials N]`) it prints a table for docs/benchmarks/sturdy.md.
"""

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from app.works.folder import Works
from tests.watch.watching import drop, make_works

BRIGHTBOWL: list[str | Path] = [sys.executable, "-c", "from app.cli.main import main; main()"]


@dataclass(frozen=True, slots=True)
class Ended:
    """How a command ended: exit code, how long after the signal, what it had said on stderr, whether it was over."""

    code: int
    after_s: float
    said: str
    over_before: bool


def stopped(command: list[str | Path], wait_s: float, number: signal.Signals, to_all: bool) -> Ended:
    """Start a command, tell it to stop after a while, and see how it ends."""
    with subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        time.sleep(wait_s)
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


def main() -> None:
    """Print how commands end, by command and signal."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--trials", type=int, default=12)
    trials = parser.parse_args().trials
    chance = random.Random(23)
    print("| command | signal | trials stopped | exit codes | longest, s | said more than its line |")
    print("|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        _, every = commands(Path(folder))
        for name, command in every.items():
            for number, to_all in ((signal.SIGINT, True), (signal.SIGTERM, False)):
                ends = [stopped(command, chance.uniform(0.15, 6.0), number, to_all) for _ in range(trials)]
                told = [one for one in ends if not one.over_before]
                codes = ", ".join(map(str, sorted({one.code for one in told})))
                more = [one.said for one in told if one.said not in ("", "brightbowl: stopped\n")]
                longest = max((one.after_s for one in told), default=0.0)
                print(f"| {name} | {number.name} | {len(told)} | {codes} | {longest:.1f} | {len(more)} |", flush=True)
                for said in more[:1]:
                    print(said, file=sys.stderr)


if __name__ == "__main__":
    main()
