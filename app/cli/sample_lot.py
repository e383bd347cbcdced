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
    from app.report import Stamp
    from app.store import Store
    from app.studies import Lot, Sample
    from app.works import Works

_FOLDER = click.Path(path_type=Path, exists=True, file_okay=False)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the options said: `results` and `verdicts`, or `works` with the lot's name where it holds several.

    `blind`: verdicts of this blind round only; `in_sight`: all that stand, also those given with the camera's in sight.
    """

    results: Path | None
    verdicts: Path | None
    works: Path | None
    lot: str | None
    blind: str | None
    in_sight: bool


@dataclass(frozen=True, slots=True, eq=False)
class SampleLot:
    """A lot with what people said of it; `said_in` names their source in messages; `works` None for files.

    `stamp`: the head of the chain over all that was filed, for the report.
    """

    lot: Lot
    samples: Sequence[Sample]
    said_in: str
    results: Path
    works: Works | None
    stamp: Stamp | None = None


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
        click.option("--blind", metavar="ROUND", help="Verdicts of this blind round; without it, of all the lot's."),
        click.option(
            "--in-sight",
            is_flag=True,
            help="All verdicts that stand, also those given with the camera's verdict in sight; the report says so.",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


def sample_lot(asked: Asked) -> SampleLot:
    """Read the sample lot.

    Raises
    ------
    Unusable
        What was named can't be used, or the works holds several lots and none was named.
    """
    if asked.works is not None:
        if asked.results or asked.verdicts:
            raise click.UsageError("Give --works, or --results and --verdicts; not both.")
        if asked.blind is not None and asked.in_sight:
            raise click.UsageError("Give --blind or --in-sight; not both.")
        return _from_works(asked.works, asked)
    if asked.results is None or asked.verdicts is None:
        raise click.UsageError("Give --results and --verdicts, or --works in place of both.")
    if asked.blind is not None or asked.in_sight:
        raise click.UsageError("--blind and --in-sight ask for --works: a table does not say how it was made.")
    from app.studies import Sample, read_lot
    from vision.formats import read_verdicts

    table = Sample("", "table", tuple(read_verdicts(asked.verdicts)))
    return SampleLot(read_lot(asked.results), [table], str(asked.verdicts), asked.results, None)


def _from_works(folder: Path, asked: Asked) -> SampleLot:
    from app.report import stamp_of
    from app.store import Choice, Which, recall_results, samples_of
    from app.studies import Lot
    from app.works import read_works

    works = read_works(folder)
    with closing(works.open()) as store:
        name, part = _chosen(store, asked.lot)
        trays = tuple(recall_results(store, Which(lot=name, part=part)))
        samples = samples_of(store, name, part, Choice(asked.blind, asked.in_sight))
        stamp = stamp_of(store, folder)
    return SampleLot(Lot(trays), samples, works.store_address, works.results, works, stamp)


def _chosen(store: Store, lot: str | None) -> tuple[str, str]:
    """The lot's name and its part."""
    from app.store import LISTED, known_parts, list_lots

    known = {one.lot: one.parts for one in list_lots(store, None if lot is None else LISTED)}
    if lot is not None and known_parts(store, lot):
        known[lot] = known_parts(store, lot)
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
