"""`brightbowl gauge`: repeatability and reproducibility from a table of repeated measurements."""

from pathlib import Path

import click

from app.cli.finite import Finite
from app.cli.head_of_works import head_of_works, head_option

NEW_FOLDER = click.Path(path_type=Path, file_okay=False)


@click.command()
@click.argument("table", metavar="TABLE.csv", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--out", type=NEW_FOLDER, required=True, help="Folder for gauge.json and gauge.html.")
@click.option(
    "--tolerance",
    type=Finite(0.0, min_open=True),
    help="Width of the tolerance, in the units of the values.",
)
@click.option("--pdf", is_flag=True, help="Write gauge.pdf too.")
@head_option
def command(table: Path, out: Path, tolerance: float | None, pdf: bool, works: Path | None) -> None:
    """Study a gauge: every operator measures every part in every trial.

    TABLE.csv has the columns part,operator,trial,value. An operator may be a station; with one operator only its
    repeatability is studied.
    """
    from app.report import gauge_page, study_folder, write_page
    from app.studies import gauge_table, json_text, read_gauge_table, study_gauge
    from vision.formats import write_atomic

    measured = read_gauge_table(table)
    study = study_gauge(measured, tolerance)
    page = gauge_page(measured, study, tolerance, table.name)
    stamp = head_of_works(works)
    study_folder(out)
    write_atomic(out / "gauge.json", json_text(gauge_table(measured, study, tolerance)))
    written = [out / "gauge.json", *write_page(page, out / "gauge.html", stamp, pdf=pdf)]
    parts, operators, trials = measured.values.shape
    click.echo(f"{parts} parts, {operators} operators, {trials} trials")
    if study.study_percent is None:
        click.echo("all values are equal: no spread to study")
    else:
        share = study.study_percent["gauge"]
        click.echo(f"gauge {share:.1f} % of the study's spread; distinct categories: {study.distinct_categories}")
    click.echo(f"written: {', '.join(map(str, written))}")
