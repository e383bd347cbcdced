"""What lies on the tray: every dark region told as a piece, pieces that touch, or something else."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import centroid, moments
from vision.outline.band import RimBand, of_piece, see_band
from vision.outline.edges import Outline, blur_px, far_blur_px, trace_edge
from vision.outline.holes import Rim
from vision.outline.nominal import Nominal
from vision.outline.piece import Edge
from vision.outline.placement import Placement, find_placement, refine, thin
from vision.outline.regions import Region, find_regions, split_finely
from vision.outline.scene import BacklitScene
from vision.outline.touching import SeparatedPiece, belongs, separate_touching
from vision.outline.turned_over import is_turned_over
from vision.records import Array, Fault, Pair, TrayFinding

# Smaller dark regions are dust on the light (mm2).
_DUST_MM2 = 3.0
# A whole piece's area is within these shares of the nominal's.
_AREA_SHARE = (0.75, 1.35)
# A piece is this part's when less than this share of its outline strays by more than `_STRAY_MM`, and its bend zone has
# not slid along by more than `_SLIP_MM`: no burr, wear or bend does that, another pattern does.
_STRAY_MM, _STRAY_SHARE, _SLIP_MM = 1.2, 0.10, 1.5
_FORM_POINTS = 600
# What is no piece of this part is still a spoon when its size and its slenderness are within these of the nominal's.
_SIZE_SHARE, _SLENDER_SHARE = (0.35, 2.5), (0.5, 2.0)
# A fragment at the frame's edge below this share of the nominal's area is told only where no larger one is near.
_FRAGMENT_SHARE = 0.05
# Edges blurred wider than this (standard deviation, px) are out of focus: neighbouring features run together.
SHARP_PX = 2.5
# An outline with fewer clean edge points than this share is looked at for blur; with fewer points there is no outline.
_CLEAN_SHARE, _LEAST_POINTS = 0.5, 100
# A band whose mean width differs by so many standard deviations from what is known is no chance (1 tray in 300,000).
_SURPRISING = 4.5
# Outline this near to another piece's (mm) is part of the contact: the blur runs both together there.
_CONTACT_MM = 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Something numbered as a piece: where, and how it may be measured (`placement` None where it can't be)."""

    center_px: Pair
    fault: Fault | None
    placement: Placement | None
    edge: Edge | None


def find_pieces(scene: BacklitScene) -> tuple[list[Found], list[TrayFinding], float]:
    """All pieces and tray findings, and the blur of the edges in px (nan without any)."""
    least = _DUST_MM2 / scene.mm_per_px**2
    regions = find_regions(scene.back, scene.light, least)
    found: list[Found] = []
    findings: list[TrayFinding] = []
    blurs: list[float] = []
    for region in regions:
        if region.at_border or region.area_px * scene.mm_per_px**2 > _AREA_SHARE[1] * scene.nominal.moments.area:
            continue
        single = _single(region, scene, blurs)
        if single is not None:
            found.append(single)
        else:
            _classify_other(region, scene, found, findings)
    for region in regions:
        area = region.area_px * scene.mm_per_px**2
        if region.at_border or area > _AREA_SHARE[1] * scene.nominal.moments.area:
            for part in _parts(region, scene, least):
                _clump(part, scene, (found, findings, blurs))
    detail = "a piece lies on its face: its outline is the drawing's mirror image; turn it over"
    findings += [TrayFinding("face_down", one.center_px, detail) for one in found if one.fault == "face_down"]
    findings = _without_fragments(findings, scene) + _contradicted(found, scene)
    return found, findings, float(np.median(blurs)) if blurs else float("nan")


def _contradicted(found: list[Found], scene: BacklitScene) -> list[TrayFinding]:
    """Told where most pieces show a band that the station's half angle and the part's rim don't account for."""
    seen = [one.edge.band for one in found if one.edge and one.edge.band]
    bands = [band for band in seen if band.told and band.known]
    if not bands or abs(float(np.median([band.surprise for band in bands]))) < _SURPRISING:
        return []
    width_um = 1000 * float(np.median([band.width_mm.mean() for band in bands]))
    station, rim = scene.camera.station.backlight, scene.nominal.part.rim
    assert station
    by = f"the station's half angle of {station.half_deg:g}°" + (f" and a rim of {rim.mm:g} mm" if rim else "")
    detail = f"the band along the rims is {width_um:.0f} µm wide, which {by} don't explain: measure the backlight anew"
    return [TrayFinding("backlight", None, detail)]


def _parts(region: Region, scene: BacklitScene, least: float) -> tuple[Region, ...]:
    if region.area_px * scene.mm_per_px**2 < _AREA_SHARE[1] * scene.nominal.moments.area:
        return (region,)
    return split_finely(scene.back, scene.light, region, least)


