"""One placed piece: its deviation profile, all outline measures with uncertainties, and its edge findings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import CameraMapping
from vision.outline.band import RimBand
from vision.outline.band_along import BandAlong
from vision.outline.bumps import BUMPS, Bump, blend, find_bumps
from vision.outline.holes import Rim, drawn_rims, measure_holes
from vision.outline.measure_table import Table, components_of, places_of, uncertainties_of, values_of
from vision.outline.nominal import Nominal
from vision.outline.placement import Placement, pose_of, refine_beside, thin
from vision.outline.prediction import PREDICTION, Shape
from vision.outline.profile import Profile, make_profile, raw_profile
from vision.outline.registration import Fit
from vision.outline.scene import BacklitScene
from vision.outline.seen_measures import is_hidden, is_in_the_way, what_was_seen, with_burrs
from vision.outline.unexplained import Unexplained, unexplained
from vision.outline.zone_measures import (
    MISSING,
    Measured,
    OpticsLeft,
    deviations,
    extent,
    outline_seen,
    place_at,
    rim_along,
    rim_band,
)
from vision.records import (
    Array,
    BendFinding,
    DeviationProfile,
    EdgeFinding,
    Fault,
    Finding,
    MeasuredPiece,
    UncertaintyComponents,
)


@dataclass(frozen=True, slots=True)
class PieceSettings:
    """When a bend is told, and when a piece is registered again beside its long bumps."""

    # A bend is told when it is this many standard uncertainties ...
    bend_significant: float = 5.0
    # ... and at least so many degrees.
    bend_least_deg: float = 0.03
    # Two fits are one when they differ by less than half of the smallest bump that is told (mm).
    alike_mm: float = 0.003
    # Bumps longer than this (standard deviation, mm) have tails that reach further than photon noise ...
    long_sigma_mm: float = 1.5
    # ... they end this many standard deviations out.
    tails: float = 3.5
    # Between datum and bend zone a bend of one radian leaves so much (mm) beside the blend of both fits (measured:
    # 1.2).
    bend_leaves_mm: float = 2.5


PIECE = PieceSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """Clean edge points of one piece in tray mm (n, 2), the rims of its holes, and the blur of the edges in mm.

    `profile` (k,): mean share of the light across the edge, at `places_across` of it; `band`: its bright band.
    """

    points_mm: Array
    rims: list[Rim]
    blur_mm: float
    profile: Array
    band: RimBand | None = None


def measure_piece(
    number: int, edge: Edge, placement: Placement, scene: BacklitScene, fault: Fault | None
) -> MeasuredPiece:
    """Measure a piece that has been placed, and hold the frame around it against what was measured.

    Parameters
    ----------
    number
        Of the piece, in reading order.
    edge
        Its clean edge points, its holes' rims, its blur.
    placement
        The motions that lay it on its drawing.
    scene
        The backlit frame with its light, its camera and the drawing that pieces are laid on.
    fault
        What is already known to be wrong with it, None: nothing.

    Returns
    -------
    MeasuredPiece
        Measures in mm and degrees with standard uncertainties, findings, and its deviation profile.
    """
    nominal, camera = scene.nominal, scene.camera
    profile, bumps = _shape(edge, placement, nominal, camera)
    spoilt = _spoilt(bumps, nominal)
    if spoilt.any():
        placement = refine_beside(edge.points_mm, placement, nominal, spoilt)
        profile, bumps = _shape(edge, placement, nominal, camera)
    band, optics = rim_along(edge.band, placement, nominal, camera)
    seen = outline_seen(nominal, profile, _pose_sd(placement.datum, nominal), camera.station, band, optics)
    zones = nominal.part.zones
    of_zones = {zone.name: deviations(seen, k) for k, zone in enumerate(zones)}
    by_zone = {
        "outline_out_mm": {name: one.outward for name, one in of_zones.items()},
        "outline_in_mm": {name: one.inward for name, one in of_zones.items()},
        "outline_rms_mm": {name: one.rms for name, one in of_zones.items()},
        "width_mm": {zone.name: extent(seen, 1, k) for k, zone in enumerate(zones)},
    }
    if fault is None and is_hidden(by_zone["outline_out_mm"], edge.rims, placement.datum.motion, nominal.part):
        fault = "outline_hidden"
    rest = _rest(edge, placement, profile, scene, band, alone=fault != "touching")
    if fault is None and any(is_in_the_way(stray) for stray in rest.strays):
        fault = "stray"
    burrs = with_burrs(by_zone["outline_out_mm"], rest.strays, camera.station.outline_mm, scene.mm_per_px)
    table: Table = {
        **by_zone,
        "outline_out_mm": burrs,
        **what_was_seen(seen, rest, scene.mm_per_px),
    }
    table["length_mm"] = extent(seen, 0, None)
    table["rim_unknown_mm"] = MISSING if edge.band is None else Measured(edge.band.unknown_mm, UncertaintyComponents())
    table["rim_band_mm"] = {zone.name: rim_band(band, nominal.zone == k) for k, zone in enumerate(zones)}
    if nominal.bend.any():
        table["bend_deg"] = bend = _bend(placement, nominal, camera, band, optics)
    else:
        bend = MISSING
    arm = max(
        float(np.hypot(*(np.asarray(h.mean(axis=0)) - placement.datum.pivot_mm)))
        for h in nominal.part.holes or (np.zeros((1, 2)),)
    )
    reach_sd = float(np.sqrt(placement.datum.covariance[:2, :2].max() + placement.datum.covariance[2, 2] * arm**2))
    table["hole_offset_mm"], table["hole_diameter_error_mm"] = measure_holes(
        edge.rims, placement.datum.motion, reach_sd, nominal.part, camera.station
    )
    findings: tuple[Finding, ...] = tuple(_as_finding(bump, placement, nominal, profile, camera) for bump in bumps)
    if _is_bent(bend) and bend.value is not None:
        findings += (BendFinding(next(z.name for z in zones if z.bend), bend.value),)
    findings += (*rest.openings, *rest.strays)
    return MeasuredPiece(
        piece=number,
        fault=fault,
        pose=pose_of(placement, nominal, camera),
        measures=values_of(table),
        uncertainties=uncertainties_of(table),
        uncertainty_components=components_of(table),
        findings=findings,
        profile=DeviationProfile(
            s_mm=np.arange(len(nominal.points), dtype=np.float64) * nominal.step_mm,
            nominal_mm=nominal.points,
            nominal_px=camera.to_px(placement.datum.motion.inverse().apply(nominal.points)),
            deviation_mm=np.where(profile.seen, profile.value, np.nan),
            rim_u_mm=None if band is None else band.errors.alone_mm,
        ),
        places=places_of(table),
    )


def _rest(
    edge: Edge, placement: Placement, profile: Profile, scene: BacklitScene, band: BandAlong | None, alone: bool
) -> Unexplained:
    """What the frame shows beyond the measured outline and the drawn holes."""
    rims = drawn_rims(edge.rims, placement.datum.motion, scene.nominal.part)
    shape = Shape(
        deviation_mm=profile.value,
        seen=profile.seen,
        motion=placement.datum.motion,
        rims_px=tuple(scene.camera.to_px(rim.points_mm) for rim in rims if rim is not None),
        blur_px=edge.blur_mm / scene.mm_per_px,
        bright_rim_mm=np.zeros(len(profile.value)) if band is None else band.reach_mm(PREDICTION.band_sds),
        alone=alone,
    )
    return unexplained(scene, shape)


def _shape(
    edge: Edge, placement: Placement, nominal: Nominal, camera: CameraMapping
) -> tuple[Profile, tuple[Bump, ...]]:
    """Deviations from the datum fit, and the bumps on them with the bend taken out."""
    raw, seen = raw_profile(edge.points_mm, placement.datum.motion, nominal)
    profile = make_profile(raw, seen, nominal, edge.blur_mm)
    form = profile.raw
    restless = np.zeros(len(form))
    if placement.bend is not None and _fits_differ(placement, nominal):
        bent_raw, _ = raw_profile(edge.points_mm, placement.bend.motion, nominal)
        form = blend(form, bent_raw + profile.lift, nominal)
        if _is_bent(_bend(placement, nominal, camera)):
            # Where the bend's course is not known, it may leave this much of its own shape.
            turn = abs(placement.datum.motion.angle_rad - placement.bend.motion.angle_rad)
            restless = np.where(nominal.datum | nominal.bend, 0.0, PIECE.bend_leaves_mm * turn)
    return profile, find_bumps(form - placement.datum.offset_mm, profile, nominal, restless)


def _fits_differ(placement: Placement, nominal: Nominal) -> bool:
    """Whether the bend zone's own fit moves any of it by more than `PIECE.alike_mm` against the datum's."""
    if placement.bend is None:
        return False
    zone = thin(nominal.points[nominal.bend], 50)
    moved = placement.bend.motion.apply(placement.datum.motion.inverse().apply(zone))
    return bool(np.abs(moved - zone).max() > PIECE.alike_mm)


def _spoilt(bumps: tuple[Bump, ...], nominal: Nominal) -> NDArray[np.bool_]:
    """Nominal points (n,) under bumps so long that robust weights would let their tails in."""
    count = len(nominal.points)
    spoilt = np.zeros(count, bool)
    for bump in bumps:
        if bump.sigma_mm > PIECE.long_sigma_mm:
            reach = min(round(PIECE.tails * bump.sigma_mm / nominal.step_mm), count // 2)
            spoilt[(bump.index + np.arange(-reach, reach + 1)) % count] = True
    return spoilt


def _is_bent(bend: Measured) -> bool:
    if bend.value is None or bend.uncertainty is None:
        return False
    return abs(bend.value) > max(PIECE.bend_significant * bend.uncertainty, PIECE.bend_least_deg)


def _pose_sd(fit: Fit, nominal: Nominal) -> Array:
    """Standard deviation of every deviation from the fit's covariance: (n,)."""
    lever = nominal.points - fit.pivot_mm
    n = nominal.normals
    rows = np.column_stack((n, lever[:, 0] * n[:, 1] - lever[:, 1] * n[:, 0]))
    return np.asarray(np.sqrt(np.einsum("ni,ij,nj->n", rows, fit.covariance[:3, :3], rows)))


