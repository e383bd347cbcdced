"""The story on one screen: frames to pieces, outlines, places, deviations, faces, verdicts."""

from dataclasses import replace

import numpy as np

from vision.backlight import (
    SATURATED,
    NoBacklight,
    fitted_response,
    lamp_state,
    light_findings,
    model_backlight,
    response_finding,
)
from vision.decide import SCORED_AREA, judge
from vision.errors import Unusable
from vision.face import FaceInputs, FaceScore, missing_lights, score_face
from vision.geometry import CameraMapping
from vision.outline import (
    SHARP_PX,
    BacklitScene,
    Found,
    Nominal,
    Placement,
    find_pieces,
    measure_piece,
    places_across,
    prepare_nominal,
    scale_finding,
)
from vision.records import (
    Fault,
    JudgedPiece,
    LightLimits,
    Limits,
    Mark,
    MeasuredPiece,
    MeasuredTray,
    Part,
    Picture,
    Reference,
    Stain,
    Station,
    TrayFinding,
    TrayPictures,
    Value,
)

# Share of the empty tray at full scale from which edges are no longer measured where they seem.
_SATURATED_SHARE = 0.02
# Pieces whose centres are this share of the part's length apart in height stand in different rows.
_ROW_SHARE = 0.25
# Standard uncertainty of a mark's or a stain's area, as a share: painted discs from 1.5 mm on.
_PATCH_U = 0.1


def inspect_tray(
    pictures: TrayPictures, part: Part, station: Station, limits: Limits
) -> tuple[MeasuredTray, tuple[JudgedPiece, ...]]:
    """Measure and judge every piece on a tray."""
    measured = measure_tray(pictures, part, station, limits.reference)
    return measured, tuple(judge(piece, limits) for piece in measured.pieces)


def measure_tray(
    pictures: TrayPictures, part: Part, station: Station, reference: Reference | None = None
) -> MeasuredTray:
    """Find and measure every piece on a tray; what can't be measured becomes a fault or a tray finding.

    `reference`: the marks that a face must have been able to show where it counts as seen; None: the usual ones.
    """
    try:
        light = model_backlight(pictures.back)
    except NoBacklight as reason:
        return MeasuredTray((), (TrayFinding("exposure", None, f"{pictures.back.name or 'back'}: {reason}"),))
    camera = CameraMapping(station, part.edge_height_mm)
    rows, columns = pictures.back.pixels.shape
    scale = camera.mm_per_px(np.array([columns / 2, rows / 2]))
    nominal = prepare_nominal(part, round(scale, 4))
    scene = BacklitScene(pictures.back, light, nominal, camera, scale)
    found, findings, blur = find_pieces(scene)
    spoilt: Fault | None = None
    if light.saturated > _SATURATED_SHARE:
        spoilt = "exposure"
        detail = f"{light.saturated:.0%} of the empty tray reaches {SATURATED:.0%} of full scale; expose less"
        findings.append(TrayFinding("exposure", None, f"{pictures.back.name or 'back'}: {detail}"))
    if blur > SHARP_PX:
        spoilt = spoilt or "focus"
        detail = f"edges are {blur:.1f} px wide (standard deviation), at most {SHARP_PX} is sharp; focus the lens"
        findings.append(TrayFinding("focus", None, f"{pictures.back.name or 'back'}: {detail}"))
    bent = _response(scene, found)
    if bent is not None:
        spoilt = spoilt or "response"
        findings.append(bent)
    for finding in _beyond_limits(pictures.back, blur, station.light):
        spoilt = spoilt or ("focus" if finding.kind == "focus" else "exposure")
        findings.append(finding)
    ordered = _reading_order(found, _ROW_SHARE * float(np.ptp(nominal.points[:, 0])) / scale)
    missing = missing_lights(pictures, station)
    findings += missing
    pieces = []
    for number, one in enumerate(ordered, start=1):
        piece = _measure(number, one, scene)
        piece = replace(piece, fault=piece.fault or spoilt)
        if one.placement is not None and (pictures.dome is not None or pictures.low):
            face = score_face(_face_inputs(one.placement, pictures, camera, (nominal, scale)), reference)
            piece, faults = _with_face(piece, face, bool(missing))
            findings += [fault for fault in faults if fault not in findings]
        pieces.append(piece)
    wrong_scale = scale_finding(pieces, part, station)
    if wrong_scale is not None:
        findings.append(wrong_scale)
        pieces = [replace(piece, fault=piece.fault or "scale") for piece in pieces]
    return MeasuredTray(tuple(pieces), tuple(findings))


