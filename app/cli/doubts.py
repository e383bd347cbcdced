"""`brightbowl doubts`: what an old store can't tell of its trays, listed for a person to settle."""

from contextlib import closing
from pathlib import Path

import click

WORDS = {
    "split": "trays of several lots bore this name; they are now told apart",
    "claimed": "one shot was filed for several lots, or with and without one; import it from the right one with --move",
    "retaken": "several shots bear this name; the newest counts, as a retake; rename other trays, and judge them",
    "again": "judged several times; what stands may not be the last judging: judge it again, or import its result",
}


@click.command()
@click.option("--works", type=click.Path(file_okay=False, path_type=Path), help="Works folder, with its store.")
@click.option("--store", metavar="URL", help="A store alone: a file of SQLite or postgresql://user@host/name.")
@click.option("--settle", "numbers", type=int, multiple=True, metavar="NUMBER", help="This case is settled.")
@click.option("--by", help="Who settles; without it, whose account this is in works.toml.")
@click.option("--why", metavar="REASON", help="Why, or what was done.")
def command(works: Path | None, store: str | None, numbers: tuple[int, ...], by: str | None, why: str | None) -> None:
    """List the doubtful cases that were found when an old store got its new form, until a person settles them."""
    from app.store import doubts_left, settle_doubts
    from app.works import open_chosen, who_acts

    opened, place = open_chosen(works, store)
    with closing(opened):
        if numbers:
            settled = settle_doubts(opened, numbers, who_acts(place, by, "move a tray", why))
            click.echo(f"{settled} settled")
        left = doubts_left(opened)
        for one in left:
            of_lot = f" of lot {one.lot}" if one.lot else ""
            click.echo(f"{one.id}: tray {one.tray}{of_lot}: {WORDS[one.kind]}")
        click.echo(f"{len(left)} doubtful cases")
