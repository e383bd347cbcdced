"""`brightbowl teach`: a works' own judge of marks, taught by what its people say of findings."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.cli.inspect import keep_to_one_core
from vision.errors import Unusable

if TYPE_CHECKING:
    from app.works import Works


@click.command()
@click.option(
    "--works", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True, help="Works folder."
)
@click.option("--part", required=True, help="The part whose marks it is to judge.")
@click.option("--release", "what", flag_value="release", help="Put the draft into force.")
@click.option("--withdraw", "what", flag_value="withdraw", help="Judge by the judge that comes with the program again.")
@click.option("--by", help="Who releases or withdraws; without it, whose account this is in works.toml.")
@click.option("--why", help="Why; kept in the judge's file.")
def command(works: Path, part: str, what: str | None, by: str | None, why: str | None) -> None:
    """Teach the judge of marks by the labels that people gave on the review page: a mark, or none.

    At least 100 labels are needed, 20 of marks and of none. What comes of it is a draft with a report, or a refusal
    that says what would be lost (exit code 2). Nothing changes until somebody releases the draft.
    """
    from app.run import release_taught
    from app.works import read_works, who_acts, withdraw_judge

    place = read_works(works)
    place.part_file(part)
    if what is None:
        _teach(place, part)
        return
    if why is None:
        raise click.UsageError(f"Missing '--why' beside --{what}.")
    acted = who_acts(place, by, "release a judge of marks", why)
    if what == "release":
        judge = release_taught(place, part, acted)
        click.echo(f"{part}: revision {judge.revision} of the works' own judge of marks is in force, by {acted.by}")
        click.echo(
            f"written: {place.judge_file(part)}; trays are judged by it from now on, what was judged keeps its own"
        )
    else:
        withdraw_judge(place, part)
        click.echo(f"{part}: the judge of marks that comes with the program judges again, by {acted.by}")


def _teach(place: Works, part: str) -> None:
    keep_to_one_core()
    from app.run import teach_part
    from vision.formats import read_part

    read_part(place.part_file(part))
    with closing(place.open()) as store:
        taught = teach_part(store, place, part)
    for line in taught.left_out:
        click.echo(f"brightbowl: {line}", err=True)
    if taught.teaching.draft is None:
        raise Unusable(f"judge of marks of {part}", "", taught.teaching.refused, f"no draft; see {taught.report}")
    lost, gone = len(taught.teaching.lost), len(taught.teaching.gone)
    click.echo(f"marks that it would lose: {lost}; no longer told, of what is none: {gone}")
    for words in taught.teaching.words:
        click.echo(words)
    click.echo(f"written: {place.judge_draft(part)}, {taught.report}")
    click.echo("look at the report; then put the draft into force with --release, by your name and with a reason")
