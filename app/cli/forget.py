"""`brightbowl forget`: frames of passed pieces, by the rule of the works."""

import sys
from contextlib import closing
from pathlib import Path

import click


@click.command()
@click.option(
    "--works", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True, help="Works folder."
)
@click.option("--dry-run", is_flag=True, help="Tell what would be forgotten; nothing is changed.")
@click.option("--by", help="Who forgets; without it, whose account this is in works.toml.")
def command(works: Path, dry_run: bool, by: str | None) -> None:
    """Forget frames that show passed pieces alone, once they are old enough by [keep] of works.toml.

    A share of them, drawn once for all, stays for ever, as do all of trays with a flagged piece, a verdict of a person
    or a place in a blind round, of lots on hold, and of trays in doubt. What was forgotten stays in the chain, with the
    digest of each file; results and their pictures stay too.
    """
    from app.works import forget, plan, read_works, who_acts

    place = read_works(works)
    with closing(place.open()) as store:
        planned = plan(store, place) if dry_run else forget(store, place, who_acts(place, by, "forget frames"))
    word = "would be forgotten" if dry_run else "forgotten"
    size = f"{planned.bytes / 1e9:.3f} GB"
    click.echo(f"frames of {len(planned.due)} trays {word}, {size} ({planned.keep.words})")
    for one in planned.due:
        click.echo(f"{one.tray}: {one.folder}")
    if planned.drawn:
        click.echo(f"{planned.drawn} more are old enough and stay by the draw")
    for line in planned.left:
        click.echo(f"brightbowl: {line}", err=True)
    if planned.left:
        sys.exit(1)
