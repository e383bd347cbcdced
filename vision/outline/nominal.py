"""A part's nominal outline made ready for comparing: even steps, normals, curvature, zones, nearest-point search."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from vision.geometry import Moments, arc_lengths, curvature, moments, resample, right_normals, tangents
from vision.records import Array, Part


@dataclass(frozen=True, slots=True)
class NominalSettings:
    """How a drawing's outline is made ready."""

    # Curvature and normals are taken over this stretch of the nominal (mm); a drawing's own corners are rounder in
    # metal.
    soft_mm: float = 0.15
    # Extents are taken at points this dense (mm): a zone's bounds are met to that.
    fine_mm: float = 0.025


NOMINAL = NominalSettings()

# Nearest points are looked up on a grid of this pitch that reaches this far around the outline.
_CELL_MM, _MARGIN_MM = 0.1, 8.0


@dataclass(frozen=True, slots=True, eq=False)
class FinePoints:
    """The outline every `fine_mm`: `points`, `normals` (m, 2), `zone` (m,), `at` (m,) their place in coarse steps."""

    points: Array
    normals: Array
    zone: NDArray[np.int64]
    at: Array


@dataclass(frozen=True, slots=True, eq=False)
class Feet:
    """Where points lie against the outline, each array (n,).

    `along`: position of the foot in steps from the first point, not wrapped; `off_mm`: signed distance along the
    nominal's outward normal; `nearest`: index of the nearest outline point.
    """

    along: Array
    off_mm: Array
    nearest: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Nominal:
    """The nominal outline at even steps of about `step_mm`, n points, counter-clockwise, drawing mm.

    `zone` (n,): index into `part.zones` of each point; `datum`, `bend` (n,): in a datum zone, in the bend zone;
    `kappa_per_mm` (n,): curvature, convex positive; `moments`: of the area enclosed by the outline;
    `table` (5, n): points x, y, normals x, y and curvature in rows, for quick looking up;
    `near`: index of about the nearest outline point for each cell of a grid whose first cell lies at `corner_mm`.
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
    moments: Moments
    fine: FinePoints
    table: Array
    corner_mm: Array
    near: NDArray[np.int32]

    def project(self, points: Array) -> Feet:
        """Feet of drawing points (n, 2) on the outline."""
        x, y = np.ascontiguousarray(points.T)
        rows, columns = self.near.shape
        row = np.clip(np.rint((y - self.corner_mm[1]) / _CELL_MM), 0, rows - 1)
        cell = row * columns + np.clip(np.rint((x - self.corner_mm[0]) / _CELL_MM), 0, columns - 1)
        nearest = self.near.ravel()[cell.astype(np.int64)]
        # The cell's index is a guess; one step along the tangent makes it the nearest point.
        px, py, nx, ny, _ = self.table[:, nearest]
        slip = (y - py) * nx - (x - px) * ny
        nearest = (nearest + np.rint(slip / self.step_mm).astype(np.int64)) % len(self.points)
        px, py, nx, ny, kappa = self.table[:, nearest]
        x, y = x - px, y - py
        off, slip = x * nx + y * ny, y * nx - x * ny
        # The foot of a point off a curved line: its slip along the tangent is stretched by 1 + off x curvature.
        stretch = np.maximum(1 + off * kappa, 0.2)
        # Measured from the curve rather than from the tangent at the nearest point.
        off = off + 0.5 * kappa * slip**2 / stretch
        return Feet(nearest + slip / stretch / self.step_mm, off, nearest)


@lru_cache(maxsize=16)
def prepare_nominal(part: Part, step_mm: float) -> Nominal:
    """Make a part's outline ready; kept for the same part object and step."""
    perimeter = arc_lengths(part.outline)[-1]
    # A count that Fourier transforms like; the step changes by less than a per cent.
    count = next_fast_len(round(perimeter / step_mm), real=True)
    points = resample(part.outline, perimeter / count)
    step = perimeter / count
    datum = np.array([z.datum for z in part.zones])
    if not datum.any():
        datum[:] = True
    bend = np.array([z.bend for z in part.zones])
    zone = _zones(points, part)
    corner, near = _nearest_grid(points)
    tangent = tangents(points, max(1, round(NOMINAL.soft_mm / step / 2)))
    normals, kappa = right_normals(tangent), curvature(points, max(1.0, NOMINAL.soft_mm / step))
    return Nominal(
        part=part,
        points=points,
        tangents=tangent,
        normals=normals,
        kappa_per_mm=kappa,
        step_mm=step,
        zone=zone,
        datum=datum[zone],
        bend=bend[zone],
        moments=moments(part.outline),
        fine=_fine_points(part, step),
        table=np.vstack((points.T, normals.T, kappa)),
        corner_mm=corner,
        near=near,
    )


def _zones(points: Array, part: Part) -> NDArray[np.int64]:
    ends = np.array([zone.x_mm[1] for zone in part.zones])
    order = np.argsort(ends)
    return np.asarray(order[np.minimum(np.searchsorted(ends[order], points[:, 0]), len(ends) - 1)])


def _fine_points(part: Part, step: float) -> FinePoints:
    # Begun at the leftmost point, so that a zone's width does not hang on where the drawing happens to begin.
    first = int(part.outline[:, 0].argmin())
    lengths = arc_lengths(part.outline)
    points = resample(np.roll(part.outline, -first, axis=0), NOMINAL.fine_mm)
    normals = right_normals(tangents(points, max(1, round(NOMINAL.soft_mm / NOMINAL.fine_mm / 2))))
    along = (lengths[first] + np.arange(len(points)) * (lengths[-1] / len(points))) % lengths[-1]
    return FinePoints(points, normals, _zones(points, part), along / step)


def _nearest_grid(points: Array) -> tuple[Array, NDArray[np.int32]]:
    """Nearest outline point of every cell by a distance transform that names its sources."""
    corner = points.min(axis=0) - _MARGIN_MM
    columns, rows = np.ceil((points.max(axis=0) + _MARGIN_MM - corner) / _CELL_MM).astype(int) + 1
    cell = np.rint((points - corner) / _CELL_MM).astype(np.int64)
    canvas = np.full((rows, columns), 255, np.uint8)
    canvas[cell[:, 1], cell[:, 0]] = 0
    _, label = cv2.distanceTransformWithLabels(canvas, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    source = np.zeros(int(label.max()) + 1, np.int32)
    source[label[cell[:, 1], cell[:, 0]]] = np.arange(len(points), dtype=np.int32)
    return corner, source[label]
