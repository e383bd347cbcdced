"""The poison drill: folders of every kind of poison among good trays while the watcher is killed at random moments.

As a program (`python -m tests.sturdy.poison_drill`) it makes 200 good trays, one folder of each kind of poison, and
twenty deaths, and prints what became of them.
"""

import argparse
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from app.works.folder import Works
from tests.run.waiting import SOON_S, until
from tests.watch.poison import KINDS
from tests.watch.watching import drop, filed, judgements, make_works

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class Drilled:
    """What a drill came to: good trays filed, filed more than once, folders set aside and why, set aside twice."""

    deaths: tuple[int, ...]
    filed: tuple[str, ...]
    twice: int
    aside: dict[str, str]
    aside_twice: int
    code: int


def drill(folder: Path, good: int, kinds: Sequence[str], kills: int, seed: int) -> Drilled:
    """Fill an inbox with good trays and poison, mixed, and let a watcher be killed over it again and again."""
    works, shot = make_works(folder / "made")
    inbox, made = folder / "inbox", folder / "poison"
    inbox.mkdir()
    chance = random.Random(seed)
    every = [*range(good), *kinds]
    chance.shuffle(every)
    for number, one in enumerate(every):
        if isinstance(one, int):
            drop(shot, inbox, f"T-{one:03}")
            continue
        KINDS[one](drop(shot, made, f"P-{number:03}"))
        (poison,) = made.iterdir()
        poison.rename(inbox / poison.name)
    command = [sys.executable, "-m", "tests.watch.watching", works.folder, inbox, str(kills), str(seed)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, start_new_session=True) as running:
        try:
            assert running.stdout is not None
            *deaths, alive = map(int, running.stdout.readline().split())
            until(lambda: judgements(works) >= good and len(_aside(works)) >= len(kinds))
            os.kill(alive, signal.SIGTERM)
            code = running.wait(SOON_S)
        finally:
            with suppress(ProcessLookupError):
                os.killpg(running.pid, signal.SIGKILL)
    rows = _aside(works)
    return Drilled(
        tuple(deaths),
        tuple(filed(works)),
        judgements(works) - len(filed(works)),
        dict(rows),
        len(rows) - len(dict(rows)),
        code,
    )


def _aside(works: Works) -> list[tuple[str, str]]:
    with closing(sqlite3.connect(f"file:{works.folder / works.store_address}?mode=ro", uri=True)) as store:
        return [(str(folder), str(why)) for folder, why in store.execute("SELECT folder, why FROM set_aside")]


def main() -> None:
    """Run the whole drill and print a row of the page."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--good", type=int, default=200)
    parser.add_argument("--kills", type=int, default=20)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        came = drill(Path(folder), given.good, list(KINDS), given.kills, 23)
    reasons = sum(bool(why) and why.isprintable() for why in came.aside.values())
    heads = (
        "good trays",
        "filed",
        "twice",
        "kinds of poison",
        "set aside, with reasons",
        "twice",
        "deaths",
        "exit code",
    )
    print(f"| {' | '.join(heads)} |")
    print("|---" * len(heads) + "|")
    print(
        f"| {given.good} | {len(came.filed)} | {came.twice} | {len(KINDS)} | {reasons} | {came.aside_twice} "
        f"| {len(came.deaths)} | {came.code} |"
    )
    for name, why in sorted(came.aside.items()):
        print(f"{Path(name).name}: {why.rpartition('/')[2][:150]}")


if __name__ == "__main__":
    main()
