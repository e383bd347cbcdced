"""Whether two checkouts judge the same trays to the same result, to the last digit: run by hand before a move lands.

    git worktree add /somewhere/before main
    .venv/bin/python -m tests.truth.same_results /somewhere/before . --jobs 4

Every tray beside the project (`../shared/trays`) and one of each family that the project renders itself (by the first
checkout) is judged by both checkouts' own code. `result.json` is compared number by number; when and by which settings
a tray was judged is left out. Told are, for each tray: what differs, the largest difference among lengths in mm, among
all numbers, and both times. The exit code is 1 where a verdict, a finding or a fault differs or a length by more than
`--within` mm. A checkout may be any whose console script is `app.cli.main:main` and that reads these trays: 1f42016 and
all after it.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SHARED = Path(__file__).resolve().parents[3] / "shared" / "trays"
OWN = ("plain", "noisy", "lens", "height", "crowd", "punched", "deep16", "faces")
# Said of the judging rather than of the tray.
LEFT_OUT = {"software", "judged_at", "settings", "digests"}
# The console script of every checkout, wherever its commands lie.
SCRIPT = "from app.cli.main import main; main()"


@dataclass(frozen=True, slots=True)
class Compared:
    """One tray: differences that are no numbers, the largest of those that are, and processor times (before, after)."""

    tray: Path
    other: tuple[str, ...]
    lengths_mm: float
    numbers: float
    where: str
    seconds: tuple[float, float]


def main() -> int:
    """Compare, and print a row a tray."""
    parser = argparse.ArgumentParser(description="Judges the same trays by two checkouts and compares the results.")
    parser.add_argument("before", type=Path, help="a checkout")
    parser.add_argument("after", type=Path, help="another")
    parser.add_argument("--trays", type=Path, default=SHARED, help="folder with trays, at any depth")
    parser.add_argument("--only", default="", help="trays whose path holds this text")
    parser.add_argument("--own", action="store_true", help="render and compare trays of our own too")
    parser.add_argument("--jobs", type=int, default=1, help="trays judged side by side")
    parser.add_argument("--within", type=float, default=0.0, metavar="MM", help="lengths may differ by this")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        if asked.own:
            render_own(asked.before.resolve(), Path(scratch) / "own", asked.only)
        folders = [asked.trays, Path(scratch) / "own"]
        trays = [shot.parent for folder in folders for shot in sorted(folder.rglob("shot.json"))]
        trays = [tray for tray in trays if asked.only in tray.as_posix()]
        with ThreadPoolExecutor(asked.jobs) as side_by_side:
            both = (asked.before.resolve(), asked.after.resolve())
            rows = []
            for row in side_by_side.map(lambda tray: compare(tray, both), trays):
                rows.append(row)
                print(in_words(row), flush=True)
    ratio = sum(row.seconds[1] for row in rows) / max(sum(row.seconds[0] for row in rows), 1e-9)
    differ = [row for row in rows if row.other or row.lengths_mm > asked.within]
    print(f"{len(rows)} trays, {len(differ)} differ; processor time after over before {ratio:.2f}")
    return 1 if differ or not rows else 0


def in_words(row: Compared) -> str:
    """One tray on a line."""
    told = "; ".join(row.other[:6]) or ("the same" if row.numbers == 0 else f"most at {row.where}")
    before, after = row.seconds
    return f"{row.tray.name:20s} {row.lengths_mm:9.1e} mm {row.numbers:9.1e} {before:6.1f} {after:6.1f} s  {told}"


def render_own(checkout: Path, into: Path, only: str) -> None:
    """One tray of each family that the project renders."""
    for family in OWN:
        if only in f"own-{family}":
            part = ["--part", "DS-182"] if family == "punched" else []
            run(checkout, ["render", "--family", family, "--out", str(into / f"own-{family}"), *part])


def compare(tray: Path, checkouts: tuple[Path, Path]) -> Compared:
    """Judge one tray twice."""
    results, seconds = [], []
    for checkout in checkouts:
        with tempfile.TemporaryDirectory() as out:
            call = ["inspect", str(tray), "--out", out, "--no-pictures"]
            for name in ("part", "station", "limits"):
                call += [f"--{name}", str(tray.parent / f"{name}.toml")]
            seconds.append(run(checkout, call))
            path = min(Path(out).rglob("result.json"), key=lambda found: len(found.parts))
            results.append(json.loads(path.read_text(encoding="utf-8")))
    other, lengths, numbers, where = [], 0.0, 0.0, ""
    for place, before, after in differences(*results):
        if isinstance(before, float | int) and isinstance(after, float | int):
            gap = abs(before - after)
            if gap > numbers:
                numbers, where = gap, place
            lengths = max(lengths, gap) if "_mm" in place else lengths
        else:
            other.append(f"{place}: {before!r} then {after!r}")
    return Compared(tray, tuple(other), lengths, numbers, where, (seconds[0], seconds[1]))


def run(checkout: Path, call: list[str]) -> float:
    """Run a command of a checkout; its processor time in seconds."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join((str(checkout), os.environ.get("PYTHONPATH", "")))}
    with tempfile.TemporaryFile() as said:
        command = [sys.executable, "-c", SCRIPT, *call]
        process = subprocess.Popen(command, cwd=checkout, env=environment, stdout=subprocess.DEVNULL, stderr=said)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            said.seek(0)
            raise SystemExit(f"{checkout}: brightbowl {' '.join(call)}\n{said.read().decode()}")
    return used.ru_utime


def differences(before: Any, after: Any, place: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Every place at which two results differ, with both values; `...` stands for what is not there."""
    if isinstance(before, dict) and isinstance(after, dict):
        for key in sorted({*before, *after} - (LEFT_OUT if not place else set())):
            yield from differences(before.get(key, "..."), after.get(key, "..."), f"{place}/{key}")
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for index, (one, other) in enumerate(zip(before, after, strict=True)):
            yield from differences(one, other, f"{place}/{index}")
    elif isinstance(before, list) and isinstance(after, list):
        yield place, f"{len(before)} entries", f"{len(after)} entries"
    elif before != after:
        yield place, before, after


if __name__ == "__main__":
    sys.exit(main())
