"""`brightbowl new`: a works folder, with everything in its place."""

from pathlib import Path

import click


@click.command()
@click.argument("works", type=click.Path(path_type=Path))
@click.option("--name", help="What the works is called; without it, the folder's name.")
def command(works: Path, name: str | None) -> None:
    """Make the works folder WORKS: parts, stations, limits, shots, results, and an empty store.

    Nothing is overwritten: WORKS must be new or empty.
    """
    from app.works import WORKS_FILE, new_works

    made = new_works(works, name or works.resolve().name)
    click.echo(f"made {made.folder}: {made.name}")
    click.echo(f"  people and their roles: {made.folder / WORKS_FILE}")
    click.echo(
        "  next: parts/NAME/part.toml with its drawing, stations/NAME.toml (brightbowl calibrate), limits/NAME.toml,"
    )
    click.echo(f"  then: brightbowl inspect SHOTS --works {works}; brightbowl serve --works {works}")