def _single(region: Region, scene: BacklitScene, blurs: list[float]) -> Found | None:
    """A region that is one whole piece of this part, placed; None where it is not."""
    area = region.area_px * scene.mm_per_px**2
    if not _AREA_SHARE[0] <= area / scene.nominal.moments.area <= _AREA_SHARE[1]:
        return None
    outline = trace_edge(scene.back.pixels, scene.light, region.outer)
    blur = blur_px(outline.profile)
    center = centroid(region.outer)
    if outline.valid.mean() < _CLEAN_SHARE:
        blur = far_blur_px(scene.back.pixels, scene.light, region.outer)
        if blur > SHARP_PX:
            blurs.append(blur)
            return Found(center, "focus", None, None)
    outline, band = see_band(outline, scene.nominal.part, scene.camera, scene.mm_per_px)
    points = scene.camera.to_tray(outline.points_px)[outline.valid]
    if len(points) < _LEAST_POINTS:
        return None
    placement = find_placement(points, scene.nominal)
    like = placement is not None and _is_this_part(points, placement, scene.nominal)
    if is_turned_over(points, placement if like else None, scene.nominal):
        blurs.append(blur)
        return Found(center, "face_down", None, None)
    if placement is None or not like:
        return None
    blurs.append(blur)
    blur_mm = band.blur_mm if band else blur * scene.mm_per_px
    edge = Edge(points, _rims(region, scene, band), blur_mm, outline.profile, band)
    return Found(center, None, placement, edge)


def _rims(region: Region, scene: BacklitScene, band: RimBand | None) -> list[Rim]:
    rims = []
    # Nobody says how round a punched edge is: what moved the outline may have moved it, or not.
    unsure = 0.0 if band is None else band.reach_mm
    for hole in region.holes:
        outline = trace_edge(scene.back.pixels, scene.light, hole)
        if outline.valid.sum() > 8:
            points = scene.camera.to_tray(outline.points_px)[outline.valid]
            rims.append(Rim(points, blur_px(outline.profile) * scene.mm_per_px, unsure))
    return rims


def _is_this_part(points: Array, placement: Placement, nominal: Nominal) -> bool:
    points = thin(points, _FORM_POINTS)
    _, off, nearest = nominal.project(placement.datum.motion.apply(points))
    stray = np.abs(off) > _STRAY_MM
    if placement.bend is not None:
        _, bent, _ = nominal.project(placement.bend.motion.apply(points))
        # Between the datum and the bend zone a point may follow either.
        stray = np.where(nominal.bend[nearest], np.abs(bent) > _STRAY_MM, stray & (np.abs(bent) > _STRAY_MM))
        bend_x = nominal.points[nominal.bend, 0]
        datum_x = float(nominal.points[nominal.datum, 0].mean())
        root = nominal.points[nominal.bend][np.abs(bend_x - datum_x).argmin()] * (1.0, 0.0)
        in_tray = placement.datum.motion.inverse().apply(root[None])
        slip = placement.bend.motion.apply(in_tray)[0] - root
        if abs(float(slip[0])) > _SLIP_MM:
            return False
    return bool(stray.mean() < _STRAY_SHARE)


def _classify_other(region: Region, scene: BacklitScene, found: list[Found], findings: list[TrayFinding]) -> None:
    """A region that is no piece of this part: another spoon, or something foreign."""
    outer = scene.camera.to_tray(region.outer)
    shape, nominal = moments(outer), scene.nominal.moments
    slender = shape.spread[0] / max(shape.spread[1], 1e-6) / (nominal.spread[0] / nominal.spread[1])
    size = shape.area / nominal.area
    center = centroid(region.outer)
    if _SIZE_SHARE[0] < size < _SIZE_SHARE[1] and _SLENDER_SHARE[0] < slender < _SLENDER_SHARE[1]:
        findings.append(TrayFinding("unlike", center, "a piece whose outline is not this part's"))
        found.append(Found(center, "unlike", None, None))
    else:
        findings.append(TrayFinding("foreign", center, f"something of {shape.area:.0f} mm² that is no piece"))


