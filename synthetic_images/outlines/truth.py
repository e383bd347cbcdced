"""The exact truth of a tray, from the very curves it was drawn from: poses, measures, findings, what can't be seen."""

from collections.abc import Mapping

import numpy as np
import shapely
from numpy.typing import NDArray

from synthetic_images.outlines.defects import Bump, Defects, true_holes, true_outline_mm
from synthetic_images.outlines.scene import Piece, Scene, piece_rings_mm, polygon, tray_mm
from synthetic_images.outlines.view import to_px
from synthetic_images.spoons import Array, Outline, Pattern, centroid_mm, outline

Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]

# An outline stretch counts as hidden within this distance of a neighbour: blur and glare of the two edges mix there.
HIDDEN_PX = 6.0
# Chords this long leave a neighbour's edge within 0.0003 mm, enough to tell what it hides.
_NEIGHBOUR_STEP_MM = 0.1
# A bump's place counts as seen when none of the stretch within two of its sigmas is hidden.
_BUMP_REACH_SIGMA = 2.0
# Rays are followed by repeated projection; the slope of a bump shrinks the error at least fourfold a step.
_RAY_STEPS = 40


def deviations_mm(pattern: Pattern, nominal: Outline, defects: Defects) -> Array:
    """Signed distances (n,) along the nominal's outward normals to the piece's outline, in the piece's own pose."""
    shape = true_outline_mm(pattern, nominal, defects)
    tangents = np.column_stack((-nominal.normals[:, 1], nominal.normals[:, 0]))
    period = nominal.perimeter_mm
    s = np.append(nominal.s_mm, period)
    closed = np.vstack((shape, shape[:1]))
    at = nominal.s_mm.copy()
    for _ in range(_RAY_STEPS):
        wrapped = np.mod(at, period)
        hit = np.column_stack((np.interp(wrapped, s, closed[:, 0]), np.interp(wrapped, s, closed[:, 1])))
        at -= np.sum((hit - nominal.points_mm) * tangents, axis=1)
    # A zero stays positive: -0.0 would read oddly in the file.
    return np.asarray(np.sum((hit - nominal.points_mm) * nominal.normals, axis=1) + 0.0)


def zone_of(pattern: Pattern, points_mm: Array) -> Indices:
    """Index (n,) of the zone that each nominal point lies in, by its drawing x."""
    ends = np.array([zone.x_mm[1] for zone in pattern.zones[:-1]])
    return np.asarray(np.searchsorted(ends, points_mm[:, 0], side="right"))


def piece_measures(pattern: Pattern, nominal: Outline, defects: Defects) -> dict[str, object]:
    """All outline measures of a piece by their definition, taken in the pose that the piece was laid in."""
    deviation = deviations_mm(pattern, nominal, defects)
    shape = true_outline_mm(pattern, nominal, defects)
    zone = zone_of(pattern, nominal.points_mm)
    inside = {span.name: zone == index for index, span in enumerate(pattern.zones)}
    return {
        "outline_out_mm": {name: float(max(deviation[m].max(), 0.0)) for name, m in inside.items()},
        "outline_in_mm": {name: float(max(-deviation[m].min(), 0.0) + 0.0) for name, m in inside.items()},
        "outline_rms_mm": {name: float(np.sqrt(np.mean(deviation[m] ** 2))) for name, m in inside.items()},
        "width_mm": {name: float(np.ptp(shape[m, 1])) for name, m in inside.items()},
        "length_mm": float(np.ptp(shape[:, 0])),
        "bend_deg": float(defects.bend_deg),
    } | _hole_measures(pattern, defects)


def _hole_measures(pattern: Pattern, defects: Defects) -> dict[str, float | None]:
    if not pattern.holes:
        return {"hole_offset_mm": None, "hole_diameter_error_mm": None}
    pairs = list(zip(pattern.holes, true_holes(pattern, defects), strict=True))
    offsets = [float(np.hypot(*np.subtract(made.center_mm, drawn.center_mm))) for drawn, made in pairs]
    errors = [made.diameter_mm - drawn.diameter_mm for drawn, made in pairs]
    return {"hole_offset_mm": max(offsets), "hole_diameter_error_mm": max(errors, key=abs)}


