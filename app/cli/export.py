"""`brightbowl export`: what people said, and pieces with their measures, out of a store."""

from contextlib import closing
from pathlib import Path

import click

from vision.errors import Unusable


@click.command()
@click.option("--works", type=click.Path(file_okay=False, path_type=Path), help="Works folder, with its store.")
@click.option("--store", metavar="URL", help="A store alone: a file of SQLite or postgresql://user@host/name.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="Folder for the tables.")
@click.option("--lot", help="Pieces of this lot only.")
@click.option("--part", help="Pieces of this part only.")
@click.option("--blind", metavar="NAME", help="Verdicts of this blind round only, by its own turns.")
@click.option("--parquet", is_flag=True, help="Write each table as Parquet too.")
def command(
    works: Path | None,
    store: str | None,
    out: Path,
    lot: str | None,
    part: str | None,
    blind: str | None,
    parquet: bool,
) -> None:
    """Write verdicts.csv, pieces.csv and labels.csv: verdicts that stand, pieces as judged last, labels of findings."""
    from app.store import (
        Which,
        as_parquet,
        check_parquet,
        export_labels,
        export_pieces,
        export_verdicts,
        known_parts,
        labels,
        standing,
    )
    from app.works import open_chosen
    from vision.formats import not_written

    if parquet:
        check_parquet()
    with closing(open_chosen(works, store)[0]) as opened:
        parts = known_parts(opened, lot)
        if lot is not None and not parts:
            raise Unusable("--lot", "", "a lot of the store expected; `brightbowl lot` lists them", lot)
        if part is not None and part not in parts:
            raise Unusable("--part", "", f"one of {', '.join(parts) or 'none yet'} expected", part)
        try:
            out.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise not_written(out, fault) from None
        verdicts, pieces = out / "verdicts.csv", out / "pieces.csv"
        given = export_verdicts(standing(opened, blind=blind), verdicts)
        click.echo(f"{given} verdicts in {verdicts}")
        count = export_pieces(opened, Which(lot=lot, part=part), pieces)
        click.echo(f"{count} pieces in {pieces}")
        findings = out / "labels.csv"
        told = export_labels(labels(opened, part=part, lot=lot), findings)
        click.echo(f"{told} labels of findings in {findings}")
    if parquet:
        for table in (verdicts, pieces, findings):
            click.echo(f"as Parquet: {as_parquet(table)}")
