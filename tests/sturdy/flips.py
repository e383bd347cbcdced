"""Flips in every page of a store: told in a line, or every answer right.

As a program (`python -m tests.sturdy.flips [--each N]`) it flips bits in every page of a store of SQLite, and in every
stretch of a dump of the same store in PostgreSQL, restored (where its programs are installed), and prints a table.
"""

import argparse
import os
import random
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from app.store import Store, copy_store, list_lots, open_store, recall_results, standing, verify
from app.store.results.filing import file_result
from tests.store.made import made_tray, to_file
from vision.errors import Unusable

PAGE = 4096


@dataclass(frozen=True, slots=True)
class Flipped:
    """What flips came to: told, right all the same, and wrong answers, which must not be."""

    flips: int
    told: int
    right: int
    wrong: int


def filled(file: Path, trays: int) -> None:
    """A store of some trays."""
    with closing(open_store(file)) as store:
        for number in range(trays):
            at = f"2026-11-02T06:{number // 60:02}:{number % 60:02}+00:00"
            file_result(store, to_file(made_tray(f"T-{number}", lot=f"L-{number % 3}", taken_at=at)))


def answers(store: Store) -> object:
    """All that is asked of a store here."""
    return list(recall_results(store)), list_lots(store), list(standing(store)), verify(store, None)


def outcome(place: Path | str, right: object) -> str:
    """Ask a store that may be damaged."""
    try:
        with closing(open_store(place, must_exist=True)) as store:
            return "right" if answers(store) == right else "wrong"
    except Unusable:
        return "told"


def flipped(data: bytes, start: int, end: int, chance: random.Random) -> bytes:
    """One bit of a stretch the other way."""
    made = bytearray(data)
    made[chance.randrange(start, end)] ^= 1 << chance.randrange(8)
    return bytes(made)


def in_every_page(folder: Path, trays: int, each: int, quiet: bool, stride: int = 1) -> Flipped:
    """Flip a bit in each page of a store, some times over.

    Parameters
    ----------
    quiet
        As a disk does it by itself: the file's time stays. Else as a program that writes into it.
    stride
        Flip in every so many pages only.
    """
    good, bad = folder / "good.sqlite", folder / "bad.sqlite"
    filled(good, trays)
    with closing(open_store(good)) as store:
        right = answers(store)
    data, chance, came = good.read_bytes(), random.Random(23), []
    for page in range(0, len(data) // PAGE, stride):
        for _ in range(each):
            for ending in ("", "-sums"):
                shutil.copy2(f"{good}{ending}", f"{bad}{ending}")
            kept = bad.stat()
            bad.write_bytes(flipped(data, page * PAGE, (page + 1) * PAGE, chance))
            if quiet:
                os.utime(bad, ns=(kept.st_atime_ns, kept.st_mtime_ns))
            came.append(outcome(bad, right))
            for ending in ("", "-sums", "-use", "-wal", "-shm"):
                Path(f"{bad}{ending}").unlink(missing_ok=True)
    return Flipped(len(came), came.count("told"), came.count("right"), came.count("wrong"))


def in_a_dump(server: str, folder: Path, trays: int, stretches: int, said: Callable[[str], None]) -> Flipped:
    """Flip a bit in each stretch of a dump of a store in PostgreSQL, restore it, and ask."""
    good = folder / "dumped.sqlite"
    filled(good, trays)
    chance, came = random.Random(29), []
    base = server.rsplit("/", 1)[0]
    _sql(server, "CREATE DATABASE good")
    with closing(open_store(good)) as old, closing(open_store(f"{base}/good")) as new:
        copy_store(old, new)
        right = answers(new)
    dump = subprocess.run(["pg_dump", f"{base}/good"], capture_output=True, check=True).stdout
    for number in range(stretches):
        start, end = (len(dump) * at // stretches for at in (number, number + 1))
        _sql(server, "CREATE DATABASE bad")
        done = subprocess.run(
            ["psql", "-q", "-v", "ON_ERROR_STOP=1", "-1", f"{base}/bad"],
            input=flipped(dump, start, end, chance),
            capture_output=True,
        )
        came.append("told" if done.returncode else outcome(f"{base}/bad", right))
        if came[-1] == "wrong":
            said(f"stretch {number}: {dump[start:end][:80]!r}")
        _sql(server, "DROP DATABASE bad WITH (FORCE)")
    return Flipped(len(came), came.count("told"), came.count("right"), came.count("wrong"))


def _sql(server: str, statement: str) -> None:
    import psycopg

    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(statement)  # type: ignore[arg-type]


def main() -> None:
    """Print the table."""
    from tests.store.postgresql_server import postgresql_server

    parser = argparse.ArgumentParser()
    parser.add_argument("--each", type=int, default=2)
    parser.add_argument("--trays", type=int, default=20)
    given = parser.parse_args()
    print("| where | flips | told | every answer right | wrong |\n|---|---|---|---|---|")
    rows: dict[str, Callable[[Path], Flipped]] = {
        "SQLite, by itself": lambda folder: in_every_page(folder, given.trays, given.each, True),
        "SQLite, written into": lambda folder: in_every_page(folder, given.trays, given.each, False),
    }
    if shutil.which("pg_dump"):

        def dumped(folder: Path) -> Flipped:
            with postgresql_server() as server:
                return in_a_dump(server.url, folder, given.trays, 60, print)

        rows["PostgreSQL, dump restored"] = dumped
    for name, count in rows.items():
        with tempfile.TemporaryDirectory() as folder:
            one = count(Path(folder))
        print(f"| {name} | {one.flips} | {one.told} | {one.right} | {one.wrong} |", flush=True)


if __name__ == "__main__":
    main()