def pose_px(scene: Scene, piece: Piece, nominal: Outline) -> tuple[Array, float]:
    """Where the nominal's centroid lies in the frame (2,), and the direction of the drawing's +x there (degrees)."""
    ahead_mm = np.array([1e-3, 0.0])
    middle = centroid_mm(nominal.points_mm)
    ahead = np.array([middle, middle - ahead_mm, middle + ahead_mm])
    seen = to_px(scene.view, tray_mm(piece, ahead, nominal), scene.edge_height_mm)
    along = seen[2] - seen[1]
    return seen[0], float(np.rad2deg(np.arctan2(-along[1], along[0])))


def _findings(scene: Scene, piece: Piece, nominal: Outline, hidden: Mask) -> list[dict[str, object]]:
    deviation = deviations_mm(piece.pattern, nominal, piece.defects)
    zones = zone_of(piece.pattern, nominal.points_mm)
    shape = true_outline_mm(piece.pattern, nominal, piece.defects)
    found: list[dict[str, object]] = []
    for bump in piece.defects.bumps:
        near = _near(nominal, bump, _BUMP_REACH_SIGMA * bump.sigma_mm)
        index = int(np.argmin(np.abs(nominal.s_mm - bump.s_mm)))
        extreme = deviation[near].max() if bump.height_mm > 0 else deviation[near].min()
        at_px = to_px(scene.view, tray_mm(piece, shape[index : index + 1], nominal), scene.edge_height_mm)[0]
        found.append(
            {
                "kind": bump.kind,
                "zone": piece.pattern.zones[int(zones[index])].name,
                "center_px": _pair(at_px),
                "center_mm": _pair(nominal.points_mm[index]),
                "height_mm": bump.height_mm,
                "sigma_mm": bump.sigma_mm,
                "s_mm": bump.s_mm,
                "deviation_mm": float(extreme),
                "seen": not bool(hidden[near].any()),
            }
        )
    if piece.defects.bend_deg:
        found.append({"kind": "bend", "bend_deg": piece.defects.bend_deg})
    return found


def _near(nominal: Outline, bump: Bump, reach_mm: float) -> Mask:
    half = 0.5 * nominal.perimeter_mm
    return np.asarray(np.abs(np.mod(nominal.s_mm - bump.s_mm + half, nominal.perimeter_mm) - half) <= reach_mm)


def _hidden(scene: Scene, piece: Piece, nominal: Outline) -> Mask:
    """Which vertices of a piece's outline a neighbour hides (n,)."""
    reach = HIDDEN_PX * scene.view.mm_per_px
    rim = piece_rings_mm(piece, nominal)[0]
    hidden = np.zeros(len(rim), dtype=bool)
    for other in scene.pieces:
        if other is not piece:
            neighbour = polygon(piece_rings_mm(other, outline(other.pattern, _NEIGHBOUR_STEP_MM)))
            shapely.prepare(neighbour)
            low, high = np.reshape(neighbour.bounds, (2, 2))
            near = np.flatnonzero(((rim > low - reach) & (rim < high + reach)).all(axis=1))
            hidden[near] |= shapely.dwithin(shapely.points(rim[near]), neighbour, reach)
    return hidden


def _seen(pattern: Pattern, shape: Array, zones: Indices, hidden: Mask) -> dict[str, object]:
    """Whether the outline's extreme points that length and widths rest on can be seen."""

    def both(values: Array, among: Mask) -> bool:
        ends = np.flatnonzero(among)[[np.argmin(values[among]), np.argmax(values[among])]]
        return not bool(hidden[ends].any())

    everywhere = np.ones(len(shape), dtype=bool)
    widths = {zone.name: both(shape[:, 1], zones == index) for index, zone in enumerate(pattern.zones)}
    return {"width_mm": widths, "length_mm": both(shape[:, 0], everywhere)}


def _pair(point: Array) -> list[float]:
    return [float(point[0]), float(point[1])]