def _response(scene: BacklitScene, found: list[Found]) -> TrayFinding | None:
    """Whether the counts of the backlit frame follow the light, by its pieces' edges and by its noise."""
    # A bright band along the rim makes a profile lopsided too, whatever the response.
    seen = [one.edge for one in found if one.edge is not None]
    plain = [one for one in seen if one.band is None or not (one.band.known and one.band.told)]
    profiles = [one.profile for one in plain if np.isfinite(one.profile).all()]
    edge = None
    if profiles:
        profile = np.mean(profiles, axis=0)
        dark_share = float(np.median(scene.light.dark) / np.median(scene.light.bright))
        edge = fitted_response(places_across(profile), profile, max(dark_share, 0.0))
    return response_finding(scene.back, scene.light, edge, scene.mm_per_px)


def _beyond_limits(back: Picture, blur_px: float, limits: LightLimits) -> list[TrayFinding]:
    """What of the backlight or the sharpness the station's own limits don't allow."""
    if limits == LightLimits():
        return []
    name = back.name or "back"
    try:
        lamp = lamp_state(back.pixels, back.full_scale, name)
    except Unusable as fault:
        return [TrayFinding("exposure", None, str(fault))]
    found = light_findings(lamp, blur_px if np.isfinite(blur_px) else None, limits)
    return [replace(finding, detail=f"{name}: {finding.detail}") for finding in found]


def _measure(number: int, found: Found, scene: BacklitScene) -> MeasuredPiece:
    if found.placement is None or found.edge is None:
        return MeasuredPiece(number, found.fault or "fit", None, {}, {})
    return measure_piece(number, found.edge, found.placement, scene, found.fault)


def faces_of(pictures: TrayPictures, part: Part, station: Station) -> tuple[FaceInputs, ...]:
    """The views by which the faces on a tray are scored, of every piece that could be placed, in reading order.

    Raises
    ------
    NoBacklight
        Where the backlit frame shows no usable light.
    """
    light = model_backlight(pictures.back)
    camera = CameraMapping(station, part.edge_height_mm)
    rows, columns = pictures.back.pixels.shape
    scale = camera.mm_per_px(np.array([columns / 2, rows / 2]))
    nominal = prepare_nominal(part, round(scale, 4))
    found, _, _ = find_pieces(BacklitScene(pictures.back, light, nominal, camera, scale))
    ordered = _reading_order(found, _ROW_SHARE * float(np.ptp(nominal.points[:, 0])) / scale)
    return tuple(
        _face_inputs(one.placement, pictures, camera, (nominal, scale)) for one in ordered if one.placement is not None
    )


def _face_inputs(
    placement: Placement, pictures: TrayPictures, camera: CameraMapping, scale: tuple[Nominal, float]
) -> FaceInputs:
    nominal, mm_per_px = scale
    to_drawing, to_tray = placement.datum.motion, placement.datum.motion.inverse()
    origin, right = camera.to_px(np.array([[0.0, 0.0], [1.0, 0.0]]))
    return FaceInputs(
        pictures=pictures,
        part=nominal.part,
        to_px=lambda mm: camera.to_px(to_tray.apply(mm)),
        to_mm=lambda px: to_drawing.apply(camera.to_tray(px)),
        mm_per_px=mm_per_px,
        tray_turn_deg=float(np.degrees(np.arctan2(-(right - origin)[1], (right - origin)[0]))),
        scale_relative=camera.station.scale_relative,
        edge_mm=camera.station.outline_mm,
        lights=camera.station.lights,
    )


def _with_face(piece: MeasuredPiece, face: FaceScore, lights_missing: bool) -> tuple[MeasuredPiece, list[TrayFinding]]:
    """A piece with what its face showed. Where a light is missing nobody knows what could have been seen."""
    seen = None if lights_missing else face.seen
    found: dict[str, tuple[Value, Value]] = {
        SCORED_AREA: (face.scored_area_cm2, face.scored_area_uncertainty_cm2),
        "buffing_line_level": (face.buffing_line_level, face.buffing_line_uncertainty),
        "face_seen": (None, None) if seen is None else (seen.share, seen.u),
        "mark_area_mm2": _patch_area(face, Mark),
        "stain_area_mm2": _patch_area(face, Stain),
    }
    center = piece.pose.center_px if piece.pose else None
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


def _reading_order(found: list[Found], row_px: float) -> list[Found]:
    """Rows from the top, left to right within a row; a row is what lies within `row_px` of its first piece."""
    rows: list[list[Found]] = []
    for one in sorted(found, key=lambda f: f.center_px[1]):
        if rows and one.center_px[1] - rows[-1][0].center_px[1] < row_px:
            rows[-1].append(one)
        else:
            rows.append([one])
    return [one for row in rows for one in sorted(row, key=lambda f: f.center_px[0])]
