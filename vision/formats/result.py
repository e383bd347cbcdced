"""result.json: what was judged on one tray."""

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from vision.decide import unfounded
from vision.errors import Unusable
from vision.formats.atomic_write import write_atomic
from vision.formats.corrections import correction_table
from vision.formats.findings import finding_of, finding_table
from vision.formats.result_tables import PieceTable, ResultFile
from vision.formats.strict import as_json, read_json
from vision.records import (
    FIRST_DETECTION,
    Detection,
    Digests,
    JudgedPiece,
    JudgeUsed,
    Pose,
    Reason,
    SeenMap,
    SettingsUsed,
    TrayFinding,
    TrayResult,
    Value,
)


def read_result(path: Path) -> TrayResult:
    """Read a tray's result.

    Parameters
    ----------
    path
        `result.json`.

    Returns
    -------
    TrayResult
        What was measured and judged on the tray.

    Raises
    ------
    Unusable
        Naming the key at fault.
    """
    return _result(read_json(path, ResultFile), path)


def result_from_json(text: str, where: Path) -> TrayResult:
    """The result that `result_as_json` wrote down.

    Parameters
    ----------
    text
        A result as `result.json` holds it.
    where
        What the text came from, for errors.

    Returns
    -------
    TrayResult
        What was measured and judged on the tray.

    Raises
    ------
    Unusable
        Naming the key at fault.
    """
    return _result(as_json(where, text, ResultFile), where)


def _result(table: ResultFile, path: Path) -> TrayResult:
    pieces = tuple(_piece(row, table.detection or FIRST_DETECTION) for row in table.pieces)
    _check_pieces(path, pieces)
    return TrayResult(
        software=table.software,
        tray=table.tray,
        lot=table.lot,
        part=table.part,
        station=table.station,
        taken_at=table.taken_at,
        limits_revision=table.limits_revision,
        pieces=pieces,
        tray_findings=tuple(TrayFinding(row.kind, row.center_px, row.detail) for row in table.tray_findings),
        process=table.process,
        detection=table.detection,
        rate=table.rate,
        limits_standing=table.limits_standing,
        judged_at=table.judged_at,
        digests=None if table.digests is None else Digests(**dict(table.digests)),
        retake=table.retake,
        settings=None if table.settings is None else SettingsUsed(**dict(table.settings)),
        correction=None if table.correction is None else table.correction.record(),
        judge=None if table.judge is None else JudgeUsed(**dict(table.judge)),
    )


def _check_pieces(path: Path, pieces: tuple[JudgedPiece, ...]) -> None:
    """Believe no verdict that does not follow from what stands beside it."""
    seen: set[int] = set()
    for number, piece in enumerate(pieces, 1):
        if piece.piece in seen:
            raise Unusable(path, f"pieces[{number}].piece", "each piece once expected", f"{piece.piece} again")
        seen.add(piece.piece)
        if wrong := unfounded(piece):
            expected = "a verdict that follows from what stands beside it expected; judge the tray again"
            raise Unusable(path, f"pieces[{number}].verdict", expected, wrong)


def _piece(row: PieceTable, detection: Detection) -> JudgedPiece:
    return JudgedPiece(
        piece=row.piece,
        verdict=row.verdict,
        reasons=tuple(Reason(**dict(reason)) for reason in row.reasons),
        fault=row.fault,
        pose=Pose(**dict(row.pose)) if row.pose else None,
        measures=row.measures or {},
        uncertainties=row.uncertainties or {},
        findings=tuple(finding_of(finding) for finding in row.findings),
        counted=tuple(getattr(finding, "counted", False) for finding in row.findings),
        detection=detection,
        seen=SeenMap(**dict(row.face_seen_map)) if row.face_seen_map else None,
        places=row.places,
    )


def write_result(result: TrayResult, path: Path) -> None:
    """Write a tray's result, whole or not at all; what `read_result` reads back is equal.

    Parameters
    ----------
    result
        What was measured and judged on a tray.
    path
        `result.json`; an old file of this name is replaced.

    Raises
    ------
    Unusable
        Where it can't be written.
    ValueError
        Where a number is not finite.

    Examples
    --------
    >>> from vision.records import TrayResult
    >>> result = TrayResult("example", "T-1", None, "TS-135", "ST-1", None, 1, (), ())
    >>> write_result(result, Path("result.json"))
    >>> read_result(Path("result.json")) == result
    True
    """
    write_atomic(path, result_as_json(result) + "\n")


def result_as_json(result: TrayResult) -> str:
    """A result as `result.json` holds it, on one line.

    Parameters
    ----------
    result
        What was measured and judged on a tray.

    Returns
    -------
    str
        JSON.

    Raises
    ------
    ValueError
        Where a number is not finite.
    """
    return json.dumps(as_table(result), allow_nan=False)


def as_table(result: TrayResult) -> dict[str, Any]:
    """A result as `result.json` holds it."""
    return {
        "format": 1,
        "software": result.software,
        "tray": result.tray,
        "lot": result.lot,
        "part": result.part,
        "station": result.station,
        "taken_at": result.taken_at,
        **({"retake": True} if result.retake else {}),
        **({"judged_at": result.judged_at} if result.judged_at is not None else {}),
        **({"digests": asdict(result.digests)} if result.digests is not None else {}),
        "limits_revision": result.limits_revision,
        **({"limits_standing": result.limits_standing} if result.limits_standing else {}),
        **({"process": dict(result.process)} if result.process else {}),
        **({"detection": asdict(result.detection)} if result.detection else {}),
        **({"rate": asdict(result.rate)} if result.rate else {}),
        "pieces": [_piece_table(piece) for piece in result.pieces],
        "tray_findings": [
            {"kind": finding.kind, "center_px": finding.center_px, "detail": finding.detail}
            for finding in result.tray_findings
        ],
        **({"correction": correction_table(result.correction)} if result.correction else {}),
        **({"settings": asdict(result.settings)} if result.settings else {}),
        **({"judge": asdict(result.judge)} if result.judge else {}),
    }


def _piece_table(piece: JudgedPiece) -> dict[str, Any]:
    pose = piece.pose
    return {
        "piece": piece.piece,
        "verdict": piece.verdict,
        "reasons": [_reason_table(reason) for reason in piece.reasons],
        "fault": piece.fault,
        "pose": pose and {"center_px": pose.center_px, "angle_deg": pose.angle_deg, "fit_rms_mm": pose.fit_rms_mm},
        "measures": _values_table(piece.measures),
        "uncertainties": _values_table(piece.uncertainties),
        "findings": [
            finding_table(finding, counts) for finding, counts in zip(piece.findings, piece.counted, strict=True)
        ],
        **({} if piece.seen is None else {"face_seen_map": asdict(piece.seen)}),
        **({"places": {name: dict(zones) for name, zones in piece.places.items()}} if piece.places else {}),
    }


def _reason_table(reason: Reason) -> dict[str, Any]:
    bounds = {"min": reason.min, "max": reason.max}
    return {
        "measure": reason.measure,
        "zone": reason.zone,
        "value": reason.value,
        "uncertainty": reason.uncertainty,
        **{key: bound for key, bound in bounds.items() if bound is not None},
        "class": reason.severity,
        "outcome": reason.outcome,
        **({} if reason.conformance is None else {"conformance": reason.conformance}),
        **({"findings": reason.findings} if reason.findings else {}),
        **({"place_mm": reason.place_mm} if reason.place_mm else {}),
    }


def _values_table(values: Mapping[str, Value]) -> dict[str, Any]:
    return {name: dict(value) if isinstance(value, Mapping) else value for name, value in values.items()}
