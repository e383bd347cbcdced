"""`brightbowl restore`: a backup back into a works folder, or into another database."""

import sys
from pathlib import Path

import click


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--works", type=click.Path(file_okay=False, path_type=Path), required=True, help="Works folder, new or in use."
)
@click.option("--by", help="Who restores; without it, whose account this is in works.toml.")
def command(file: Path, works: Path, by: str | None) -> None:
    """Bring a backup back, then file the results in the works folder that are newer than it.

    A store that is there is set aside. With a store in PostgreSQL named in works.toml, which must be empty, the works
    moves there.
    """
    from app.works import WORKS_FILE, read_works, restore, who_acts

    if (works / WORKS_FILE).is_file():
        who_acts(read_works(works), by, "restore")
    done = restore(file, works)
    click.echo(f"{works}: {done.head.links} links brought back, all hold; head {done.head}")
    if done.aside is not None:
        click.echo(f"the store that was there: {done.aside}")
    for name in done.kept:
        click.echo(f"kept as it is, though the backup has another: {name}")
    failures: tuple[str, ...] = ()
    if done.newer is not None:
        click.echo(f"results newer than the backup: {done.newer.new} judgements filed again from {works / 'results'}")
        click.echo("verdicts and decisions newer than the backup are not in it: look at the store set aside")
        failures = done.newer.failures
    for failure in failures:
        click.echo(f"brightbowl: {failure}", err=True)
    if failures:
        sys.exit(1)
