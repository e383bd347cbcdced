"""pieces.csv: a row a piece, a column a measure, for spreadsheets."""

import csv
import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from vision.decide import MEASURES, face_grades
from vision.formats.atomic_write import replacing
from vision.formats.table import spreadsheet_cell
from vision.records import JudgedPiece, Part, TrayResult

_IDENTITY = ("tray", "lot", "part", "station", "taken_at", "limits_revision", "piece", "verdict", "fault")
_FACE = ("face_grades", "face_marks_area_mm2")
_PLACE = ("center_u_px", "center_v_px", "angle_deg")


def write_pieces(path: Path, part: Part, results: Iterable[TrayResult]) -> None:
    """Write `pieces.csv`, whole or not at all, from results that may come one at a time.

    Its columns are the tray's and piece's identity, verdict, fault and reasons, the place, then every known measure,
    `outline_out_mm.bowl` for a zone's, and last the face's marks in another notation (`vision.decide.grades`). A
    missing value is an empty cell.

    Parameters
    ----------
    path
        `pieces.csv`; an old file of this name is replaced.
    part
        The drawing with its zones and scored area.
    results
        Results of this part's trays, in the order of the rows.

    Raises
    ------
    Unusable
        Where it can't be written.
    """
    columns = [*_IDENTITY, "reasons", *_PLACE]
    for measure in MEASURES.values():
        zones = [zone.name for zone in part.zones] if measure.per_zone else []
        columns += [f"{measure.name}.{zone}" for zone in zones] or [measure.name]
    columns += _FACE
    with replacing(path) as file:
        text = io.TextIOWrapper(file, encoding="utf-8", newline="")
        writer = csv.DictWriter(text, columns, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        for result in results:
            writer.writerows(_row(result, piece) for piece in result.pieces)
        text.detach()


def _row(result: TrayResult, piece: JudgedPiece) -> dict[str, Any]:
    row: dict[str, Any] = {
        "tray": result.tray,
        "lot": result.lot,
        "part": result.part,
        "station": result.station,
        "taken_at": result.taken_at,
        "limits_revision": result.limits_revision,
        "piece": piece.piece,
        "verdict": piece.verdict,
        "fault": piece.fault,
        "reasons": ";".join(f"{one.measure}.{one.zone}" if one.zone else one.measure for one in piece.reasons),
    }
    if piece.pose:
        row |= dict(zip(_PLACE, (*piece.pose.center_px, piece.pose.angle_deg), strict=True))
    for name, value in piece.measures.items():
        if isinstance(value, Mapping):
            row |= {f"{name}.{zone}": one for zone, one in value.items()}
        else:
            row[name] = value
    if grades := face_grades(piece):
        row |= dict(zip(_FACE, (grades.text, grades.area_mm2), strict=True))
    return {name: spreadsheet_cell(value) for name, value in row.items()}
