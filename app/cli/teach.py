"""`brightbowl teach`: a works' own judge of marks, taught by what its people say of findings."""

from __future__ import annotations

import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.cli.inspect import keep_to_one_core
from vision.errors import Unusable

if TYPE_CHECKING:
    from app.run import Teaching
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
    that says what would be lost (exit code 1). Nothing changes until somebody releases the draft.
    """
    from app.works import read_works, release_judge, who_acts, withdraw_judge

    place = read_works(works)
    place.part_file(part)
    if what is None:
        _teach(place, part)
        return
    if why is None:
        raise click.UsageError(f"Missing '--why' beside --{what}.")
    acted = who_acts(place, by, "release a judge of marks", why)
    if what == "release":
        judge = release_judge(place, part, acted)
        click.echo(f"{part}: revision {judge.revision} of the works' own judge of marks is in force, by {acted.by}")
        click.echo(
            f"written: {place.judge_file(part)}; trays are judged by it from now on, what was judged keeps its own"
        )
    else:
        withdraw_judge(place, part)
        click.echo(f"{part}: the judge of marks that comes with the program judges again, by {acted.by}")


def _teach(place: Works, part: str) -> None:
    keep_to_one_core()
    from app.report import stamp_of, teaching_page, write_page
    from app.run import labelled_marks, teach
    from app.store import labels
    from app.works import judge_of_marks
    from vision.formats import read_part, shipped_suites

    read_part(place.part_file(part))
    with closing(place.open()) as store:
        given = labels(store, part=part)
        stamp = stamp_of(store, place.folder)
    before = judge_of_marks(place.judge_file(part))
    marks, left_out = [], []
    with click.progressbar(length=len(given), label="reading", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        for found, words in labelled_marks(place, given):
            marks += found
            left_out += [words] if words else []
            bar.update(len(found))
    teaching = teach(before, marks, shipped_suites())
    draft = place.judge_draft(part)
    try:
        draft.parent.mkdir(exist_ok=True)
    except OSError as fault:
        raise Unusable(draft.parent, "", "a folder that can be made", fault.strerror or "") from None
    people = sorted({one.inspector for one in marks})
    about = f"Part {part}, labels of {', '.join(people) or 'nobody'}, taught from revision {before.revision}"
    page = teaching_page(teaching, about, tuple(left_out))
    written = write_page(page, draft.with_suffix(".html"), stamp, pdf=False)
    for line in left_out:
        click.echo(f"brightbowl: {line}", err=True)
    if teaching.draft is None:
        draft.unlink(missing_ok=True)
        raise Unusable(f"judge of marks of {part}", "", teaching.refused, f"no draft; see {written[0]}")
    _write_draft(place, part, teaching, about)
    click.echo(
        f"marks that it would lose: {len(teaching.lost)}; none that it would no longer tell: {len(teaching.gone)}"
    )
    for one in teaching.compared:
        click.echo(
            f"{one.what}: found {_share(one.found[0].value)} -> {_share(one.found[1].value)} of {one.marks}, "
            f"told falsely {_share(one.false[0].value)} -> {_share(one.false[1].value)} of {one.none}"
        )
    click.echo(f"written: {draft}, {', '.join(map(str, written))}")
    click.echo("look at the report; then put the draft into force with --release, by your name and with a reason")


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.1f} %"


def _write_draft(place: Works, part: str, teaching: Teaching, about: str) -> None:
    from dataclasses import replace

    from app.works import next_judge_revision
    from vision.formats import write_judge

    assert teaching.draft is not None
    held = "; ".join(
        f"{one.what}: found {_share(one.found[1].value)} of {one.marks}, told falsely {_share(one.false[1].value)} of "
        f"{one.none}"
        for one in teaching.compared
    )
    made = (f"{about}, {teaching.labels} labels", held, *teaching.draft.made)
    revision = next_judge_revision(place, part)
    write_judge(
        replace(teaching.draft, revision=revision, status="draft", made=made, release=None), place.judge_draft(part)
    )
