"""A region too large for one piece, or cut by the frame: pieces told apart, the rest named."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import centroid, moments
from vision.outline.band import RimBand, of_piece, see_band
from vision.outline.edges import Outline, blur_px, trace_edge
from vision.outline.found import Found, RegionContents, together
from vision.outline.nominal import Nominal
from vision.outline.piece import Edge
from vision.outline.placement import refine
from vision.outline.regions import Region
from vision.outline.scene import BacklitScene
from vision.outline.single import SINGLE, rims_of, single_piece
from vision.outline.touching import SeparatedPiece, belongs, separate_touching
from vision.records import Array, Pair, TrayFinding


@dataclass(frozen=True, slots=True)
class ClumpSettings:
    """What is made of a region that is no whole piece."""

    # What is no piece of this part is still a spoon when its size is within these shares of the nominal's ...
    size_share: tuple[float, float] = (0.35, 2.5)
    # ... and its slenderness within these.
    slender_share: tuple[float, float] = (0.5, 2.0)
    # A fragment at the frame's edge below this share of the nominal's area is told only where no larger one is near.
    fragment_share: float = 0.05
    # More metal than the pieces found account for, by this share of a piece, is another one that was not told apart.
    more_share: float = 0.25
    # Outline this near to another piece's (mm) is part of the contact: the blur runs both together there.
    contact_mm: float = 1.2


CLUMPS = ClumpSettings()


@dataclass(frozen=True, slots=True, eq=False)
class _Clump:
    """A region with its outline traced once for all pieces in it."""

    region: Region
    scene: BacklitScene
    outline: Outline
    band: RimBand | None
    pieces: tuple[SeparatedPiece, ...]


def other_thing(region: Region, scene: BacklitScene) -> RegionContents:
    """A region that is no piece of this part: another spoon, or something foreign."""
    outer = scene.camera.to_tray(region.outer)
    shape, nominal = moments(outer), scene.nominal.moments
    slender = shape.spread[0] / max(shape.spread[1], 1e-6) / (nominal.spread[0] / nominal.spread[1])
    size = shape.area / nominal.area
    center = centroid(region.outer)
    if (
        CLUMPS.size_share[0] < size < CLUMPS.size_share[1]
        and CLUMPS.slender_share[0] < slender < CLUMPS.slender_share[1]
    ):
        finding = TrayFinding("unlike", center, "a piece whose outline is not this part's")
        return RegionContents((Found(center, "unlike", None, None),), (finding,))
    return RegionContents(
        findings=(TrayFinding("foreign", center, f"something of {shape.area:.0f} mm² that is no piece"),)
    )


def clump(region: Region, scene: BacklitScene) -> RegionContents:
    """All that a region too large for one piece, or cut by the frame, holds."""
    single = None if region.at_border else single_piece(region, scene)
    if single is not None:
        return single
    outer = scene.camera.to_tray(region.outer)
    piece_mm2 = scene.nominal.moments.area
    area = region.area_px * scene.mm_per_px**2
    pieces: tuple[SeparatedPiece, ...] = ()
    if area > SINGLE.area_share[0] * piece_mm2:
        pieces = separate_touching(outer, [scene.camera.to_tray(hole) for hole in region.holes], scene.nominal)
        # At the frame's edge a piece counts as whole only with all of its outline inside.
        pieces = tuple(p for p in pieces if not region.at_border or _inside_frame(p, scene))
    left = area - len(pieces) * piece_mm2
    more = left > CLUMPS.more_share * piece_mm2
    contents = RegionContents()
    if region.at_border and (more or not pieces):
        contents = _cut_off(centroid(region.outer), left, piece_mm2)
    elif not pieces:
        return other_thing(region, scene)
    if len(pieces) > 1 or (pieces and more):
        center = _contact(pieces, outer, region, scene.nominal)
        finding = TrayFinding("touching", center, f"{max(len(pieces), 2)} pieces touch; lay them apart")
        contents = together((contents, RegionContents(findings=(finding,))))
    if not pieces:
        return contents
    outline = trace_edge(scene.back.pixels, scene.light, region.outer)
    blur = blur_px(outline.profile)
    outline, band = see_band(outline, scene.nominal.part, scene.camera, scene.mm_per_px)
    clumped = _Clump(region, scene, outline, band, pieces)
    return together((contents, RegionContents(tuple(_apart(piece, clumped) for piece in pieces), blurs_px=(blur,))))


def _cut_off(center_px: Pair, left_mm2: float, piece_mm2: float) -> RegionContents:
    """What of a piece lies in the frame; a crumb of one is no piece."""
    finding = TrayFinding("cut_off", center_px, f"{left_mm2:.0f} mm² of a piece cut by the frame's edge", left_mm2)
    pieces = (Found(center_px, "cut_off", None, None),) if left_mm2 > CLUMPS.fragment_share * piece_mm2 else ()
    return RegionContents(pieces, (finding,))


def _contact(pieces: tuple[SeparatedPiece, ...], outer: Array, region: Region, nominal: Nominal) -> Pair:
    """Where pieces touch: the middle of the contour that lies near two outlines at once; else of the whole region."""
    near = sum(
        (np.abs(nominal.project(piece.motion.apply(outer)).off_mm) < CLUMPS.contact_mm).astype(int) for piece in pieces
    )
    both = np.asarray(near) > 1
    center = region.outer[both].mean(axis=0) if both.any() else np.array(centroid(region.outer))
    return float(center[0]), float(center[1])


def _inside_frame(piece: SeparatedPiece, scene: BacklitScene) -> bool:
    seen = scene.camera.to_px(piece.motion.inverse().apply(scene.nominal.points))
    rows, columns = scene.back.pixels.shape
    return bool((seen > 1).all() and (seen[:, 0] < columns - 2).all() and (seen[:, 1] < rows - 2).all())


def _apart(piece: SeparatedPiece, clumped: _Clump) -> Found:
    """One piece of a clump with its own share of the outline, away from the contact."""
    scene, outline, band = clumped.scene, clumped.outline, clumped.band
    points = scene.camera.to_tray(outline.points_px)
    normals = _in_tray(outline, scene)
    own: NDArray[np.bool_] = outline.valid & belongs(points, normals, piece.motion, scene.nominal)
    for other in clumped.pieces:
        if other is not piece:
            off = scene.nominal.project(other.motion.apply(points)).off_mm
            own &= np.abs(off) > CLUMPS.contact_mm
    mine = points[own]
    placement = refine(mine, piece.motion, scene.nominal)
    blur = band.blur_mm if band else blur_px(outline.profile) * scene.mm_per_px
    if band is not None:
        off = scene.nominal.project(piece.motion.apply(band.at_mm)).off_mm
        band = of_piece(band, np.abs(off) < CLUMPS.contact_mm)
    middle = piece.motion.inverse().apply(np.array([scene.nominal.moments.centroid]))
    center = scene.camera.to_px(middle)[0]
    edge = Edge(mine, rims_of(clumped.region, scene, band), blur, outline.profile, band)
    return Found((float(center[0]), float(center[1])), "touching", placement, edge if placement is not None else None)


def _in_tray(outline: Outline, scene: BacklitScene) -> Array:
    """Outward normals in the tray's axes."""
    ahead = scene.camera.to_tray(outline.points_px + outline.normals_px)
    n = ahead - scene.camera.to_tray(outline.points_px)
    return np.asarray(n / np.maximum(np.hypot(n[:, 0], n[:, 1]), 1e-12)[:, None])
