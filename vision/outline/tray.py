"""What lies on the tray: every dark region told as a piece, pieces that touch, or something else."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.backlight import Backlight
from vision.geometry import View, centroid, moments
from vision.outline.edges import Outline, blur_px, far_blur_px, trace_edge
from vision.outline.holes import Rim
from vision.outline.nominal import Nominal
from vision.outline.piece import Edge
from vision.outline.placement import Placed, place, refine, thin
from vision.outline.regions import Region, find_regions, split_finely
from vision.outline.touching import Candidate, belongs, tell_apart
from vision.records import Array, Fault, Pair, Picture, TrayFinding

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
# Outline this near to another piece's (mm) is part of the contact: the blur runs both together there.
_CONTACT_MM = 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Something numbered as a piece: where, and how it may be measured (`placed` None where it can't be)."""

    center_px: Pair
    fault: Fault | None
    placed: Placed | None
    edge: Edge | None


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """What is needed to look at a region: the backlit frame, its levels, the nominal, and the camera's view."""

    back: Picture
    light: Backlight
    nominal: Nominal
    view: View
    mm_per_px: float

    def to_loop(self, points_px: Array) -> Array:
        """Contour in tray mm, metal on its left with Y up."""
        return self.view.to_tray(points_px)


def look(sight: Sight) -> tuple[list[Found], list[TrayFinding], float]:
    """All pieces and tray findings, and the blur of the edges in px (nan without any)."""
    least = _DUST_MM2 / sight.mm_per_px**2
    regions = find_regions(sight.back, sight.light, least)
    found: list[Found] = []
    told: list[TrayFinding] = []
    blurs: list[float] = []
    for region in regions:
        if region.at_border or region.area_px * sight.mm_per_px**2 > _AREA_SHARE[1] * sight.nominal.moments.area:
            continue
        single = _single(region, sight, blurs)
        if single is not None:
            found.append(single)
        else:
            _tell_other(region, sight, found, told)
    for region in regions:
        area = region.area_px * sight.mm_per_px**2
        if region.at_border or area > _AREA_SHARE[1] * sight.nominal.moments.area:
            for part in _parts(region, sight, least):
                _clump(part, sight, (found, told, blurs))
    return found, _without_fragments(told, sight), float(np.median(blurs)) if blurs else float("nan")


def _parts(region: Region, sight: Sight, least: float) -> tuple[Region, ...]:
    if region.area_px * sight.mm_per_px**2 < _AREA_SHARE[1] * sight.nominal.moments.area:
        return (region,)
    return split_finely(sight.back, sight.light, region, least)


def _single(region: Region, sight: Sight, blurs: list[float]) -> Found | None:
    """A region that is one whole piece of this part, placed; None where it is not."""
    area = region.area_px * sight.mm_per_px**2
    if not _AREA_SHARE[0] <= area / sight.nominal.moments.area <= _AREA_SHARE[1]:
        return None
    outline = trace_edge(sight.back.pixels, sight.light, region.outer)
    blur = blur_px(outline.profile)
    center = centroid(region.outer)
    if outline.valid.mean() < _CLEAN_SHARE:
        blur = far_blur_px(sight.back.pixels, sight.light, region.outer)
        if blur > SHARP_PX:
            blurs.append(blur)
            return Found(center, "focus", None, None)
    points = sight.view.to_tray(outline.points_px)[outline.valid]
    if len(points) < _LEAST_POINTS:
        return None
    placed = place(points, sight.nominal)
    if placed is None or not _is_this_part(points, placed, sight.nominal):
        return None
    blurs.append(blur)
    return Found(center, None, placed, Edge(points, _rims(region, sight), blur * sight.mm_per_px))


def _rims(region: Region, sight: Sight) -> list[Rim]:
    rims = []
    for hole in region.holes:
        outline = trace_edge(sight.back.pixels, sight.light, hole)
        if outline.valid.sum() > 8:
            points = sight.view.to_tray(outline.points_px)[outline.valid]
            rims.append(Rim(points, blur_px(outline.profile) * sight.mm_per_px))
    return rims


def _is_this_part(points: Array, placed: Placed, nominal: Nominal) -> bool:
    points = thin(points, _FORM_POINTS)
    _, off, nearest = nominal.place(placed.datum.motion.apply(points))
    stray = np.abs(off) > _STRAY_MM
    if placed.bend is not None:
        _, bent, _ = nominal.place(placed.bend.motion.apply(points))
        # Between the datum and the bend zone a point may follow either.
        stray = np.where(nominal.bend[nearest], np.abs(bent) > _STRAY_MM, stray & (np.abs(bent) > _STRAY_MM))
        bend_x = nominal.points[nominal.bend, 0]
        datum_x = float(nominal.points[nominal.datum, 0].mean())
        root = nominal.points[nominal.bend][np.abs(bend_x - datum_x).argmin()] * (1.0, 0.0)
        in_tray = placed.datum.motion.inverse().apply(root[None])
        slip = placed.bend.motion.apply(in_tray)[0] - root
        if abs(float(slip[0])) > _SLIP_MM:
            return False
    return bool(stray.mean() < _STRAY_SHARE)


