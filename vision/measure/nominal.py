"""A part's nominal outline made ready for comparing: even steps, normals, curvature, zones, nearest-point search."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vision.geometry.polyline import arc_lengths, centroid, curvature, resample, right_normals, tangents
from vision.records.given import Array, Part

# Curvature and normals are taken over this stretch of the nominal; a drawing's own corners are rounder in metal.
_SOFT_MM = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class Nominal:
    """The nominal outline at even steps of about `step_mm`, n points, counter-clockwise, drawing mm.

    `zone` (n,): index into `part.zones` of each point; `datum`, `bend` (n,): in a datum zone, in the bend zone;
    `kappa_per_mm` (n,): curvature, convex positive; `centroid_mm`: of the area enclosed by the outline.
    """

    part: Part
    points: Array
    tangents: Array
    normals: Array
    kappa_per_mm: Array
    step_mm: float
    zone: NDArray[np.int64]
    datum: NDArray[np.bool_]
    bend: NDArray[np.bool_]
    centroid_mm: tuple[float, float]
    tree: cKDTree

    def place(self, points: Array) -> tuple[Array, Array, NDArray[np.int64]]:
        """Feet of drawing points (n, 2) on the outline.

        Returns
        -------
        along
            Position of the foot in steps from the first point, (n,); not wrapped.
        off
            Signed distance along the nominal's outward normal, mm, (n,).
        nearest
            Index of the nearest outline point, (n,).
        """
        _, nearest = self.tree.query(points)
        gap = points - self.points[nearest]
        slip = (gap * self.tangents[nearest]).sum(axis=1)
        off = (gap * self.normals[nearest]).sum(axis=1)
        # The foot of a point off a curved line: its slip along the tangent is stretched by 1 + off x curvature.
        kappa = self.kappa_per_mm[nearest]
        stretch = np.maximum(1 + off * kappa, 0.2)
        # Measured from the curve rather than from the tangent at the nearest point.
        off = off + 0.5 * kappa * slip**2 / stretch
        return nearest + slip / stretch / self.step_mm, off, nearest


@lru_cache(maxsize=16)
def prepare_nominal(part: Part, step_mm: float) -> Nominal:
    """Make a part's outline ready; kept for the same part object and step."""
    points = resample(part.outline, step_mm)
    step = arc_lengths(points)[-1] / len(points)
    reach = max(1, round(_SOFT_MM / step / 2))
    tangent = tangents(points, reach)
    ends = np.array([zone.x_mm[1] for zone in part.zones])
    order = np.argsort(ends)
    zone = order[np.minimum(np.searchsorted(ends[order], points[:, 0]), len(ends) - 1)]
    datum = np.array([z.datum for z in part.zones])
    if not datum.any():
        datum[:] = True
    bend = np.array([z.bend for z in part.zones])
    return Nominal(
        part=part,
        points=points,
        tangents=tangent,
        normals=right_normals(tangent),
        kappa_per_mm=curvature(points, max(1.0, _SOFT_MM / step)),
        step_mm=step,
        zone=zone,
        datum=datum[zone],
        bend=bend[zone],
        centroid_mm=centroid(part.outline),
        tree=cKDTree(points),
    )
