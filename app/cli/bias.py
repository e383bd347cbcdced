"""`brightbowl bias`: a measuring system against reference pieces, over their range and over time."""

from pathlib import Path

import click

from app.cli.finite import Finite
from app.cli.head_of_works import head_of_works, head_option

NEW_FOLDER = click.Path(path_type=Path, file_okay=False)
TABLE = click.Path(path_type=Path, exists=True, dir_okay=False)
WIDTH = Finite(0.0, min_open=True)


@click.command()
@click.argument("table", metavar="TABLE.csv", type=TABLE)
@click.option("--out", type=NEW_FOLDER, required=True, help="Folder for bias.json and bias.html.")
@click.option("--tolerance", type=WIDTH, help="Width of the tolerance, in the units of the values.")
@click.option("--resolution", type=WIDTH, help="Smallest step of a reading, in the units of the values.")
@click.option(
    "--gauge",
    "crossed",
    type=TABLE,
    help="Crossed study (columns part,operator,trial,value): operators or stations for the measuring process.",
)
@click.option("--pdf", is_flag=True, help="Write bias.pdf too.")
@head_option
def command(
    table: Path,
    out: Path,
    tolerance: float | None,
    resolution: float | None,
    crossed: Path | None,
    pdf: bool,
    works: Path | None,
) -> None:
    """Study bias, linearity and stability on reference pieces.

    TABLE.csv has the columns piece,reference,reference_u,taken_at,value: a reference value with its standard
    uncertainty (may be empty), when the reading was taken (the same for all readings of a sitting; empty in all lines
    or in none), and the reading.
    """
    from app.report import bias_page, study_folder, write_page
    from app.studies import (
        bias_table,
        json_text,
        measuring_system,
        read_gauge_table,
        read_readings,
        study_bias,
        study_gauge,
    )
    from vision.errors import Unusable
    from vision.formats import write_atomic

    if tolerance is None and (resolution is not None or crossed is not None):
        raise Unusable("--tolerance", "", "a tolerance with --resolution or --gauge: they are held against it", "none")
    study = study_bias(read_readings(table))
    gauge = None if crossed is None else study_gauge(read_gauge_table(crossed), tolerance)
    held = None if tolerance is None else measuring_system(study, tolerance, resolution, gauge)
    stamp = head_of_works(works)
    study_folder(out)
    write_atomic(out / "bias.json", json_text(bias_table(study, held)))
    page = bias_page(study, held, table.name)
    written = [out / "bias.json", *write_page(page, out / "bias.html", stamp, pdf=pdf)]
    click.echo(study.words)
    for name, one in (("system", held.system), ("process", held.process)) if held is not None else ():
        if one is not None:
            low, high = one.ci
            click.echo(
                f"measuring {name}: {one.outcome}; {one.percent:.1f} % ({low:.1f} to {high:.1f}) of the tolerance, "
                f"at most {one.at_most:g} % asked"
            )
    click.echo(f"written: {', '.join(map(str, written))}")