def _box_px(scene: Scene, points_mm: Array, height_mm: float) -> list[float]:
    """Bounds in the frame: left, top, right, bottom, cut at the frame's last pixels."""
    seen = to_px(scene.view, points_mm, height_mm)
    last = np.array(scene.view.size_px) - 1.0
    return [float(k) for k in (*np.clip(seen.min(axis=0), 0.0, last), *np.clip(seen.max(axis=0), 0.0, last))]


def sensor_truth(scene: Scene) -> dict[str, float]:
    """What the frame was exposed with."""
    return {
        "full_well": scene.sensor.full_well,
        "read_e": scene.sensor.read_e,
        "top": scene.sensor.top,
        "psf_px": scene.psf_px,
        "lit": scene.backlight.lit,
        "vignette": scene.backlight.vignette,
        "dark": scene.backlight.dark,
    }


def tray_truth(scene: Scene, tray: str) -> dict[str, object]:
    """The content of `truth.json` for a backlit tray; `pieces` lists what can be measured, in the scene's own order."""
    nominals = {piece.pattern.part: outline(piece.pattern) for piece in scene.pieces}
    pieces: list[Mapping[str, object]] = []
    for piece in scene.pieces:
        if piece.state in ("cut_off", "unlike"):
            continue
        nominal = nominals[piece.pattern.part]
        hidden = _hidden(scene, piece, nominal)
        center, angle = pose_px(scene, piece, nominal)
        shape = true_outline_mm(piece.pattern, nominal, piece.defects)
        pieces.append(
            {
                "state": piece.state,
                "center_px": _pair(center),
                "angle_deg": angle,
                "hidden_share": float(hidden.mean()),
                "measures": piece_measures(piece.pattern, nominal, piece.defects),
                "seen": _seen(piece.pattern, shape, zone_of(piece.pattern, nominal.points_mm), hidden),
                "findings": _findings(scene, piece, nominal, hidden),
            }
        )
    return {
        "tray": tray,
        "mm_per_px": scene.view.mm_per_px,
        "sensor": sensor_truth(scene),
        "pieces": pieces,
        "unmeasured": [piece.state for piece in scene.pieces if piece.state in ("cut_off", "unlike")],
        "tray_findings": _tray_findings(scene, nominals),
    }


def _tray_findings(scene: Scene, nominals: Mapping[str, Outline]) -> list[dict[str, object]]:
    found: list[dict[str, object]] = []
    rings = [piece_rings_mm(piece, nominals[piece.pattern.part]) for piece in scene.pieces]
    height = scene.edge_height_mm
    for index, piece in enumerate(scene.pieces):
        if piece.state in ("cut_off", "unlike"):
            center = pose_px(scene, piece, nominals[piece.pattern.part])[0]
            box = _box_px(scene, rings[index][0], height)
            found.append({"kind": piece.state, "piece": index, "center_px": _pair(center), "box_px": box})
    for first in range(len(rings)):
        for second in range(first + 1, len(rings)):
            one, other = polygon(rings[first]), polygon(rings[second])
            if not one.intersects(other):
                continue
            both = np.vstack((rings[first][0], rings[second][0]))
            shared = one.intersection(other)
            meeting = np.array([shapely.get_coordinates(shared.centroid)[0]])
            found.append(
                {
                    "kind": "touching",
                    "pieces": [first, second],
                    "gap_mm": -_narrow_side_mm(shared),
                    "center_px": _pair(to_px(scene.view, meeting, height)[0]),
                    "box_px": _box_px(scene, both, height),
                }
            )
    for thing in scene.foreign:
        center = to_px(scene.view, np.array([thing.center_mm]))[0]
        box = _box_px(scene, thing.rings_mm[0], 0.0)
        found.append({"kind": "foreign", "what": thing.what, "center_px": _pair(center), "box_px": box})
    return found


def _narrow_side_mm(area: shapely.Geometry) -> float:
    """How deep two silhouettes overlap: the shorter side of the smallest rectangle about what they share."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(area))
    return float(np.hypot(*np.diff(corners[:3], axis=0).T).min())
