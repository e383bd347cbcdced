"""`brightbowl import`: results on disk, and verdicts in a table, into a store."""

import sys
from contextlib import closing
from pathlib import Path
from typing import Literal

import click

from vision.errors import Unusable

_FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)


@click.command()
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.option("--works", type=click.Path(file_okay=False, path_type=Path), help="Works folder, with its store.")
@click.option("--store", metavar="URL", help="A store alone: a file of SQLite or postgresql://user@host/name.")
@click.option("--by", help="Who imports; without it, whose account this is in works.toml.")
@click.option("--why", metavar="REASON", help="Why, with --move, --retake or --stand.")
@click.option("--move", "chosen", flag_value="move", help="The trays belong to the name and lot that the results say.")
@click.option("--retake", "chosen", flag_value="retake", help="The trays were photographed again: the results count.")
@click.option("--stand", "chosen", flag_value="stand", help="The results stand, although later ones are filed.")
@click.option("--trial", is_flag=True, help="Keep the results as trials, which never count.")
@click.option("--shots", type=_FOLDER, help="Where the trays' shots are; without it, WORKS/shots.")
@click.option(
    "--verdicts", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="A verdicts.csv to file."
)
def command(
    folder: Path,
    works: Path | None,
    store: str | None,
    by: str | None,
    why: str | None,
    chosen: Literal["move", "retake", "stand"] | None,
    trial: bool,
    shots: Path | None,
    verdicts: Path | None,
) -> None:
    """File the results in DIR, as `brightbowl inspect` writes them, in a store.

    What is there already stays as it is: importing twice changes nothing, and a result stands only if it was judged
    later than what stands. Where only a person can say what a result is, nothing is changed and a line says what to do.
    """
    from app.store import Chosen, bring_in
    from app.works import Filing, file_folders, open_chosen, result_folders, shots_in_use, who_acts
    from vision.formats import read_verdicts

    said = () if verdicts is None else read_verdicts(verdicts)
    if chosen is not None and (why is None or not why.strip()):
        raise Unusable(f"--{chosen}", "", "--by NAME and --why REASON with it; say who says so, and why")
    opened, place = open_chosen(works, store)
    acted = who_acts(place, by, "import" if chosen is None else "move a tray", why)
    word = None if chosen is None else Chosen(chosen, acted.by, acted.why, acted.known)
    where = shots or (place.shots if place is not None else None)
    with closing(opened), shots_in_use(place):
        how = Filing(() if where is None else (where,), chosen=word, trial=trial)
        done = file_folders(opened, place, result_folders(folder), how)
        brought = bring_in(opened, said)
    as_trials = " as trials" if trial else ""
    click.echo(
        f"{done.trays} trays in {opened.url}{as_trials}: {done.new} new judgements, {done.known} were there before; "
        f"what stands changed on {done.changed}"
    )
    if done.stayed:
        names = ", ".join(done.stayed)
        click.echo(f"filed, but later judgings stand (--stand --by NAME --why REASON turns that round): {names}")
    if done.unproven:
        click.echo(f"unproven, since they don't say by what they were judged: {done.unproven} of them")
    if verdicts is not None:
        lost = f", {brought.lost} could not be filed" if brought.lost else ""
        click.echo(f"{brought.new} new verdicts from {verdicts}, {brought.known} were there before{lost}")
    failures = [*done.failures, *(f"{verdicts}: {line}" for line in brought.refused)]
    for failure in failures:
        click.echo(f"brightbowl: {failure}", err=True)
    if failures:
        sys.exit(1)
