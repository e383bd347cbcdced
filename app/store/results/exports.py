"""What goes out of the store as tables: what people said, and pieces with their measures, as CSV or Parquet."""

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path

import numpy as np
from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.lots.archive import check_parquet
from app.store.people.labels import FindingLabel
from app.store.people.verdicts import Standing
from app.store.results.recall import Which, recall_results
from vision.formats import COLUMNS, spreadsheet_cell, write_atomic, write_pieces
from vision.records import Part, TrayResult, Zone

LABEL_COLUMNS = (
    *("tray", "piece", "part", "station", "lot", "taken_at", "kind", "x_mm", "y_mm", "probability"),
    *("label", "inspector", "shown_because", "share"),
)


def verdicts_csv(verdicts: Iterable[Standing]) -> str:
    """Verdicts that stand as `verdicts.csv` has them."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in verdicts:
        defects = ";".join(one.defects)
        row = [one.tray, one.piece, one.inspector, one.round, one.verdict, defects, one.note, one.given_at]
        writer.writerow(map(spreadsheet_cell, row))
    return text.getvalue()


def export_verdicts(verdicts: Iterable[Standing], path: Path) -> int:
    """Write verdicts to a CSV file; how many there were.

    Parameters
    ----------
    verdicts
        As `standing` says.
    path
        A CSV file to write.

    Returns
    -------
    int
        Number of verdicts.

    Raises
    ------
    Unusable
        The file can't be written.
    """
    given = list(verdicts)
    write_atomic(path, verdicts_csv(given))
    return len(given)


def export_labels(labels: Iterable[FindingLabel], path: Path) -> int:
    """Write what people said of single findings to a CSV file; how many there were.

    Parameters
    ----------
    labels
        As `labels` says.
    path
        A CSV file to write.

    Returns
    -------
    int
        Number of labels.

    Raises
    ------
    Unusable
        The file can't be written.
    """
    text, count = io.StringIO(), 0
    writer = csv.DictWriter(text, LABEL_COLUMNS, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for one in labels:
        writer.writerow({name: spreadsheet_cell(value) for name, value in asdict(one).items()})
        count += 1
    write_atomic(path, text.getvalue())
    return count


def export_pieces(store: Store, which: Which, path: Path) -> int:
    """Write every piece, as judged last, to a CSV file, a column a measure; how many there were.

    Parameters
    ----------
    store
        An open store.
    which
        Lots, parts or trays.
    path
        A CSV file to write.

    Returns
    -------
    int
        Number of pieces.

    Raises
    ------
    Unusable
        The file can't be written.
    """
    count = 0

    def counted() -> Iterator[TrayResult]:
        nonlocal count
        for result in recall_results(store, which):
            count += len(result.pieces)
            yield result

    write_pieces(path, _all_zones(store), counted())
    return count


def as_parquet(table: Path) -> Path:
    """A CSV file of this module once more as Parquet, beside it.

    Parameters
    ----------
    table
        The CSV file.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    Unusable
        The library for Parquet is not there, or the file can't be written.
    """
    check_parquet()
    import pyarrow.csv  # type: ignore[import-untyped]
    import pyarrow.parquet  # type: ignore[import-untyped]

    out = io.BytesIO()
    parsing = pyarrow.csv.ParseOptions(newlines_in_values=True)  # notes may have several lines
    pyarrow.parquet.write_table(pyarrow.csv.read_csv(table, parse_options=parsing), out, compression="zstd")
    path = table.with_suffix(".parquet")
    write_atomic(path, out.getvalue())
    return path


def _all_zones(store: Store) -> Part:
    """No real part: the zones of all parts in the store together, which is what columns are made from."""
    query = select(schema.measure.c.zone).where(schema.measure.c.zone != "").distinct().order_by(schema.measure.c.zone)
    with store.read() as connection:
        zones = tuple(Zone(name, (0.0, 1.0)) for name in connection.execute(query).scalars())
    return Part("", "", np.zeros((0, 2)), (), zones, None)
