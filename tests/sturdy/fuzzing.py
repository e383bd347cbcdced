"""The fuzzing bench: files of every format mutated, read in earnest, and held to what may become of them.

Either a file is read or it is refused in one line; never a traceback, never a hang, never more memory or time than the
bounds, and nothing is written to stderr past the program. `python -m tests.sturdy.fuzzing --inputs 20000 --jobs 16`
prints the table of docs/benchmarks/sturdy.md; an input is found again by its number (`--first N --inputs 1`).
"""

import argparse
import faulthandler
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from types import FrameType

from app.run.attempt import on_one_core
from tests.sturdy.mutating import mutated
from tests.sturdy.readers import Format, Slipped, formats_of, make_place
from vision.errors import Unusable

LONGEST_S, MOST_MB = 10.0, 1000.0
LONGEST_LINE = 1600  # characters, the path left out


class Hang(BaseException):
    """An input took longer than any may."""


@dataclass(frozen=True, slots=True)
class Became:
    """What became of one input: `read`, `refused`, `slipped` past a weak sum of its own, or a fault in words."""

    number: int
    format: str
    how: str
    took_s: float
    peak_mb: float


def run_input(number: int, formats: Sequence[Format], folder: Path) -> Became:
    """Mutate and read one input; which format and how follow from its number."""
    chance = random.Random(number)
    one = chance.choices(formats, [each.share for each in formats])[0]
    place = folder / f"{number}"
    place.mkdir()
    path = place / one.file.name
    path.write_bytes(mutated(one.file.read_bytes(), one.by, chance))
    _forget_peak()
    before_mb = _peak_mb()
    began_s = time.monotonic()
    try:
        with _no_longer_than(LONGEST_S), _listened() as said:
            how = _read(one, path)
        if said:
            how = f"fault: said on stderr: {said[0][:200]!r}"
    except Hang:
        how = f"fault: took more than {LONGEST_S:.0f} s"
    took_s, peak_mb = time.monotonic() - began_s, _peak_mb() - before_mb
    if peak_mb > MOST_MB:
        how = f"fault: took {peak_mb:.0f} MB"
    shutil.rmtree(place)
    return Became(number, one.name, how, took_s, peak_mb)


def _read(one: Format, path: Path) -> str:
    try:
        one.read(path)
    except Unusable as fault:
        said = str(fault)
        if not said.isprintable() or len(said.replace(str(path.parent), "")) > LONGEST_LINE:
            return f"fault: no line to read: {said[:300]!r}"
        return "refused"
    except Slipped:
        return "slipped"
    except Exception:  # noqa: BLE001 - what the bench is for
        return f"fault: {traceback.format_exc()[-1500:]}"
    return "read"


@contextmanager
def _no_longer_than(seconds: float) -> Iterator[None]:
    def late(_number: int, _frame: FrameType | None) -> None:
        raise Hang

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


@contextmanager
def _listened() -> Iterator[list[bytes]]:
    """What is written to stderr meanwhile, by whomever."""
    said: list[bytes] = []
    with tempfile.TemporaryFile() as heard:
        kept = os.dup(2)
        os.dup2(heard.fileno(), 2)
        try:
            yield said
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            heard.seek(0)
            said += [text for text in [heard.read(2000)] if text]


def _forget_peak() -> None:
    """Have the kernel count this process's peak memory anew."""
    Path("/proc/self/clear_refs").write_text("5")


def _peak_mb() -> float:
    text = Path("/proc/self/status").read_text()
    return float(text.partition("VmHWM:")[2].split()[0]) / 1000.0


def main() -> None:
    """Run the inputs in processes, each a stretch of numbers, and print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--inputs", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--part-of", type=Path, help="file for what became of them; of one process of many")
    given = parser.parse_args()
    if given.part_of is not None:
        _stretch(given.first, given.inputs, given.part_of)
        return
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        became, faults = _in_processes(given.first, given.inputs, given.jobs, Path(folder))
    print(*table(became), sep="\n")
    took_s = time.monotonic() - began_s
    print(f"\n{len(became)} inputs from number {given.first} in {took_s:.0f} s, {given.jobs} side by side")
    for fault in faults:
        print(fault)
    sys.exit(1 if faults else 0)


def _in_processes(first: int, inputs: int, jobs: int, folder: Path) -> tuple[list[Became], list[str]]:
    """Stretches of numbers side by side; one whose process dies is told by the last number that it began."""
    size = -(-inputs // jobs)
    running = []
    for job in range(jobs):
        start, out = first + job * size, folder / f"{job}.jsonl"
        count = min(size, first + inputs - start)
        if count > 0:
            command = [sys.executable, "-m", "tests.sturdy.fuzzing", "--first", str(start), "--inputs", str(count)]
            running.append((subprocess.Popen([*command, "--part-of", str(out)]), out))
    became, faults = [], []
    for process, out in running:
        code = process.wait()
        lines = [json.loads(line) for line in out.read_text().splitlines()]
        became += [Became(**line) for line in lines if "how" in line]
        if code:
            faults.append(f"a process ended with {code} over input {lines[-1]['number'] if lines else 'none'}")
    faults += [f"input {one.number} ({one.format}): {one.how}" for one in became if one.how.startswith("fault")]
    return became, faults


def _stretch(first: int, inputs: int, out: Path) -> None:
    on_one_core()
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with tempfile.TemporaryDirectory() as folder, out.open("w") as file:
        formats = formats_of(make_place(Path(folder)))
        for number in range(first, first + inputs):
            file.write(json.dumps({"number": number}) + "\n")
            file.flush()
            faulthandler.dump_traceback_later(3 * LONGEST_S, exit=True)  # a hang that no signal ends
            became = run_input(number, formats, Path(folder))
            faulthandler.cancel_dump_traceback_later()
            file.write(json.dumps(asdict(became)) + "\n")


def table(became: Sequence[Became]) -> list[str]:
    """What became of them, by format, as rows of a page."""
    heads = ("format", "inputs", "read", "refused", "slipped", "faults", "longest, s", "most memory, MB")
    rows = [f"| {' | '.join(heads)} |", "|---" * len(heads) + "|"]
    for name in (*dict.fromkeys(sorted(one.format for one in became)), "all"):
        some = [one for one in became if name in (one.format, "all")]
        counts = [sum(one.how == how for one in some) for how in ("read", "refused", "slipped")]
        cells = [name, len(some), *counts, len(some) - sum(counts), f"{max(one.took_s for one in some):.1f}"]
        rows.append(f"| {' | '.join(map(str, cells))} | {max(one.peak_mb for one in some):.0f} |")
    return rows


if __name__ == "__main__":
    main()
