"""`brightbowl export`: verdicts of people and pieces with their measures, out of a store."""

from contextlib import closing
from pathlib import Path

import click


@click.command()
@click.option("--works", type=click.Path(file_okay=False, path_type=Path), help="works folder, with its store")
@click.option("--store", metavar="URL", help="a store alone: a file of SQLite or postgresql://user@host/name")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="folder for the tables")
@click.option("--lot", help="pieces of this lot only")
@click.option("--part", help="pieces of this part only")
@click.option("--blind", metavar="NAME", help="verdicts of this blind round only, by its own turns")
@click.option("--parquet", is_flag=True, help="write each table as Parquet too")
def command(
    works: Path | None,
    store: str | None,
    out: Path,
    lot: str | None,
    part: str | None,
    blind: str | None,
    parquet: bool,
) -> None:
    """Write verdicts.csv and pieces.csv: every verdict that stands, and every piece as judged last."""
    from app.store import Which, as_parquet, export_pieces, export_verdicts, standing
    from app.works import open_chosen
    from vision.formats import not_written

    opened, _ = open_chosen(works, store)
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise not_written(out, fault) from None
    verdicts, pieces = out / "verdicts.csv", out / "pieces.csv"
    with closing(opened):
        given = export_verdicts(standing(opened, blind=blind), verdicts)
        click.echo(f"{given} verdicts in {verdicts}")
        count = export_pieces(opened, Which(lot=lot, part=part), pieces)
        click.echo(f"{count} pieces in {pieces}")
    if parquet:
        for table in (verdicts, pieces):
            click.echo(f"as Parquet: {as_parquet(table)}")
