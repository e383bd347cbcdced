"""The story on one screen: frames to pieces, outlines, places, deviations, faces, verdicts."""

from dataclasses import replace

import numpy as np

from vision.backlight import SATURATED, NoBacklight, lamp_state, light_findings, model_backlight
from vision.decide import judge
from vision.errors import Unusable
from vision.face import FaceView, score_face
from vision.geometry import View
from vision.outline import SHARP_PX, Found, Nominal, Placed, Sight, look, measure_piece, prepare_nominal
from vision.records import (
    Fault,
    JudgedPiece,
    LightLimits,
    Limits,
    MeasuredPiece,
    MeasuredTray,
    Part,
    Picture,
    Station,
    TrayFinding,
    TrayPictures,
    Value,
)

# Share of the empty tray at full scale from which edges are no longer measured where they seem.
_SATURATED_SHARE = 0.02
# Pieces whose centres are this share of the part's length apart in height stand in different rows.
_ROW_SHARE = 0.25


def inspect_tray(
    pictures: TrayPictures, part: Part, station: Station, limits: Limits
) -> tuple[MeasuredTray, tuple[JudgedPiece, ...]]:
    """Measure and judge every piece on a tray."""
    measured = measure_tray(pictures, part, station)
    return measured, tuple(judge(piece, limits) for piece in measured.pieces)


def measure_tray(pictures: TrayPictures, part: Part, station: Station) -> MeasuredTray:
    """Find and measure every piece on a tray; what can't be measured becomes a fault or a tray finding."""
    try:
        light = model_backlight(pictures.back)
    except NoBacklight as reason:
        return MeasuredTray((), (TrayFinding("exposure", None, f"{pictures.back.name or 'back'}: {reason}"),))
    view = View(station, part.edge_height_mm)
    rows, columns = pictures.back.pixels.shape
    scale = view.mm_per_px(np.array([columns / 2, rows / 2]))
    nominal = prepare_nominal(part, round(scale, 4))
    found, told, blur = look(Sight(pictures.back, light, nominal, view, scale))
    spoilt: Fault | None = None
    if light.saturated > _SATURATED_SHARE:
        spoilt = "exposure"
        detail = f"{light.saturated:.0%} of the empty tray reaches {SATURATED:.0%} of full scale; expose less"
        told.append(TrayFinding("exposure", None, f"{pictures.back.name or 'back'}: {detail}"))
    if blur > SHARP_PX:
        spoilt = spoilt or "focus"
        detail = f"edges are {blur:.1f} px wide (standard deviation), at most {SHARP_PX} is sharp; focus the lens"
        told.append(TrayFinding("focus", None, f"{pictures.back.name or 'back'}: {detail}"))
    for finding in _beyond_limits(pictures.back, blur, station.light):
        spoilt = spoilt or ("focus" if finding.kind == "focus" else "exposure")
        told.append(finding)
    ordered = _reading_order(found, _ROW_SHARE * float(np.ptp(nominal.points[:, 0])) / scale)
    pieces = []
    for number, one in enumerate(ordered, start=1):
        piece = _measure(number, one, nominal, view)
        piece = replace(piece, fault=piece.fault or spoilt)
        if one.placed is not None and (pictures.dome is not None or pictures.low):
            piece, faults = _with_face(piece, one.placed, pictures, view, (nominal, scale))
            told += [fault for fault in faults if fault not in told]
        pieces.append(piece)
    return MeasuredTray(tuple(pieces), tuple(told))


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


def _measure(number: int, found: Found, nominal: Nominal, view: View) -> MeasuredPiece:
    if found.placed is None or found.edge is None:
        return MeasuredPiece(number, found.fault or "fit", None, {}, {})
    return measure_piece(number, found.edge, found.placed, nominal, view, found.fault)


def faces_of(pictures: TrayPictures, part: Part, station: Station) -> tuple[FaceView, ...]:
    """The views by which the faces on a tray are scored, of every piece that could be placed, in reading order.

    Raises
    ------
    NoBacklight
        Where the backlit frame shows no usable light.
    """
    light = model_backlight(pictures.back)
    view = View(station, part.edge_height_mm)
    rows, columns = pictures.back.pixels.shape
    scale = view.mm_per_px(np.array([columns / 2, rows / 2]))
    nominal = prepare_nominal(part, round(scale, 4))
    found, _, _ = look(Sight(pictures.back, light, nominal, view, scale))
    ordered = _reading_order(found, _ROW_SHARE * float(np.ptp(nominal.points[:, 0])) / scale)
    return tuple(_face_view(one.placed, pictures, view, (nominal, scale)) for one in ordered if one.placed is not None)


def _face_view(placed: Placed, pictures: TrayPictures, view: View, scale: tuple[Nominal, float]) -> FaceView:
    nominal, mm_per_px = scale
    to_drawing, to_tray = placed.datum.motion, placed.datum.motion.inverse()
    origin, right = view.to_px(np.array([[0.0, 0.0], [1.0, 0.0]]))
    return FaceView(
        pictures=pictures,
        part=nominal.part,
        to_px=lambda mm: view.to_px(to_tray.apply(mm)),
        to_mm=lambda px: to_drawing.apply(view.to_tray(px)),
        mm_per_px=mm_per_px,
        tray_turn_deg=float(np.degrees(np.arctan2(-(right - origin)[1], (right - origin)[0]))),
        scale_relative=view.station.scale_relative,
        edge_mm=view.station.outline_mm,
    )


def _with_face(
    piece: MeasuredPiece, placed: Placed, pictures: TrayPictures, view: View, scale: tuple[Nominal, float]
) -> tuple[MeasuredPiece, list[TrayFinding]]:
    score = score_face(_face_view(placed, pictures, view, scale))
    measures: dict[str, Value] = {
        "scored_area_cm2": score.scored_area_cm2,
        "buffing_line_level": score.buffing_line_level,
    }
    uncertainties: dict[str, Value] = {
        "scored_area_cm2": score.scored_area_uncertainty_cm2,
        "buffing_line_level": score.buffing_line_uncertainty,
    }
    told = [TrayFinding("light", None, f"{fault.picture.name}: {fault.detail}") for fault in score.light_faults]
    return (
        replace(
            piece,
            measures={**piece.measures, **measures},
            uncertainties={**piece.uncertainties, **uncertainties},
            findings=(*piece.findings, *score.findings),
        ),
        told,
    )


def _reading_order(found: list[Found], row_px: float) -> list[Found]:
    """Rows from the top, left to right within a row; a row is what lies within `row_px` of its first piece."""
    rows: list[list[Found]] = []
    for one in sorted(found, key=lambda f: f.center_px[1]):
        if rows and one.center_px[1] - rows[-1][0].center_px[1] < row_px:
            rows[-1].append(one)
        else:
            rows.append([one])
    return [one for row in rows for one in sorted(row, key=lambda f: f.center_px[0])]
