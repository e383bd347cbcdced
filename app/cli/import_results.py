"""`brightbowl import`: results on disk, and verdicts in a table, into a store."""

import sys
from contextlib import closing
from pathlib import Path

import click

_FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)


@click.command()
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.option("--works", type=click.Path(file_okay=False, path_type=Path), help="works folder, with its store")
@click.option("--store", metavar="URL", help="a store alone: a file of SQLite or postgresql://user@host/name")
@click.option("--by", help="who imports; without it, whose account this is in works.toml")
@click.option("--shots", type=_FOLDER, help="where the trays' shots are; without it, WORKS/shots")
@click.option("--verdicts", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="a verdicts.csv to file")
def command(
    folder: Path, works: Path | None, store: str | None, by: str | None, shots: Path | None, verdicts: Path | None
) -> None:
    """File the results in DIR, as `brightbowl inspect` writes them, in a store.

    What is there already stays as it is: importing twice changes nothing, and a result that differs is a new judgement.
    """
    from app.store import bring_in
    from app.works import file_folders, open_chosen, result_folders, who_acts
    from vision.formats import read_verdicts

    said = () if verdicts is None else read_verdicts(verdicts)
    opened, place = open_chosen(works, store)
    who_acts(place, by, "import")
    where = shots or (place.shots if place is not None else None)
    with closing(opened):
        done = file_folders(opened, place, result_folders(folder), [] if where is None else [where])
        brought = bring_in(opened, said)
    click.echo(f"{done.trays} trays in {opened.url}: {done.new} new judgements, {done.known} were there before")
    if verdicts is not None:
        lost = f", {brought.lost} could not be filed" if brought.lost else ""
        click.echo(f"{brought.new} new verdicts from {verdicts}, {brought.known} were there before{lost}")
    failures = [*done.failures, *(f"{verdicts}: {line}" for line in brought.refused)]
    for failure in failures:
        click.echo(f"brightbowl: {failure}", err=True)
    if failures:
        sys.exit(1)
