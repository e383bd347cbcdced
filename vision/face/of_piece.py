"""A piece with what its face showed: measures, marks, what could have been seen."""

from dataclasses import replace

from vision.face.score import FaceScore
from vision.records import Mark, MeasuredPiece, Stain, TrayFinding, Value

# Standard uncertainty of a mark's or a stain's area, as a share: painted discs from 1.5 mm on.
_PATCH_U = 0.1


def with_face(piece: MeasuredPiece, face: FaceScore, lights_missing: bool) -> tuple[MeasuredPiece, list[TrayFinding]]:
    """A piece with what its face showed, and what is said of the front-lit frames.

    Parameters
    ----------
    piece
        As its outline was measured.
    face
        Its face as scored.
    lights_missing
        Whether the shot lacks a light that the station must have: then nobody knows what could have been seen.

    Returns
    -------
    tuple[MeasuredPiece, list[TrayFinding]]
        The piece with the face's measures and findings, and findings of the tray.

    Notes
    -----
    A piece that lies on its face is measured no more than one whose outline shows that it does.
    """
    center = piece.pose.center_px if piece.pose else None
    if any(fault.kind == "face_down" for fault in face.faults):
        told = [TrayFinding("face_down", center, fault.detail) for fault in face.faults]
        return MeasuredPiece(piece.piece, "face_down", piece.pose, {}, {}), told
    seen = None if lights_missing else face.seen
    found: dict[str, tuple[Value, Value]] = {
        "scored_area_cm2": (face.scored_area_cm2, face.scored_area_uncertainty_cm2),
        "buffing_line_level": (face.buffing_line_level, face.buffing_line_uncertainty),
        "face_seen": (None, None) if seen is None else (seen.share, seen.u),
        "mark_area_mm2": _patch_area(face, Mark),
        "stain_area_mm2": _patch_area(face, Stain),
    }
    findings = [
        TrayFinding(fault.kind, center if fault.kind == "moved" else None, f"{fault.picture.name}: {fault.detail}")
        for fault in face.faults
    ]
    return (
        replace(
            piece,
            measures={**piece.measures, **{name: value for name, (value, _) in found.items()}},
            uncertainties={**piece.uncertainties, **{name: u for name, (_, u) in found.items()}},
            findings=(*piece.findings, *face.findings),
            seen=None if seen is None else seen.map,
        ),
        findings,
    )


def _patch_area(face: FaceScore, kind: type[Mark] | type[Stain]) -> tuple[float | None, float | None]:
    """Summed area of a face's marks or stains, and its standard uncertainty; None where it was not scored."""
    if face.scored_area_cm2 is None:
        return None, None
    area = sum(finding.area_mm2 for finding in face.findings if isinstance(finding, kind))
    return area, _PATCH_U * area
