"""The sample lot that a study is made on: from result files and a verdicts file, or from a works' store."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vision.errors import Unusable

if TYPE_CHECKING:
    from app.store import Store
    from app.studies import Lot, PersonVerdict
    from app.works import Works

_FOLDER = click.Path(path_type=Path, exists=True, file_okay=False)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the options said: `results` and `verdicts`, or `works` with the lot's name where it holds several."""

    results: Path | None
    verdicts: Path | None
    works: Path | None
    lot: str | None


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """A lot with what people said of it; `said_in` names their source in messages; `works` None for files."""

    lot: Lot
    verdicts: Sequence[PersonVerdict]
    said_in: str
    results: Path
    works: Works | None


def sample_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options that say where the sample lot is."""
    options = (
        click.option("--results", type=_FOLDER, help="Folder that `inspect --out` wrote."),
        click.option(
            "--verdicts",
            type=click.Path(path_type=Path, exists=True, dir_okay=False),
            help="verdicts.csv: what people said.",
        ),
        click.option("--works", type=_FOLDER, help="Works folder, in place of both: a lot of its store."),
        click.option("--lot", help="Which lot of the works, where it holds several."),
    )
    for option in reversed(options):
        command = option(command)
    return command


def sample_lot(asked: Asked) -> Sample:
    """Read the sample lot.

    Raises
    ------
    Unusable
        What was named can't be used, or the works holds several lots and none was named.
    """
    if asked.works is not None:
        if asked.results or asked.verdicts:
            raise click.UsageError("Give --works, or --results and --verdicts; not both.")
        return _from_works(asked.works, asked.lot)
    if asked.results is None or asked.verdicts is None:
        raise click.UsageError("Give --results and --verdicts, or --works in place of both.")
    from app.studies import read_lot
    from vision.formats import read_verdicts

    verdicts = read_verdicts(asked.verdicts)
    return Sample(read_lot(asked.results), verdicts, str(asked.verdicts), asked.results, None)


def _from_works(folder: Path, lot: str | None) -> Sample:
    from app.store import Which, recall_results, standing
    from app.studies import Lot
    from app.works import read_works

    works = read_works(folder)
    with closing(works.open()) as store:
        name, part = _chosen(store, lot)
        trays = tuple(recall_results(store, Which(lot=name, part=part)))
        seen = {tray.tray for tray in trays}
        verdicts = [one for one in standing(store) if one.tray in seen]
    return Sample(Lot(trays), verdicts, works.store_address, works.results, works)


def _chosen(store: Store, lot: str | None) -> tuple[str, str]:
    """The lot's name and its part."""
    from app.store import list_lots

    known = {one.lot: one.parts for one in list_lots(store)}
    if not known:
        raise Unusable("--works", "", "a store that holds a lot; inspect trays into it first", "no lot")
    if lot is None and len(known) > 1:
        raise Unusable("--lot", "", f"one of {', '.join(known)}", "none")
    name = lot if lot is not None else next(iter(known))
    if name not in known:
        raise Unusable("--lot", "", f"one of {', '.join(known)}", name)
    if len(known[name]) != 1:
        raise Unusable("--lot", name, "a lot of one part; study each part alone", ", ".join(known[name]))
    return name, known[name][0]
