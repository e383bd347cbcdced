"""`brightbowl tune`: sweep one limit or counting rule on a sample lot and recommend a setting."""

import sys
from pathlib import Path
from typing import Literal

import click

from app.cli.finite import Finite
from app.cli.sample_lot import Asked, sample_lot, sample_options
from vision.errors import Unusable
from vision.records import Severity

FILE = click.Path(path_type=Path, exists=True, dir_okay=False)
NEW_FOLDER = click.Path(path_type=Path, file_okay=False)
NEW_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@sample_options
@click.option("--limits", "limits_file", type=FILE, help="Limits of which one is tuned; a works has its own.")
@click.option("--measure", required=True, help="The measure whose limit is tuned, or a key of [count].")
@click.option("--zone", help="Its zone; without it, the limit for every zone.")
@click.option("--side", type=click.Choice(["max", "min"]), help="Which bound; without it, the one that the limit has.")
@click.option(
    "--class",
    "severity",
    type=click.Choice(["critical", "major", "minor"]),
    default="major",
    show_default=True,
    help="Class of a limit that the file lacks so far.",
)
@click.option("--out", type=NEW_FOLDER, required=True, help="Folder for tuning.json and tuning.html.")
@click.option("--write", "draft_file", type=NEW_FILE, help="Write the next draft of the limits here.")
@click.option(
    "--max-missed",
    type=Finite(0.0, 1.0, min_open=True, max_open=True),
    default=0.05,
    show_default=True,
    help="Bound on missed pieces, of those that people reject.",
)
@click.option(
    "--confidence",
    type=Finite(0.5, 1.0, max_open=True),
    default=0.95,
    show_default=True,
    help="Confidence of that bound.",
)
@click.option(
    "--looks",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="How many measures or settings were tried on these pieces, of which this one is chosen.",
)
@click.option("--cost-missed", type=Finite(0.0), help="Cost of a bad piece that passes.")
@click.option("--cost-scrapped", type=Finite(0.0), help="Cost of a good piece that does not pass.")
@click.option("--bad-share", type=Finite(0.0, 1.0), help="Share of bad pieces expected in production.")
@click.option("--pdf", is_flag=True, help="Write tuning.pdf too.")
def command(
    results: Path | None,
    verdicts: Path | None,
    works: Path | None,
    lot: str | None,
    blind: str | None,
    in_sight: bool,
    limits_file: Path | None,
    measure: str,
    zone: str | None,
    side: Literal["max", "min"] | None,
    severity: Severity,
    out: Path,
    draft_file: Path | None,
    max_missed: float,
    confidence: float,
    looks: int,
    cost_missed: float | None,
    cost_scrapped: float | None,
    bad_share: float | None,
    pdf: bool,
) -> None:
    """Study one setting on a sample lot that people judged, and recommend where to put it.

    The recommended setting is the cheapest (or, without costs, the one of fewest false alarms) among those that keep
    the promise on missed pieces.
    """
    from app.report import ReportFolders, risk_words, study_folder, tuning_page, write_page
    from app.studies import (
        Costs,
        Promise,
        Question,
        Task,
        columns_of,
        json_text,
        part_as_seen,
        risks_table,
        study_lot_risks,
        tune,
        tuning_table,
        with_setting,
    )
    from vision.formats import read_limits, write_atomic, write_limits

    costs = None
    if cost_missed is not None and cost_scrapped is not None and bad_share is not None:
        costs = Costs(cost_missed, cost_scrapped, bad_share)
    elif (cost_missed, cost_scrapped, bad_share) != (None, None, None):
        raise Unusable("--cost-missed", "", "--cost-missed, --cost-scrapped and --bad-share together, or none of them")
    sample = sample_lot(Asked(results, verdicts, works, lot, blind, in_sight))
    if limits_file is None:
        if sample.works is None:
            raise click.UsageError("Missing '--limits'.")
        limits_file = sample.works.limits_file(sample.lot.trays[0].part)
    limits = read_limits(limits_file, part_as_seen(sample.lot))
    question = Question(measure, zone, side, severity, Task(Promise(max_missed, confidence, looks), costs))
    study, unknown = tune(sample.lot, sample.samples, limits, question)
    risks = study_lot_risks(columns_of(sample.lot.pieces()), limits)
    page = tuning_page(study, sample.samples, sample.lot.trays, ReportFolders(sample.results, out), risks)
    study_folder(out)
    write_atomic(out / "tuning.json", json_text(tuning_table(study, sample.samples) | risks_table(risks)))
    written = [out / "tuning.json", *write_page(page, out / "tuning.html", sample.stamp, pdf=pdf)]
    recommended = study.tuning.recommended
    for one in sample.samples:
        click.echo(one.words)
    click.echo(recommended.words)
    if risks.risks:
        click.echo(f"at the limits as they are, {risk_words(risks.risks[0])}")
    failures = [
        *sample.lot.unread,
        *(f"{sample.said_in}: tray {u.tray}, piece {u.piece}: {u.reason}" for u in unknown),
    ]
    if draft_file is not None and recommended.setting is not None:
        write_limits(with_setting(limits, study.target, recommended.setting, study.zones), draft_file)
        written.append(draft_file)
    elif draft_file is not None:
        failures.append(f"{draft_file}: not written, since no setting is recommended")
    click.echo(f"written: {', '.join(map(str, written))}")
    for line in failures:
        click.echo(f"brightbowl: {line}", err=True)
    if failures:
        sys.exit(1)
