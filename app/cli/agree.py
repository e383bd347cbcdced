"""`brightbowl agree`: camera against people, and people against each other."""

import sys
from pathlib import Path

import click

from app.cli.finite import Finite
from app.cli.sample_lot import Asked, sample_lot, sample_options

NEW_FOLDER = click.Path(path_type=Path, file_okay=False)
SHARE = Finite(0.0, 1.0)


@click.command()
@sample_options
@click.option("--out", type=NEW_FOLDER, required=True, help="Folder for agreement.json and agreement.html.")
@click.option(
    "--max-missed",
    type=SHARE,
    default=0.02,
    show_default=True,
    help="Of the pieces that people reject, the share that a fit camera may pass.",
)
@click.option(
    "--max-false-alarm",
    type=SHARE,
    default=0.05,
    show_default=True,
    help="Of the pieces that people accept, the share that it may not pass.",
)
@click.option(
    "--min-kappa",
    type=Finite(-1.0, 1.0),
    default=0.75,
    show_default=True,
    help="Kappa that it must reach against the majority.",
)
@click.option("--pdf", is_flag=True, help="Write agreement.pdf too.")
def command(
    results: Path | None,
    verdicts: Path | None,
    works: Path | None,
    lot: str | None,
    blind: str | None,
    in_sight: bool,
    out: Path,
    max_missed: float,
    max_false_alarm: float,
    min_kappa: float,
    pdf: bool,
) -> None:
    """Compare the camera's verdicts with people's, and people's with each other's."""
    from app.report import ReportFolders, agreement_page, study_folder, write_page
    from app.studies import Thresholds, agree, agreement_table, json_text
    from vision.formats import write_atomic

    sample = sample_lot(Asked(results, verdicts, works, lot, blind, in_sight))
    study = agree(sample.lot, sample.samples, Thresholds(max_missed, max_false_alarm, min_kappa))
    said, agreement, judged = study.said, study.agreement, study.fitness
    page = agreement_page(study, sample.lot.trays, ReportFolders(sample.results, out))
    study_folder(out)
    write_atomic(out / "agreement.json", json_text(agreement_table(study)))
    written = [out / "agreement.json", *write_page(page, out / "agreement.html", sample.stamp, pdf=pdf)]
    for one in sample.samples:
        click.echo(f"{one.words} {one.held}".strip())
    click.echo(f"{agreement.pieces} pieces, {len(said.inspectors)} inspectors, {len(study.disputes)} pieces in dispute")
    click.echo(judged.words if judged else "No piece of the results was judged by a person: nothing to compare.")
    click.echo(f"written: {', '.join(map(str, written))}")
    left_out = [
        *sample.lot.unread,
        *(f"{sample.said_in}: tray {u.tray}, piece {u.piece}: {u.reason}" for u in said.unknown),
    ]
    for line in left_out:
        click.echo(f"brightbowl: left out: {line}", err=True)
    if left_out:
        sys.exit(1)
