"""One dark region as one whole piece of this part: its edge traced, laid on the drawing, and held against it."""

from dataclasses import dataclass

import numpy as np

from vision.geometry import centroid
from vision.outline.band import RimBand, see_band
from vision.outline.edges import blur_px, far_blur_px, trace_edge
from vision.outline.found import Found, RegionContents
from vision.outline.holes import HOLES, Rim
from vision.outline.nominal import Nominal
from vision.outline.piece import Edge
from vision.outline.placement import Placement, find_placement, thin
from vision.outline.regions import Region
from vision.outline.scene import BacklitScene
from vision.outline.turned_over import is_turned_over
from vision.records import Array


@dataclass(frozen=True, slots=True)
class SingleSettings:
    """When a dark region is one whole piece of this part."""

    # A whole piece's area is within these shares of the nominal's.
    area_share: tuple[float, float] = (0.75, 1.35)
    # A point strays by more than this (mm); no burr, wear or bend makes ...
    stray_mm: float = 1.2
    # ... this share of an outline stray: another pattern does ...
    stray_share: float = 0.10
    # ... nor does it slide the bend zone along by more than this (mm).
    slip_mm: float = 1.5
    # That is asked of so many points of the outline, evenly.
    form_points: int = 600
    # Edges blurred wider than this (standard deviation, px) are out of focus: neighbouring features run together.
    sharp_px: float = 2.5
    # An outline with a smaller share of clean edge points than this is looked at for blur.
    clean_share: float = 0.5
    # With fewer points there is no outline.
    least_points: int = 100


SINGLE = SingleSettings()


def single_piece(region: Region, scene: BacklitScene) -> RegionContents | None:
    """A region that is one whole piece of this part, placed; None where it is not."""
    area = region.area_px * scene.mm_per_px**2
    if not SINGLE.area_share[0] <= area / scene.nominal.moments.area <= SINGLE.area_share[1]:
        return None
    outline = trace_edge(scene.back.pixels, scene.light, region.outer)
    blur = blur_px(outline.profile)
    center = centroid(region.outer)
    if outline.valid.mean() < SINGLE.clean_share:
        blur = far_blur_px(scene.back.pixels, scene.light, region.outer)
        if blur > SINGLE.sharp_px:
            return RegionContents((Found(center, "focus", None, None),), blurs_px=(blur,))
    outline, band = see_band(outline, scene.nominal.part, scene.camera, scene.mm_per_px)
    points = scene.camera.to_tray(outline.points_px)[outline.valid]
    if len(points) < SINGLE.least_points:
        return None
    placement = find_placement(points, scene.nominal)
    like = placement is not None and _is_this_part(points, placement, scene.nominal)
    if is_turned_over(points, placement if like else None, scene.nominal):
        return RegionContents((Found(center, "face_down", None, None),), blurs_px=(blur,))
    if placement is None or not like:
        return None
    blur_mm = band.blur_mm if band else blur * scene.mm_per_px
    edge = Edge(points, rims_of(region, scene, band), blur_mm, outline.profile, band)
    return RegionContents((Found(center, None, placement, edge),), blurs_px=(blur,))


def rims_of(region: Region, scene: BacklitScene, band: RimBand | None) -> list[Rim]:
    """The edges of the holes in a region, in tray mm."""
    rims = []
    # Nobody says how round a punched edge is: what moved the outline may have moved it, or not.
    unsure = 0.0 if band is None else band.reach_mm
    for hole in region.holes:
        outline = trace_edge(scene.back.pixels, scene.light, hole)
        if outline.valid.sum() > HOLES.least_points:
            points = scene.camera.to_tray(outline.points_px)[outline.valid]
            rims.append(Rim(points, blur_px(outline.profile) * scene.mm_per_px, unsure))
    return rims


def _is_this_part(points: Array, placement: Placement, nominal: Nominal) -> bool:
    points = thin(points, SINGLE.form_points)
    feet = nominal.project(placement.datum.motion.apply(points))
    stray = np.abs(feet.off_mm) > SINGLE.stray_mm
    if placement.bend is not None:
        bent = nominal.project(placement.bend.motion.apply(points)).off_mm
        # Between the datum and the bend zone a point may follow either.
        stray = np.where(
            nominal.bend[feet.nearest], np.abs(bent) > SINGLE.stray_mm, stray & (np.abs(bent) > SINGLE.stray_mm)
        )
        bend_x = nominal.points[nominal.bend, 0]
        datum_x = float(nominal.points[nominal.datum, 0].mean())
        root = nominal.points[nominal.bend][np.abs(bend_x - datum_x).argmin()] * (1.0, 0.0)
        in_tray = placement.datum.motion.inverse().apply(root[None])
        slip = placement.bend.motion.apply(in_tray)[0] - root
        if abs(float(slip[0])) > SINGLE.slip_mm:
            return False
    return bool(stray.mean() < SINGLE.stray_share)
