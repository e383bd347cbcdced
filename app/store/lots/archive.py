"""A sealed lot as one file of Parquet, a row a piece: readable without this program, and judged again from it alone.

Beside columns for whoever reads it with other tools each row holds the piece's own result, as `result.json` has it.
"""

import io
from collections.abc import Iterator, Mapping
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from app.store.database.connection import Store
from app.store.evidence.chain import head_of
from app.store.evidence.files import file_kept, kept_files
from app.store.lots.state import LotState
from app.store.results.recall import Which, recall_results
from app.studies import Lot, PieceKey
from vision.errors import Unusable
from vision.formats import result_as_json, result_from_json, write_atomic
from vision.records import TrayResult, Value

_FORMAT, _HEAD, _RESULT = b"brightbowl.format", b"brightbowl.head", "result"


def check_parquet() -> None:
    """Refuse what needs the library for Parquet where that is not installed.

    Raises
    ------
    Unusable
        It is not.
    """
    if find_spec("pyarrow") is None:
        raise Unusable("Parquet", "", "the library for Parquet: pip install brightbowl[parquet]", "no pyarrow")


def archive_lot(store: Store, state: LotState, file: Path, kept: str) -> int:
    """Write a released lot's pieces of one part as they stand; how many. The file's digest goes into the chain.

    Parameters
    ----------
    store
        An open store.
    state
        The lot's, as `lot_state` says.
    file
        A Parquet file to write.
    kept
        The file's path as the store keeps paths.

    Returns
    -------
    int
        Number of pieces.

    Raises
    ------
    Unusable
        The lot is not sealed: not released, or something came after that; or the file can't be written.
    """
    check_parquet()
    import pyarrow  # type: ignore[import-untyped]
    import pyarrow.parquet  # type: ignore[import-untyped]

    if state.standing != "released":
        expected = "a lot that was released, and nothing came after; release it, then archive it"
        raise Unusable(f"lot {state.lot}", "--archive", expected, state.standing)
    rows = [
        row for result in recall_results(store, Which(lot=state.lot, part=state.part)) for row in _rows(result, state)
    ]
    names = dict.fromkeys(name for row in rows for name in row if name != _RESULT)
    table = pyarrow.table({name: [row.get(name) for row in rows] for name in (*names, _RESULT)})
    with store.read() as connection:
        head = head_of(connection)
    out = io.BytesIO()
    told = {_FORMAT: b"1", _HEAD: str(head).encode()}
    pyarrow.parquet.write_table(table.replace_schema_metadata(told), out, compression="zstd")
    file.parent.mkdir(parents=True, exist_ok=True)
    write_atomic(file, out.getvalue())
    with store.write() as connection:
        file_kept(connection, kept_files([(kept, file)]))
    return len(rows)


def _rows(result: TrayResult, state: LotState) -> Iterator[dict[str, Any]]:
    for piece in result.pieces:
        own = replace(result, pieces=(piece,))
        yield {
            "lot": result.lot,
            "part": result.part,
            "tray": result.tray,
            "piece": piece.piece,
            "station": result.station,
            "taken_at": result.taken_at,
            "judged_at": result.judged_at,
            "limits_revision": result.limits_revision,
            "verdict": piece.verdict,
            "fate": state.fates[PieceKey(result.tray, piece.piece)],
            "fault": piece.fault,
            **_columns(piece.measures, ""),
            **_columns(piece.uncertainties, "u_"),
            _RESULT: result_as_json(own),
        }


def _columns(values: Mapping[str, Value], before: str) -> dict[str, float | None]:
    """Values by the names that `pieces.csv` gives them."""
    found: dict[str, float | None] = {}
    for name, value in values.items():
        if isinstance(value, Mapping):
            found |= {f"{before}{name}.{zone}": one for zone, one in value.items()}
        else:
            found[f"{before}{name}"] = value
    return found


def read_archive(file: Path) -> Lot:
    """The lot that `archive_lot` wrote, its trays in the order of the file.

    Parameters
    ----------
    file
        One that `archive_lot` wrote.

    Returns
    -------
    Lot
        The results of its trays.

    Raises
    ------
    Unusable
        It is no such file.
    """
    check_parquet()
    import pyarrow.lib  # type: ignore[import-untyped]
    import pyarrow.parquet

    expected = "a lot archived by `brightbowl lot LOT --archive`"
    try:
        table = pyarrow.parquet.read_table(file)
    except (OSError, pyarrow.lib.ArrowInvalid) as fault:
        raise Unusable(file, "", expected, str(fault).splitlines()[0]) from None
    if (table.schema.metadata or {}).get(_FORMAT) != b"1":
        raise Unusable(file, "format", f"{expected}, of format 1")
    trays: dict[str, TrayResult] = {}
    for text in table.column(_RESULT).to_pylist():
        one = result_from_json(text, file)
        before = trays.get(one.tray)
        trays[one.tray] = one if before is None else replace(before, pieces=(*before.pieces, *one.pieces))
    return Lot(tuple(trays.values()))
