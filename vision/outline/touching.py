"""Pieces whose silhouettes have run together: told apart by laying the nominal over what can be seen of each.

Every pair of a contour point and a nominal anchor, tangents matched, is a hypothesis; those with metal inside and
contour under their outline are refined and the best taken away, until nothing fits (no cutting at necks, which goes
wrong where a bowl lies against a handle).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.geometry import Motion, resample, right_normals, smooth, tangents
from vision.outline.nominal import Nominal
from vision.outline.placement import thin
from vision.outline.registration import Target, fit_rigid
from vision.records import Array


@dataclass(frozen=True, slots=True)
class TouchingSettings:
    """How pieces that have run together are told apart."""

    # A clump's metal is looked at in cells of this side (mm) ...
    cell_mm: float = 0.4
    # ... and its contour at points this dense (mm): both only choose where a fit begins.
    contour_step_mm: float = 1.0
    # ... smoothed over so many vertices (standard deviation), so that normals follow the metal and not its pixels.
    contour_sigma: float = 2.0
    # Half the width (mm) of the slices across a nominal that give its middle line.
    slice_mm: float = 1.5
    # Points of the nominal that are laid on each point of the contour.
    anchors: int = 28
    # Points inside a hypothesis ...
    inside: int = 24
    # ... and on its outline, by which it is weighed.
    outline: int = 72
    # Of the points inside a hypothesis this share must be metal ...
    metal_share: float = 0.92
    # ... a point of its outline lies near the contour when it is no farther than this (mm) ...
    near_mm: float = 1.2
    # ... and this share of them must.
    least_score: float = 0.35
    # So many hypotheses are refined, the best.
    kept: int = 16
    # Hypotheses nearer than this (mm) ...
    same_mm: float = 4.0
    # ... and turned by less than this (degrees) are one.
    same_deg: float = 4.0
    # The refinement lets in contour points this far off (mm), narrowing as it settles.
    bands_mm: tuple[float, ...] = (3.0, 1.5, 1.0)
    # Contour within this of a fitted outline (mm) belongs to it ...
    own_mm: float = 0.8
    # ... and a piece needs this share of its outline seen.
    least_coverage: float = 0.5
    # A contour's point faces an outline's way where the cosine between both normals is at least this ...
    facing: float = 0.8
    # ... or this while a hypothesis is refined and not yet settled ...
    refine_facing: float = 0.7
    # ... on so many points of contour at least.
    refine_points: int = 20
    # Contour left over that is shorter than this share of what a piece needs holds no other.
    left_share: float = 0.8


TOUCHING = TouchingSettings()


@dataclass(frozen=True, slots=True, eq=False)
class SeparatedPiece:
    """A piece found in a clump: tray to drawing, and the share of its outline that is seen."""

    motion: Motion
    coverage: float


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Cells of a raster: `row` and `column` of each place, kept inside it, and whether it lies `outside`."""

    row: NDArray[np.int64]
    column: NDArray[np.int64]
    outside: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class _Raster:
    """A clump's metal in cells of `cell_mm`: 1 where metal is; `corner_mm` (2,): the first cell in the tray."""

    metal: NDArray[np.uint8]
    corner_mm: Array

    def cells(self, x_mm: Array, y_mm: Array) -> _Cells:
        """Cells of places in the tray, in the places' shape."""
        column = np.rint((x_mm - self.corner_mm[0]) / TOUCHING.cell_mm).astype(np.int64)
        row = np.rint((y_mm - self.corner_mm[1]) / TOUCHING.cell_mm).astype(np.int64)
        rows, columns = self.metal.shape
        out = (column < 0) | (row < 0) | (column >= columns) | (row >= rows)
        return _Cells(np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1), out)


@dataclass(frozen=True, slots=True, eq=False)
class _Samples:
    """Points by which a hypothesis is weighed, drawing mm: (k, 2) well inside the nominal, (m, 2) on its outline."""

    inside: Array
    rim: Array


def separate_touching(outer: Array, holes: list[Array], nominal: Nominal) -> tuple[SeparatedPiece, ...]:
    """Pieces in a clump.

    Parameters
    ----------
    outer, holes
        Contours in tray mm, metal on their left with Y up: (n, 2) each.
    """
    loops = [resample(smooth(loop, TOUCHING.contour_sigma), TOUCHING.contour_step_mm) for loop in (outer, *holes)]
    contour = np.vstack(loops)
    normals = np.vstack([right_normals(tangents(loop, 2)) for loop in loops])
    raster, samples = _raster(outer, holes), _samples(nominal)
    left = np.ones(len(contour), bool)
    found: list[SeparatedPiece] = []
    least_mm = TOUCHING.least_coverage * TOUCHING.left_share * len(nominal.points) * nominal.step_mm
    while left.sum() * TOUCHING.contour_step_mm > least_mm:
        starts = _hypotheses(contour[left], normals[left], nominal, raster, samples)
        best: SeparatedPiece | None = None
        for start in starts:
            refined = _refine(contour[left], normals[left], start, nominal)
            if refined is not None and (best is None or refined.coverage > best.coverage):
                best = refined
        if best is None or best.coverage < TOUCHING.least_coverage:
            break
        found.append(best)
        left &= ~belongs(contour, normals, best.motion, nominal)
    return tuple(found)