def _tell_other(region: Region, sight: Sight, found: list[Found], told: list[TrayFinding]) -> None:
    """A region that is no piece of this part: another spoon, or something foreign."""
    outer = sight.view.to_tray(region.outer)
    shape, nominal = moments(outer), sight.nominal.moments
    slender = shape.spread[0] / max(shape.spread[1], 1e-6) / (nominal.spread[0] / nominal.spread[1])
    size = shape.area / nominal.area
    center = centroid(region.outer)
    if _SIZE_SHARE[0] < size < _SIZE_SHARE[1] and _SLENDER_SHARE[0] < slender < _SLENDER_SHARE[1]:
        told.append(TrayFinding("unlike", center, "a piece whose outline is not this part's"))
        found.append(Found(center, "unlike", None, None))
    else:
        told.append(TrayFinding("foreign", center, f"something of {shape.area:.0f} mm² that is no piece"))


def _clump(region: Region, sight: Sight, out: tuple[list[Found], list[TrayFinding], list[float]]) -> None:
    """A region too large for one piece, or cut by the frame: pieces told apart, the rest named."""
    found, told, blurs = out
    area = region.area_px * sight.mm_per_px**2
    single = None if region.at_border else _single(region, sight, blurs)
    if single is not None:
        found.append(single)
        return
    pieces: tuple[Candidate, ...] = ()
    outer = sight.view.to_tray(region.outer)
    holes = [sight.view.to_tray(hole) for hole in region.holes]
    if area > _AREA_SHARE[0] * sight.nominal.moments.area:
        pieces = tell_apart(outer, holes, sight.nominal)
        # At the frame's edge a piece counts as whole only with all of its outline inside.
        pieces = tuple(p for p in pieces if not region.at_border or _inside_frame(p, sight))
    left = area - len(pieces) * sight.nominal.moments.area
    more = left > 0.25 * sight.nominal.moments.area
    if region.at_border and (more or not pieces):
        center = centroid(region.outer)
        told.append(TrayFinding("cut_off", center, f"{left:.0f} mm² of a piece cut by the frame's edge"))
        if left > _FRAGMENT_SHARE * sight.nominal.moments.area:
            found.append(Found(center, "cut_off", None, None))
    elif not pieces:
        _tell_other(region, sight, found, told)
        return
    if len(pieces) > 1 or (pieces and more):
        center = _contact(pieces, outer, region, sight.nominal)
        told.append(TrayFinding("touching", center, f"{max(len(pieces), 2)} pieces touch; lay them apart"))
    if not pieces:
        return
    outline = trace_edge(sight.back.pixels, sight.light, region.outer)
    blurs.append(blur_px(outline.profile))
    for piece in pieces:
        found.append(_apart(piece, pieces, outline, (region, sight)))


def _contact(pieces: tuple[Candidate, ...], outer: Array, region: Region, nominal: Nominal) -> Pair:
    """Where pieces touch: the middle of the contour that lies near two outlines at once; else of the whole region."""
    near = sum((np.abs(nominal.place(piece.motion.apply(outer))[1]) < _CONTACT_MM).astype(int) for piece in pieces)
    both = np.asarray(near) > 1
    center = region.outer[both].mean(axis=0) if both.any() else np.array(centroid(region.outer))
    return float(center[0]), float(center[1])


def _inside_frame(piece: Candidate, sight: Sight) -> bool:
    seen = sight.view.to_px(piece.motion.inverse().apply(sight.nominal.points))
    rows, columns = sight.back.pixels.shape
    return bool((seen > 1).all() and (seen[:, 0] < columns - 2).all() and (seen[:, 1] < rows - 2).all())


def _apart(piece: Candidate, pieces: tuple[Candidate, ...], outline: Outline, where: tuple[Region, Sight]) -> Found:
    """One piece of a clump with its own share of the outline, away from the contact."""
    region, sight = where
    points = sight.view.to_tray(outline.points_px)
    normals = _in_tray(outline, sight)
    own: NDArray[np.bool_] = outline.valid & belongs(points, normals, piece.motion, sight.nominal)
    for other in pieces:
        if other is not piece:
            _, off, _ = sight.nominal.place(other.motion.apply(points))
            own &= np.abs(off) > _CONTACT_MM
    mine = points[own]
    placed = refine(mine, piece.motion, sight.nominal)
    blur = blur_px(outline.profile) * sight.mm_per_px
    middle = piece.motion.inverse().apply(np.array([sight.nominal.moments.centroid]))
    center = sight.view.to_px(middle)[0]
    edge = Edge(mine, _rims(region, sight), blur)
    return Found((float(center[0]), float(center[1])), "touching", placed, edge if placed is not None else None)


def _in_tray(outline: Outline, sight: Sight) -> Array:
    """Outward normals in the tray's axes."""
    ahead = sight.view.to_tray(outline.points_px + outline.normals_px)
    n = ahead - sight.view.to_tray(outline.points_px)
    return np.asarray(n / np.maximum(np.hypot(n[:, 0], n[:, 1]), 1e-12)[:, None])


def _without_fragments(told: list[TrayFinding], sight: Sight) -> list[TrayFinding]:
    """A corner of the frame can cut one piece into two regions: small ones near a larger are not told again."""
    cut = [f for f in told if f.kind == "cut_off"]
    reach = 1.2 * float(np.ptp(sight.nominal.points[:, 0])) / sight.mm_per_px
    small = {
        id(f)
        for f in cut
        if float(f.detail.split()[0]) < _FRAGMENT_SHARE * sight.nominal.moments.area
        and any(
            g is not f and f.center_px and g.center_px and np.hypot(*np.subtract(f.center_px, g.center_px)) < reach
            for g in cut
        )
    }
    return [f for f in told if id(f) not in small]
