"""Curves as they were drawn, joined into closed contours: some drawn twice, with small gaps, some leading nowhere."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.records import Array, Pair

SAME_MM = 0.001  # ends of curves nearer than this meet; CAD programs round ends to about a millionth
# A chain whose ends are nearer than this share of its length is an outline that does not close.
NEARLY_CLOSED = 0.2


@dataclass(frozen=True, slots=True)
class Gap:
    """Two ends that were joined although they do not meet: where, and how far apart they are."""

    at_mm: Pair
    mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Open:
    """A contour that does not close: its points (n, 2), and how far its ends lie apart."""

    points: Array
    gap_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Contours:
    """What curves make: closed rings (n, 2), first vertex not repeated, each the outer edge of what hangs together.

    `gaps`: what was joined; `opens`: contours that nearly close; `twice`: curves that were drawn more than once.
    """

    rings: tuple[Array, ...]
    gaps: tuple[Gap, ...]
    opens: tuple[Open, ...]
    twice: int


def join_contours(curves: Sequence[Array], gap_mm: float) -> Contours:
    """Join curves into closed contours.

    Where more than two curves meet, what counts is the outer edge of the whole, as a camera over a light sees it.
    """
    once = _once([one for one in curves if np.abs(one - one[0]).max() > SAME_MM])
    closed = [one for one in once if np.hypot(*(one[0] - one[-1])) <= SAME_MM]
    edges = [one for one in once if np.hypot(*(one[0] - one[-1])) > SAME_MM]
    rings = [one[:-1] for one in closed]
    gaps: list[Gap] = []
    opens: list[Open] = []
    if edges:
        node = _nodes(np.array([point for edge in edges for point in (edge[0], edge[-1])]))
        bridges = _bridges(edges, node, gap_mm)
        gaps = [Gap(_pair(ends.mean(axis=0)), float(np.hypot(*(ends[1] - ends[0])))) for ends, _ in bridges]
        edges += [ends for ends, _ in bridges]
        node = np.concatenate([node, *(nodes for _, nodes in bridges)])
        of_graph, opens = _of_graph(_snapped(edges, node), node)
        rings += of_graph
    return Contours(tuple(rings), tuple(gaps), tuple(opens), len(curves) - len(once))


def _once(curves: list[Array]) -> list[Array]:
    """Each curve once: the same ends, length and middle mean the same curve, whichever way it was drawn."""
    kept: dict[tuple[float, ...], Array] = {}
    for curve in curves:
        ends = sorted(np.round(curve[[0, -1]], 4).tolist())
        length = np.hypot(*np.diff(curve, axis=0).T)
        middle = (0.5 * (curve[1:] + curve[:-1]) * length[:, None]).sum(axis=0) / length.sum()
        key = (*ends[0], *ends[1], round(float(length.sum()), 3), *np.round(middle, 3).tolist())
        kept.setdefault(key, curve)
    return list(kept.values())


def _nodes(ends: Array) -> NDArray[np.int64]:
    """The node that each end belongs to: ends within `SAME_MM` of each other are one."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(ends).query_pairs(SAME_MM, output_type="ndarray")
    near = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(ends), len(ends)))
    return np.asarray(connected_components(near, directed=False)[1], np.int64)


def _bridges(edges: list[Array], node: NDArray[np.int64], gap_mm: float) -> list[tuple[Array, NDArray[np.int64]]]:
    """Chords between ends that nothing meets and that are each other's nearest, `gap_mm` apart at most."""
    from scipy.spatial import cKDTree

    alone = np.flatnonzero(np.bincount(node)[node] == 1)
    if len(alone) < 2 or gap_mm <= 0.0:
        return []
    points = np.array([edges[end // 2][-(end % 2)] for end in alone])
    distance, nearest = cKDTree(points).query(points, k=2)
    found = []
    for one, (far, other) in enumerate(zip(distance[:, 1], nearest[:, 1], strict=True)):
        if far <= gap_mm and nearest[other, 1] == one and one < other:
            found.append((points[[one, other]], node[alone[[one, other]]]))
    return found


def _snapped(edges: list[Array], node: NDArray[np.int64]) -> list[Array]:
    """Edges whose ends are the very points of their nodes."""
    at = np.zeros((int(node.max()) + 1, 2))
    for index, edge in enumerate(edges):
        at[node[2 * index]], at[node[2 * index + 1]] = edge[0], edge[-1]
    return [np.vstack([at[node[2 * i]], edge[1:-1], at[node[2 * i + 1]]]) for i, edge in enumerate(edges)]


def _of_graph(edges: list[Array], node: NDArray[np.int64]) -> tuple[list[Array], list[Open]]:
    """Outer edges of all that hangs together, and chains that nearly close."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from shapely import LineString, polygonize, union_all

    count = int(node.max()) + 1
    graph = coo_array((np.ones(len(edges)), (node[::2], node[1::2])), shape=(count, count))
    component = connected_components(graph, directed=False)[1][node[::2]]
    rings: list[Array] = []
    opens: list[Open] = []
    for number in np.unique(component):
        members = np.flatnonzero(component == number)
        faces = list(polygonize([LineString(edges[i]) for i in members]).geoms)
        if not faces:
            opens += _nearly_closed([edges[i] for i in members], node.reshape(-1, 2)[members])
            continue
        whole = faces[0] if len(faces) == 1 else union_all(faces)
        parts = whole.geoms if whole.geom_type == "MultiPolygon" else [whole]
        rings += [np.array(part.exterior.coords[:-1]) for part in parts]
    return rings, opens


def _nearly_closed(edges: list[Array], nodes: NDArray[np.int64]) -> list[Open]:
    """The chain that edges make, where it has two ends that lie near each other for its length."""
    degree = np.bincount(nodes.ravel())
    ends = np.flatnonzero(degree == 1)
    if len(ends) != 2:
        return []
    points = np.concatenate(edges)
    tips = [edges[i][-int(k)] for end in ends for i, k in zip(*np.nonzero(nodes == end), strict=True)]
    gap = float(np.hypot(*(tips[0] - tips[1])))
    length = sum(float(np.hypot(*np.diff(edge, axis=0).T).sum()) for edge in edges)
    return [Open(points, gap)] if gap < NEARLY_CLOSED * length else []


def _pair(point: Array) -> Pair:
    return float(point[0]), float(point[1])