def belongs(points: Array, normals: Array, motion: Motion, nominal: Nominal) -> NDArray[np.bool_]:
    """Which points (tray mm, with outward normals) lie on a placed nominal, facing its way."""
    feet = nominal.project(motion.apply(points))
    facing = (motion.turn(normals) * nominal.normals[feet.nearest]).sum(axis=1) > TOUCHING.facing
    return np.asarray((np.abs(feet.off_mm) < TOUCHING.own_mm) & facing)


def _raster(outer: Array, holes: list[Array]) -> _Raster:
    corner = outer.min(axis=0) - 2.0
    columns, rows = np.ceil((outer.max(axis=0) + 2.0 - corner) / TOUCHING.cell_mm).astype(int) + 1
    mask = np.zeros((rows, columns), np.uint8)
    for loop, value in ((outer, 1), *((hole, 0) for hole in holes)):
        cv2.fillPoly(mask, [np.rint((loop - corner) / TOUCHING.cell_mm).astype(np.int32)], value)
    return _Raster(mask, corner)


def _samples(nominal: Nominal) -> _Samples:
    every = nominal.points[:: max(1, len(nominal.points) // 400)]
    middle = np.column_stack(
        (np.linspace(every[:, 0].min() + 3, every[:, 0].max() - 3, TOUCHING.inside), np.zeros(TOUCHING.inside))
    )
    for i, x in enumerate(middle[:, 0]):
        near = every[np.abs(every[:, 0] - x) < TOUCHING.slice_mm, 1]
        middle[i, 1] = (near.min() + near.max()) / 2 if len(near) else 0.0
    return _Samples(middle, nominal.points[:: max(1, len(nominal.points) // TOUCHING.outline)])


def _hypotheses(contour: Array, normals: Array, nominal: Nominal, raster: _Raster, samples: _Samples) -> list[Motion]:
    drawn = np.full(raster.metal.shape, 255, np.uint8)
    drawn_on = raster.cells(contour[:, 0], contour[:, 1])
    drawn[drawn_on.row, drawn_on.column] = 0
    distance = cv2.distanceTransform(drawn, cv2.DIST_L2, 3) * TOUCHING.cell_mm
    anchors = np.linspace(0, len(nominal.points), TOUCHING.anchors, endpoint=False).astype(int)
    # From the drawing to the tray: turn the anchor's normal onto the contour's, then lay the anchor on the point.
    facing = np.arctan2(normals[:, 1], normals[:, 0])[:, None]
    turn = (facing - np.arctan2(nominal.normals[anchors, 1], nominal.normals[anchors, 0])).ravel()
    c, s = np.cos(turn), np.sin(turn)
    anchor = np.tile(nominal.points[anchors], (len(contour), 1))
    point = np.repeat(contour, len(anchors), axis=0)
    shift = point - np.column_stack((c * anchor[:, 0] - s * anchor[:, 1], s * anchor[:, 0] + c * anchor[:, 1]))

    def laid(p: Array, keep: NDArray[np.intp]) -> _Cells:
        x = c[keep, None] * p[:, 0] - s[keep, None] * p[:, 1] + shift[keep, :1]
        y = s[keep, None] * p[:, 0] + c[keep, None] * p[:, 1] + shift[keep, 1:]
        return raster.cells(x, y)

    keep = np.arange(len(turn))
    inside = laid(samples.inside, keep)
    keep = keep[((raster.metal[inside.row, inside.column] > 0) & ~inside.outside).mean(axis=1) >= TOUCHING.metal_share]
    rim = laid(samples.rim, keep)
    score = ((distance[rim.row, rim.column] < TOUCHING.near_mm) & ~rim.outside).mean(axis=1)
    starts: list[tuple[Motion, Array]] = []
    middle = np.asarray(nominal.moments.centroid)
    for index in np.argsort(-score):
        if score[index] < TOUCHING.least_score or len(starts) >= TOUCHING.kept:
            break
        at = keep[index]
        motion = Motion(float(turn[at]), (float(shift[at, 0]), float(shift[at, 1])))
        center = motion.apply(middle[None])[0]
        if all(
            np.hypot(*(center - other)) > TOUCHING.same_mm
            or abs(np.sin((motion.angle_rad - known.angle_rad) / 2)) > np.sin(np.radians(TOUCHING.same_deg / 2))
            for known, other in starts
        ):
            starts.append((motion, center))
    return [motion.inverse() for motion, _ in starts]


def _refine(contour: Array, normals: Array, start: Motion, nominal: Nominal) -> SeparatedPiece | None:
    motion = start
    everywhere = np.ones(len(nominal.points), bool)
    for band in TOUCHING.bands_mm:
        feet = nominal.project(motion.apply(contour))
        facing = (motion.turn(normals) * nominal.normals[feet.nearest]).sum(axis=1) > TOUCHING.refine_facing
        near = facing & (np.abs(feet.off_mm) < band)
        if near.sum() < TOUCHING.refine_points:
            return None
        fit = fit_rigid(thin(contour[near], 400), motion, Target(nominal, everywhere, band))
        if fit is None:
            return None
        motion = fit.motion
    own = belongs(contour, normals, motion, nominal)
    along = nominal.project(motion.apply(contour[own])).along
    bins = max(8, round(len(nominal.points) * nominal.step_mm / (1.5 * TOUCHING.contour_step_mm)))
    share = (along % len(nominal.points)) / len(nominal.points)
    return SeparatedPiece(motion, len(np.unique((share * bins).astype(int))) / bins)