def _clump(region: Region, scene: BacklitScene, out: tuple[list[Found], list[TrayFinding], list[float]]) -> None:
    """A region too large for one piece, or cut by the frame: pieces told apart, the rest named."""
    found, findings, blurs = out
    area = region.area_px * scene.mm_per_px**2
    single = None if region.at_border else _single(region, scene, blurs)
    if single is not None:
        found.append(single)
        return
    pieces: tuple[SeparatedPiece, ...] = ()
    outer = scene.camera.to_tray(region.outer)
    holes = [scene.camera.to_tray(hole) for hole in region.holes]
    if area > _AREA_SHARE[0] * scene.nominal.moments.area:
        pieces = separate_touching(outer, holes, scene.nominal)
        # At the frame's edge a piece counts as whole only with all of its outline inside.
        pieces = tuple(p for p in pieces if not region.at_border or _inside_frame(p, scene))
    left = area - len(pieces) * scene.nominal.moments.area
    more = left > 0.25 * scene.nominal.moments.area
    if region.at_border and (more or not pieces):
        center = centroid(region.outer)
        detail = f"{left:.0f} mm² of a piece cut by the frame's edge"
        findings.append(TrayFinding("cut_off", center, detail, left))
        if left > _FRAGMENT_SHARE * scene.nominal.moments.area:
            found.append(Found(center, "cut_off", None, None))
    elif not pieces:
        _classify_other(region, scene, found, findings)
        return
    if len(pieces) > 1 or (pieces and more):
        center = _contact(pieces, outer, region, scene.nominal)
        findings.append(TrayFinding("touching", center, f"{max(len(pieces), 2)} pieces touch; lay them apart"))
    if not pieces:
        return
    outline = trace_edge(scene.back.pixels, scene.light, region.outer)
    blurs.append(blur_px(outline.profile))
    outline, band = see_band(outline, scene.nominal.part, scene.camera, scene.mm_per_px)
    for piece in pieces:
        found.append(_apart(piece, pieces, (outline, band), (region, scene)))


def _contact(pieces: tuple[SeparatedPiece, ...], outer: Array, region: Region, nominal: Nominal) -> Pair:
    """Where pieces touch: the middle of the contour that lies near two outlines at once; else of the whole region."""
    near = sum((np.abs(nominal.project(piece.motion.apply(outer))[1]) < _CONTACT_MM).astype(int) for piece in pieces)
    both = np.asarray(near) > 1
    center = region.outer[both].mean(axis=0) if both.any() else np.array(centroid(region.outer))
    return float(center[0]), float(center[1])


def _inside_frame(piece: SeparatedPiece, scene: BacklitScene) -> bool:
    seen = scene.camera.to_px(piece.motion.inverse().apply(scene.nominal.points))
    rows, columns = scene.back.pixels.shape
    return bool((seen > 1).all() and (seen[:, 0] < columns - 2).all() and (seen[:, 1] < rows - 2).all())


def _apart(
    piece: SeparatedPiece,
    pieces: tuple[SeparatedPiece, ...],
    traced: tuple[Outline, RimBand | None],
    where: tuple[Region, BacklitScene],
) -> Found:
    """One piece of a clump with its own share of the outline, away from the contact."""
    (outline, band), (region, scene) = traced, where
    points = scene.camera.to_tray(outline.points_px)
    normals = _in_tray(outline, scene)
    own: NDArray[np.bool_] = outline.valid & belongs(points, normals, piece.motion, scene.nominal)
    for other in pieces:
        if other is not piece:
            _, off, _ = scene.nominal.project(other.motion.apply(points))
            own &= np.abs(off) > _CONTACT_MM
    mine = points[own]
    placement = refine(mine, piece.motion, scene.nominal)
    blur = band.blur_mm if band else blur_px(outline.profile) * scene.mm_per_px
    if band is not None:
        _, off, _ = scene.nominal.project(piece.motion.apply(band.at_mm))
        band = of_piece(band, np.abs(off) < _CONTACT_MM)
    middle = piece.motion.inverse().apply(np.array([scene.nominal.moments.centroid]))
    center = scene.camera.to_px(middle)[0]
    edge = Edge(mine, _rims(region, scene, band), blur, outline.profile, band)
    return Found((float(center[0]), float(center[1])), "touching", placement, edge if placement is not None else None)


def _in_tray(outline: Outline, scene: BacklitScene) -> Array:
    """Outward normals in the tray's axes."""
    ahead = scene.camera.to_tray(outline.points_px + outline.normals_px)
    n = ahead - scene.camera.to_tray(outline.points_px)
    return np.asarray(n / np.maximum(np.hypot(n[:, 0], n[:, 1]), 1e-12)[:, None])


def _without_fragments(findings: list[TrayFinding], scene: BacklitScene) -> list[TrayFinding]:
    """A corner of the frame can cut one piece into two regions: small ones near a larger are not told again."""
    cut = [f for f in findings if f.kind == "cut_off"]
    reach = 1.2 * float(np.ptp(scene.nominal.points[:, 0])) / scene.mm_per_px
    small = {
        id(f)
        for f in cut
        if f.area_mm2 is not None
        and f.area_mm2 < _FRAGMENT_SHARE * scene.nominal.moments.area
        and any(
            g is not f and f.center_px and g.center_px and np.hypot(*np.subtract(f.center_px, g.center_px)) < reach
            for g in cut
        )
    }
    return [f for f in findings if id(f) not in small]
