"""Trays an hour: jobs of one machine, workers of a cluster, with and without pictures; decoding's share; memory.

    python -m tests.speed.throughput ../shared/trays/polished [TRAYS [REPEATS [MEMORY_TRAYS]]]

Copies the trays found there under other names, judges them by `brightbowl inspect`, and prints the tables of
docs/benchmarks/throughput.md: medians of REPEATS runs, on the wall's clock and in processor time (user and system, of
all processes that judge). The last table watches the memory of one run over many trays of the backlit frame alone.
"""

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

os.environ["OMP_NUM_THREADS"] = "1"

import cv2

from app.report.pictures import write_pictures
from app.run.shot import inspect_shot, read_work
from app.works.runs import Run
from tests.loopback import free_port
from vision.formats.frames import read_frames
from vision.formats.shot import find_shots, read_shot

BIN = Path(sys.executable).parent
TICKS_A_S = os.sysconf("SC_CLK_TCK")
# As docs/clusters.md says: workers otherwise give memory back at once, and spend as long again on getting it anew.
MALLOC = {"MALLOC_TRIM_THRESHOLD_": "268435456", "MALLOC_MMAP_THRESHOLD_": "33554432"}
PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")


@dataclass(frozen=True)
class Took:
    """A run of some trays: on the wall's clock, and in processor time."""

    wall_s: float
    cpu_s: float


def copies(given: Path, place: Path, trays: int, lights: tuple[str, ...]) -> Path:
    """As many shots as wanted, of the trays given in turn; frames are written once and linked."""
    place.mkdir()
    shots, frames = find_shots([given]), place / "frames"
    for number in range(trays):
        shot = shots[number % len(shots)]
        told = json.loads((shot / "shot.json").read_text())
        told["frames"] = [frame for frame in told["frames"] if frame["light"] in lights]
        told["tray"] = f"{told['tray']}-{number:04}"
        folder = place / "shots" / told["tray"]
        folder.mkdir(parents=True)
        (folder / "shot.json").write_text(json.dumps(told))
        for frame in told["frames"]:
            kept = frames / shot.name / frame["file"]
            kept.parent.mkdir(parents=True, exist_ok=True)
            if not kept.exists():
                shutil.copyfile(shot / frame["file"], kept)
            os.link(kept, folder / frame["file"])
    return place / "shots"


def tree(process: int) -> list[int]:
    """A process and all that it started."""
    parents = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):  # it has just ended
            parents[int(stat.parent.name)] = int(stat.read_text().rpartition(")")[2].split()[1])
    return [process, *(one for child, parent in parents.items() if parent == process for one in tree(child))]


def cpu_s(processes: list[int]) -> float:
    """Processor time of processes that run, and of those of theirs that ended."""
    spent = 0
    for process in processes:
        spent += sum(map(int, Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[11:15]))
    return spent / TICKS_A_S


def inspect_words(given: Path, shots: Path, out: Path, *more: str) -> list[str]:
    """The command that judges."""
    files = [f"--{name}={given / name}.toml" for name in ("part", "station", "limits")]
    return [str(BIN / "brightbowl"), "inspect", str(shots), *files, f"--out={out}", *more]


def timed(words: list[str], out: Path, workers: list[int]) -> Took:
    """Run the command into an empty folder."""
    shutil.rmtree(out, ignore_errors=True)
    before, theirs, start = os.times(), cpu_s(workers), time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
    wall, after = time.perf_counter() - start, os.times()
    own = after.children_user + after.children_system - before.children_user - before.children_system
    return Took(wall, own + cpu_s(workers) - theirs)


@contextmanager
def cluster(workers: int, scratch: Path) -> Iterator[tuple[str, list[int]]]:
    """A scheduler and workers as docs/clusters.md starts them: its address, the workers' processes."""
    address = f"tcp://127.0.0.1:{free_port()}"
    quiet = {
        "stdout": subprocess.DEVNULL,
        "stderr": subprocess.DEVNULL,
        "cwd": scratch,
        "env": {**os.environ, **MALLOC},
    }
    own = ["--host", "127.0.0.1", "--port", address.rpartition(":")[2], "--no-dashboard"]
    started = [subprocess.Popen([BIN / "dask", "scheduler", *own], **quiet)]  # type: ignore[call-overload]
    for _ in range(workers):
        own = ["--nthreads", "1", "--no-dashboard"]
        started.append(subprocess.Popen([BIN / "dask", "worker", address, *own], **quiet))  # type: ignore[call-overload]
    try:
        from distributed import Client

        with Client(address, timeout=30, set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=60)
        yield address, [one for process in started[1:] for one in tree(process.pid)]
    finally:
        for process in reversed(started):
            process.terminate()
            process.wait()


