"""What goes out of the store as tables: verdicts of people and pieces with their measures, as CSV or Parquet."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from app.store.connection import Store
from app.store.recall import Which, results
from app.store.verdicts import Standing
from vision.files.whole import write_whole
from vision.records.judged import JudgedPiece, TrayResult

VERDICT_COLUMNS = ("tray", "piece", "inspector", "round", "verdict", "defects", "note", "given_at")
PIECE_COLUMNS = (
    "tray",
    "lot",
    "part",
    "station",
    "taken_at",
    "limits_revision",
    "piece",
    "verdict",
    "fault",
    "reasons",
)
Cell = str | int | float | None


def verdicts_csv(verdicts: Iterable[Standing]) -> str:
    """Verdicts that stand as `verdicts.csv` has them."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(VERDICT_COLUMNS)
    for one in verdicts:
        defects = ";".join(one.defects)
        writer.writerow([one.tray, one.piece, one.inspector, one.round, one.verdict, defects, one.note, one.given_at])
    return text.getvalue()


def piece_rows(trays: Iterable[TrayResult]) -> Iterator[dict[str, Cell]]:
    """A row a piece: where it came from, its verdict, and a column a measure (`outline_out_mm.bowl` for a zone's)."""
    for tray in trays:
        for piece in tray.pieces:
            head: dict[str, Cell] = {
                "tray": tray.tray,
                "lot": tray.lot,
                "part": tray.part,
                "station": tray.station,
                "taken_at": tray.taken_at,
                "limits_revision": tray.limits_revision,
                "piece": piece.piece,
                "verdict": piece.verdict,
                "fault": piece.fault,
                "reasons": ";".join(dict.fromkeys(reason.measure for reason in piece.reasons)),
            }
            yield {**head, **_measures(piece)}


def _measures(piece: JudgedPiece) -> dict[str, Cell]:
    cells: dict[str, Cell] = {}
    for name, value in piece.measures.items():
        if isinstance(value, Mapping):
            cells.update({f"{name}.{zone}": one for zone, one in value.items()})
        else:
            cells[name] = value
    return cells


def export_pieces(store: Store, which: Which, path: Path) -> int:
    """Write every piece to a file, CSV or Parquet by its ending; how many there were.

    Raises
    ------
    Unusable
        The file can't be written.
    """
    rows = list(piece_rows(results(store, which)))
    measures = sorted({name for row in rows for name in row} - set(PIECE_COLUMNS))
    _write(path, (*PIECE_COLUMNS, *measures), rows)
    return len(rows)


def export_verdicts(verdicts: Iterable[Standing], path: Path) -> int:
    """Write verdicts to a file, CSV or Parquet by its ending; how many there were.

    Raises
    ------
    Unusable
        The file can't be written.
    """
    given = list(verdicts)
    if path.suffix == ".parquet":
        rows: list[dict[str, Cell]] = [
            {**{name: getattr(one, name) for name in VERDICT_COLUMNS}, "defects": ";".join(one.defects)}
            for one in given
        ]
        _write(path, VERDICT_COLUMNS, rows)
    else:
        write_whole(path, verdicts_csv(given))
    return len(given)


def _write(path: Path, columns: tuple[str, ...], rows: list[dict[str, Cell]]) -> None:
    if path.suffix == ".parquet":
        write_whole(path, _parquet(columns, rows))
        return
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    write_whole(path, text.getvalue())


def _parquet(columns: tuple[str, ...], rows: list[dict[str, Cell]]) -> bytes:
    import pyarrow  # type: ignore[import-untyped]
    import pyarrow.parquet  # type: ignore[import-untyped]

    table = pyarrow.table({name: [row.get(name) for row in rows] for name in columns})
    out = io.BytesIO()
    pyarrow.parquet.write_table(table, out, compression="zstd")
    return out.getvalue()
