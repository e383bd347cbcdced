"""Punched holes: place and size against the drawing, in the piece's own datum."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from vision.geometry import Motion, arc_lengths, centroid, curvature, resample, right_normals, tangents
from vision.outline.registration import REGISTRATION
from vision.outline.zone_measures import MISSING, Measured, place_at
from vision.records import Array, Part, Station, UncertaintyComponents


@dataclass(frozen=True, slots=True)
class HoleSettings:
    """Which rims are a drawn hole's."""

    # A hole found further than this from every drawn one (mm) is none of them; one not found is missing.
    reach_mm: float = 5.0
    # The drawn rim's points stand this dense (mm), so that normals taken at the nearest one are true ...
    dense_mm: float = 0.005
    # ... a punched rim settles in three steps, points far from any circle in fifteen; so many at most.
    most_steps: int = 30
    # Points that a rim must have to be one: its fit has three unknowns.
    least_points: int = 8
    # Its curvature is taken over this stretch (mm), as the outline's is.
    soft_mm: float = 0.15


HOLES = HoleSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """A hole's edge: `points_mm` (n, 2) in the tray, the edge's blur, and how far a bright band may move it, mm."""

    points_mm: Array
    blur_mm: float
    band_mm: float = 0.0


def drawn_rims(rims: list[Rim], to_drawing: Motion, part: Part) -> list[Rim | None]:
    """For each drawn hole the rim that is found there, None where there is none."""
    middles = [np.asarray(to_drawing.apply(rim.points_mm).mean(axis=0)) for rim in rims]
    found: list[Rim | None] = []
    for hole in part.holes:
        gaps = [float(np.hypot(*(middle - centroid(hole)))) for middle in middles]
        nearest = int(np.argmin(gaps)) if gaps else -1
        found.append(rims[nearest] if gaps and gaps[nearest] <= HOLES.reach_mm else None)
    return found


def measure_holes(
    rims: list[Rim], to_drawing: Motion, pose_sd_mm: float, part: Part, station: Station
) -> tuple[Measured, Measured]:
    """Offset (>= 0) and signed diameter error, largest over the holes; missing where a drawn hole is not seen."""
    if not part.holes or not rims:
        return MISSING, MISSING
    offsets, errors = [], []
    for hole, rim in zip(part.holes, drawn_rims(rims, to_drawing, part), strict=True):
        if rim is None or len(rim.points_mm) < HOLES.least_points:
            return MISSING, MISSING
        fit = _fit(to_drawing.apply(rim.points_mm), hole, rim.blur_mm)
        systematic = station.outline_mm
        offset = float(np.hypot(*fit.shift_mm))
        of_offset = UncertaintyComponents(station=systematic, pose=pose_sd_mm, edge=fit.sd_mm)
        place = place_at(np.array(centroid(hole)))
        offsets.append(Measured(offset, of_offset, place))
        # Both edges of a diameter carry the outline's uncertainty together: it is one and the same edge offset.
        parts = UncertaintyComponents(station=2 * systematic, edge=2 * fit.sd_mm, rim=2 * rim.band_mm)
        errors.append(Measured(2 * fit.grown_mm, parts, place))
    return max(offsets, key=lambda m: m.value or 0.0), max(errors, key=lambda m: abs(m.value or 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """Shift (2,) and even growth of a measured rim against a drawn hole, with their standard deviation."""

    shift_mm: Array
    grown_mm: float
    sd_mm: float


def _fit(points: Array, hole: Array, blur_mm: float) -> _Fit:
    """Lay a measured rim on a drawn hole of any shape.

    Least squares of distances along the normals: for a circle the geometric circle fit (Gander, Golub and Strebel
    1994). The metal is concave there, so the blur makes a hole read blur^2 / (2 R) too small; it is put back.
    """
    drawn = resample(hole, HOLES.dense_mm)
    step = arc_lengths(drawn)[-1] / len(drawn)
    normals, tree = right_normals(tangents(drawn, 3)), cKDTree(drawn)
    lift = 0.5 * blur_mm**2 * curvature(drawn, max(2.0, HOLES.soft_mm / step))
    shift, grown, residual = np.zeros(2), 0.0, np.zeros(len(points))
    matrix = np.eye(3)
    for _ in range(HOLES.most_steps):
        moved = points - shift
        _, nearest = tree.query(moved)
        normal = normals[nearest]
        off = ((moved - drawn[nearest]) * normal).sum(axis=1) + lift[nearest]
        rows = np.column_stack((normal, np.ones(len(points))))
        matrix = rows.T @ rows
        change = np.linalg.solve(matrix, rows.T @ (off - grown))
        residual = off - grown - rows @ change
        shift, grown = shift + change[:2], grown + float(change[2])
        if np.abs(change).max() < 1e-6:
            break
    scatter = (residual**2).sum() / max(len(points) - 3, 1) * REGISTRATION.edge_correlation
    sd = float(np.sqrt(scatter * np.linalg.inv(matrix).max()))
    return _Fit(shift, grown, sd)