def median(repeats: int, run: Callable[[], Took]) -> Took:
    """Of wall and processor time, each for itself."""
    took = [run() for _ in range(repeats)]
    return Took(statistics.median(one.wall_s for one in took), statistics.median(one.cpu_s for one in took))


def rates(given: Path, scratch: Path, trays: int, repeats: int) -> None:
    """The table of trays an hour."""
    shots = copies(given, scratch / "faces", trays, ("back", "dome", "low"))
    out = scratch / "out"
    print(f"{trays} trays a run, medians of {repeats}; load before: {os.getloadavg()[0]:.1f}\n")
    print("| pictures | where | s a tray | trays an hour | processor s a tray | trays a processor hour |")
    print("|---|---|---|---|---|---|")

    def row(pictures: str, where: str, took: Took) -> None:
        wall, cpu = took.wall_s / trays, took.cpu_s / trays
        print(f"| {pictures} | {where} | {wall:.2f} | {3600 / wall:.0f} | {cpu:.2f} | {3600 / cpu:.0f} |", flush=True)

    for pictures, more in (("without", ["--no-pictures"]), ("with", [])):
        for jobs in (1, 2):
            words = inspect_words(given, shots, out, f"--jobs={jobs}", *more)
            row(pictures, f"--jobs {jobs}", median(repeats, lambda words=words: timed(words, out, [])))
    for workers in (1, 2):
        with cluster(workers, scratch) as (address, processes):
            for pictures, more in (("without", ["--no-pictures"]), ("with", [])):
                words = inspect_words(given, shots, out, f"--scheduler={address}", "--plain", *more)
                timed(words, out, processes)  # workers load what they need once
                row(
                    pictures,
                    f"cluster of {workers}",
                    median(repeats, lambda words=words, processes=processes: timed(words, out, processes)),
                )


def shares(given: Path, scratch: Path, repeats: int) -> None:
    """The table of what takes the time of a tray."""
    cv2.setNumThreads(1)
    out = scratch / "parts"
    out.mkdir()
    files = [given / f"{name}.toml" for name in ("part", "station", "limits")]
    shots = find_shots([given])
    work = read_work(Run(*files, out, shots), True)
    steps: dict[str, list[float]] = {}
    for number in range(repeats + 1):
        for folder in shots:
            marks = [time.process_time()]
            read_frames(read_shot(folder), work.station)
            marks.append(time.process_time())
            inspected = inspect_shot(folder, work)
            marks.append(time.process_time())
            write_pictures(out / inspected.result.tray, inspected)
            marks.append(time.process_time())
            if number:  # the first round loads what is needed
                decode, whole, draw = (later - one for one, later in pairwise(marks))
                for name, took in (
                    ("decoding and checking frames", decode),
                    ("measuring, judging, writing the result", whole - decode),
                    ("drawing and writing pictures", draw),
                ):
                    steps.setdefault(name, []).append(took)
    middle = {name: statistics.median(took) for name, took in steps.items()}
    bare = sum(middle.values()) - middle["drawing and writing pictures"]
    print("\n| step | processor s a tray | share without pictures | share with pictures |\n|---|---|---|---|")
    for name, took in middle.items():
        of_bare = "" if name.startswith("drawing") else f"{100 * took / bare:.0f} %"
        print(f"| {name} | {took:.2f} | {of_bare} | {100 * took / sum(middle.values()):.0f} % |", flush=True)


def memory(given: Path, scratch: Path, trays: int) -> None:
    """The table of memory over many trays."""
    shots = copies(given, scratch / "many", trays, ("back",))
    out = scratch / "out-many"
    process = subprocess.Popen(inspect_words(given, shots, out, "--no-pictures"), stdout=subprocess.DEVNULL)
    print("\n| trays judged | resident MiB, highest since the row before |\n|---|---|")
    step, highest, told = max(trays // 10, 1), 0, 0
    while process.poll() is None:
        pages = Path(f"/proc/{process.pid}/statm").read_text().split()
        highest = max(highest, int(pages[1]) * PAGE_BYTES)
        done = len(list(out.glob("*/result.json")))
        if done >= told + step:
            print(f"| {done} | {highest / 2**20:.0f} |", flush=True)
            told, highest = done, 0
        time.sleep(0.1)
    if process.returncode:
        sys.exit("the run over many trays failed")


def main(given: Path, trays: int, repeats: int, memory_trays: int) -> None:
    """Print all tables."""
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder)
        rates(given, scratch, trays, repeats)
        shares(given, scratch, repeats)
        memory(given, scratch, memory_trays)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[2:]]
    main(Path(sys.argv[1]), *(numbers + [12, 3, 500][len(numbers) :]))
