"""The story on one screen: frames to pieces, outlines, places, deviations, faces, verdicts."""

from dataclasses import replace

import numpy as np

from vision.backlight import NoBacklight
from vision.decide import corrected, correction_in_force, judge
from vision.face import FaceInputs, missing_lights, score_face, with_face
from vision.formats import shipped_judge
from vision.outline import (
    BacklitScene,
    Found,
    Placement,
    find_pieces,
    measure_piece,
    scale_finding,
    see_scene,
    spoilt_by,
    torn_finding,
)
from vision.records import (
    JudgedPiece,
    Limits,
    MarkJudge,
    MeasuredPiece,
    MeasuredTray,
    Part,
    Reference,
    Station,
    TrayFinding,
    TrayPictures,
)


def inspect_tray(
    pictures: TrayPictures, part: Part, station: Station, limits: Limits
) -> tuple[MeasuredTray, tuple[JudgedPiece, ...]]:
    """Measure and judge every piece on a tray.

    Parameters
    ----------
    pictures
        All frames of the shot, of one size.
    part
        The drawing with its zones and scored area.
    station
        The calibrated camera that took the frames.
    limits
        The limits that judge.

    Returns
    -------
    tuple[MeasuredTray, tuple[JudgedPiece, ...]]
        What was measured, mm and degrees; the same pieces judged, in reading order.

    Examples
    --------
    >>> from vision.formats import read_frames, read_limits, read_part, read_shot, read_station
    >>> part, station = read_part(Path("demo/part.toml")), read_station(Path("demo/station.toml"))
    >>> limits = read_limits(Path("demo/limits.toml"), part)
    >>> frames = read_frames(read_shot(Path("demo/plain-2611-00")), station)
    >>> measured, judged = inspect_tray(frames, part, station, limits)
    >>> [piece.piece for piece in judged], measured.findings
    ([1, 2, 3], ())
    """
    measured = measure_tray(pictures, part, station, limits.reference)
    return measured, tuple(judge(piece, limits) for piece in measured.pieces)


def measure_tray(
    pictures: TrayPictures,
    part: Part,
    station: Station,
    reference: Reference | None = None,
    marks: MarkJudge | None = None,
) -> MeasuredTray:
    """Find and measure every piece on a tray; what can't be measured becomes a fault or a tray finding.

    Parameters
    ----------
    pictures
        All frames of the shot, of one size.
    part
        The drawing with its zones and scored area.
    station
        The calibrated camera that took the frames.
    reference
        The marks that a face must have been able to show where it counts as seen; None: the usual ones.
    marks
        The judge that tells marks from none; None: the one that comes with the program.

    Returns
    -------
    MeasuredTray
        Pieces in reading order, measures in mm and degrees with standard uncertainties; no piece where the backlit
        frame shows no usable light, and a finding that says so.

    Examples
    --------
    >>> from vision.formats import read_frames, read_part, read_shot, read_station
    >>> part, station = read_part(Path("demo/part.toml")), read_station(Path("demo/station.toml"))
    >>> tray = measure_tray(read_frames(read_shot(Path("demo/plain-2611-00")), station), part, station)
    >>> all(134.8 < piece.measures["length_mm"] < 135.2 for piece in tray.pieces)
    True
    """
    try:
        scene = see_scene(pictures.back, part, station)
    except NoBacklight as reason:
        return MeasuredTray((), (TrayFinding("exposure", None, f"{pictures.back.name or 'back'}: {reason}"),))
    found = find_pieces(scene)
    spoilt = spoilt_by(scene, found)
    missing = missing_lights(pictures, station)
    correction = correction_in_force(station, part.part)
    findings = [*found.findings, *(one.finding for one in spoilt), *missing]
    pieces = []
    for number, one in enumerate(found.pieces, start=1):
        piece = corrected(_measured(number, one, scene), correction)
        piece = replace(piece, fault=piece.fault or (spoilt[0].fault if spoilt else None))
        if one.placement is not None and (pictures.dome is not None or pictures.low):
            face = score_face(_face_inputs(one.placement, pictures, scene), marks or shipped_judge(), reference)
            piece, faults = with_face(piece, face, bool(missing))
            findings += [fault for fault in faults if fault not in findings]
        pieces.append(piece)
    torn = torn_finding(pieces, scene.mm_per_px, pictures.back.name or "back")
    if torn is not None:
        findings.append(torn)
        pieces = [replace(piece, fault=piece.fault or "moved") for piece in pieces]
    wrong_scale = scale_finding(pieces, part, station)
    if wrong_scale is not None:
        findings.append(wrong_scale)
        pieces = [replace(piece, fault=piece.fault or "scale") for piece in pieces]
    return MeasuredTray(tuple(pieces), tuple(findings), correction)


def faces_of(pictures: TrayPictures, part: Part, station: Station) -> dict[int, FaceInputs]:
    """The views by which the faces on a tray are scored, of every piece that could be placed, in reading order.

    Parameters
    ----------
    pictures
        All frames of the shot, of one size.
    part
        The drawing with its zones and scored area.
    station
        The calibrated camera that took the frames.

    Returns
    -------
    dict[int, FaceInputs]
        By the piece's number on the tray.

    Raises
    ------
    NoBacklight
        Where the backlit frame shows no usable light.
    """
    scene = see_scene(pictures.back, part, station)
    numbered = enumerate(find_pieces(scene).pieces, start=1)
    return {
        number: _face_inputs(one.placement, pictures, scene) for number, one in numbered if one.placement is not None
    }


def _measured(number: int, found: Found, scene: BacklitScene) -> MeasuredPiece:
    if found.placement is None or found.edge is None:
        return MeasuredPiece(number, found.fault or "fit", None, {}, {})
    return measure_piece(number, found.edge, found.placement, scene, found.fault)


def _face_inputs(placement: Placement, pictures: TrayPictures, scene: BacklitScene) -> FaceInputs:
    camera = scene.camera
    to_drawing, to_tray = placement.datum.motion, placement.datum.motion.inverse()
    origin, right = camera.to_px(np.array([[0.0, 0.0], [1.0, 0.0]]))
    return FaceInputs(
        pictures=pictures,
        part=scene.nominal.part,
        to_px=lambda mm: camera.to_px(to_tray.apply(mm)),
        to_mm=lambda px: to_drawing.apply(camera.to_tray(px)),
        mm_per_px=scene.mm_per_px,
        tray_turn_deg=float(np.degrees(np.arctan2(-(right - origin)[1], (right - origin)[0]))),
        scale_relative=camera.station.scale_relative,
        edge_mm=camera.station.outline_mm,
        lights=camera.station.lights,
    )
