"""What programs by hand share: their options, and their draws spread over processes."""

from argparse import ArgumentParser
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

One, Made = TypeVar("One"), TypeVar("Made")


def options(words: str | None, many: int, kinds: Iterable[str] = ()) -> tuple[str, int, int]:
    """The kind of table asked for, how many draws of each row, and in how many processes (`--jobs N`)."""
    parser = ArgumentParser(description=(words or "").split("\n", 1)[0])
    choices = tuple(kinds)
    if choices:
        parser.add_argument("kind", choices=choices)
    parser.add_argument("many", nargs="?", type=int, default=many, help="draws of each row")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    given = parser.parse_args()
    return getattr(given, "kind", ""), given.many, given.jobs


Tables = Mapping[str, tuple[Callable[[int, int], None], int]]
"""By kind: what prints a table of so many draws a row in so many processes, and how many draws are usual."""


def print_one_of(tables: Tables, words: str | None) -> None:
    """Print the table asked for."""
    kind, many, jobs = options(words, 0, tables)
    table, usual = tables[kind]
    table(many or usual, jobs)


def spread(work: Callable[[One], Made], rows: Iterable[One], jobs: int) -> Iterable[Made]:
    """What `work` makes of each row, in order, in so many processes."""
    if jobs == 1:
        yield from map(work, rows)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(work, rows)
