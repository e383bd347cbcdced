"""Curves joined end to end into closed loops."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision.errors import Unusable
from vision.records import Array

GAP_MM = 0.001  # ends of curves nearer than this meet; CAD programs round ends to about a millionth
_SAME_MM = 1e-9  # ends that are one point
_LOOKED_AT = 100  # ends without a partner, for one that is open and not where several meet


@dataclass(frozen=True, slots=True, eq=False)
class _Ends:
    """Ends of curves: `points` (2 n, 2), curve i's first end at 2 i, its last at 2 i + 1."""

    points: Array

    def nearest(self, of: NDArray[np.int64]) -> tuple[Array, NDArray[np.int64]]:
        """Of some ends: how far the nearest of the others is that is not its own curve's, and which one."""
        from scipy.spatial import cKDTree

        found_mm, found = np.full(len(of), np.inf), np.full(len(of), -1)
        if len(of) > 2:
            distances, places = cKDTree(self.points[of]).query(self.points[of], k=3)
            others = of[np.minimum(places, len(of) - 1)]
            own = (others // 2) == (of // 2)[:, None]
            distances = np.where(own, np.inf, distances)
            best = distances.argmin(axis=1)
            rows = np.arange(len(of))
            found_mm, found = distances[rows, best], others[rows, best]
        return found_mm, found


def joined(path: Path, lines: Array, curves: list[Array]) -> tuple[Array, ...]:
    """Closed loops, each (n, 2), the first vertex not repeated; curves with both ends together are loops themselves.

    `lines` (m, 2, 2) are curves of one chord. Ends that are one point belong together, however short their curves; of
    the rest, those that are each other's nearest within `GAP_MM`.

    Raises
    ------
    Unusable
        An end has no partner, or more than one.
    """
    closed, edges = [], list(lines[np.hypot(*(lines[:, 1] - lines[:, 0]).T) > _SAME_MM])
    for curve in curves:
        apart_mm = np.hypot(*(curve[0] - curve[-1]))
        if apart_mm <= GAP_MM and np.abs(curve - curve[0]).max() > GAP_MM:
            closed.append(curve[:-1])
        elif apart_mm > _SAME_MM:  # a curve of no length at all joins nothing
            edges.append(curve)
    if not edges:
        return tuple(closed)
    ends = _Ends(np.array([point for edge in edges for point in (edge[0], edge[-1])]))
    partner = _partners(ends)
    alone = np.flatnonzero(partner < 0)
    if len(alone):
        raise _not_closed(path, ends, alone.tolist())
    return (*closed, *_walked(edges, partner))


def _partners(ends: _Ends) -> NDArray[np.int64]:
    """Each end's partner; -1 where it has none, or more than one."""
    cells = np.round(ends.points / _SAME_MM) @ np.array([1.0, 1.0j])  # sorted in one go, where rows would take ten
    _, cell, sizes = np.unique(cells, return_inverse=True, return_counts=True)
    partner = np.full(len(cells), -1)
    by_cell = np.argsort(cell, kind="stable")
    first = np.concatenate([[0], np.cumsum(sizes)[:-1]])[sizes == 2]
    one, other = by_cell[first], by_cell[first + 1]
    partner[one], partner[other] = other, one
    left = np.flatnonzero((partner < 0) & (sizes[cell] == 1))
    distance_mm, nearest = ends.nearest(left)
    back = np.full(len(cells), -1)
    back[left] = nearest
    mutual = (distance_mm <= GAP_MM) & (back[nearest] == left)
    partner[left[mutual]] = nearest[mutual]
    return partner


def _walked(edges: list[Array], partner: NDArray[np.int64]) -> list[Array]:
    """Go from edge to edge until each loop is back where it began."""
    loops, seen = [], np.zeros(len(edges), bool)
    follow = partner.tolist()
    for start in range(len(edges)):
        pieces, end = [], 2 * start
        while not seen[end // 2]:
            edge = edges[end // 2]
            seen[end // 2] = True
            pieces.append((edge if end % 2 == 0 else edge[::-1])[:-1])
            end = follow[end ^ 1]
        if pieces:
            loops.append(np.concatenate(pieces))
    return loops


def _not_closed(path: Path, ends: _Ends, alone: list[int]) -> Unusable:
    """Where a chain ends, and how far the nearest other end is: what a person needs to mend the drawing."""
    found = ""
    for end in alone[::-1][:_LOOKED_AT]:
        x, y = ends.points[end]
        distances = np.hypot(*(np.delete(ends.points, end, axis=0) - (x, y)).T)
        if distances.min() > GAP_MM:
            found = f"an open end at ({x:.3f}, {y:.3f}), {distances.min():.3f} mm from the next"
            break
        found = f"more than two curves that meet at ({x:.3f}, {y:.3f})"
    return Unusable(path, "", "closed contours of curves that meet within 0.001 mm expected; close or remove it", found)
