"""`brightbowl backup`: a works' store and the files that judge, in one file."""

from pathlib import Path

import click


@click.command()
@click.option(
    "--works", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True, help="Works folder."
)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="The backup; a new file.")
def command(works: Path, out: Path) -> None:
    """Back a works up while it goes on: its store, people, parts, stations, limits and checks; then check the backup.

    Frames and results are not in it: keep copies of those folders by other means.
    """
    from app.works import back_up, read_works

    head = back_up(read_works(works), out)
    click.echo(f"{out}: {out.stat().st_size} bytes, {head.links} links hold; head {head}")