def _bend(
    placement: Placement,
    nominal: Nominal,
    camera: CameraMapping,
    band: BandAlong | None = None,
    optics: OpticsLeft | None = None,
) -> Measured:
    if placement.bend is None:
        return MISSING
    turn = placement.datum.motion.angle_rad - placement.bend.motion.angle_rad
    turn = (turn + np.pi) % (2 * np.pi) - np.pi
    # An outline error that differs between the two sides of a zone turns it by that over the zone's length.
    span = min(float(np.ptp(nominal.points[use, 0])) for use in (nominal.bend, nominal.datum))
    fits = np.sqrt(placement.datum.covariance[2, 2] + placement.bend.covariance[2, 2])
    components = UncertaintyComponents(
        station=float(np.degrees(camera.station.outline_mm / span)),
        pose=float(np.degrees(fits)),
        rim=0.0 if band is None else float(np.degrees(band.errors.turn_rad)),
        height=float(np.degrees(optics.height.turn_rad)) if optics and optics.height else 0.0,
    )
    away = nominal.points - nominal.points[nominal.datum].mean(axis=0)
    end = int((np.hypot(*away.T) * nominal.bend).argmax())
    return Measured(float(np.degrees(turn)), components, place_at(nominal.points[end]))


def _as_finding(
    bump: Bump, placement: Placement, nominal: Nominal, profile: Profile, camera: CameraMapping
) -> EdgeFinding:
    count = len(nominal.points)
    reach = max(1, round(min(bump.extent_mm, BUMPS.short_mm) / 2 / nominal.step_mm))
    around: NDArray[np.int64] = (bump.index + np.arange(-reach, reach + 1)) % count
    values = profile.value[around]
    extreme = float(values.max() if bump.height_mm > 0 else values.min())
    spot = nominal.points[bump.index] + profile.value[bump.index] * nominal.normals[bump.index]
    seen = camera.to_px(placement.datum.motion.inverse().apply(spot[None]))[0]
    return EdgeFinding(
        kind=bump.kind,
        zone=nominal.part.zones[nominal.zone[bump.index]].name,
        center_px=(float(seen[0]), float(seen[1])),
        center_mm=(float(spot[0]), float(spot[1])),
        height_mm=bump.height_mm,
        deviation_mm=extreme,
        extent_mm=bump.extent_mm,
    )
