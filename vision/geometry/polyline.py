"""Closed polylines as (n, 2) arrays, first vertex not repeated: area, centroid, even resampling, normals, curvature."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from vision.records import Array

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(3)


@dataclass(frozen=True, slots=True)
class Moments:
    """Area moments of a polygon's inside, in the unit of its vertices.

    `axis_rad`: direction of the long axis, in [0, pi); `spread`: (long, short) standard deviations.
    """

    area: float
    centroid: tuple[float, float]
    axis_rad: float
    spread: tuple[float, float]


def signed_area(points: Array) -> float:
    """Area enclosed, positive when the vertices run counter-clockwise in right-handed axes (shoelace formula).

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.

    Returns
    -------
    float
        Area in the points' unit squared; negative for a clockwise loop.

    Examples
    --------
    >>> signed_area(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 2.0], [0.0, 2.0]]))
    8.0
    """
    x, y = points[:, 0], points[:, 1]
    return float(0.5 * (x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def centroid(points: Array) -> tuple[float, float]:
    """Centroid of the enclosed area.

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.

    Returns
    -------
    tuple[float, float]
        x and y of the enclosed area's centroid, in the points' unit.

    Examples
    --------
    >>> centroid(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 2.0], [0.0, 2.0]]))
    (2.0, 1.0)
    """
    origin = points[0]
    p = points - origin
    q = np.roll(p, -1, axis=0)
    cross = p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]
    center = ((p + q) * cross[:, None]).sum(axis=0) / (3.0 * cross.sum()) + origin
    return float(center[0]), float(center[1])


def moments(points: Array) -> Moments:
    """Area moments to second order by Green's theorem, exact for the polygon.

    Along each edge the integrals of x^a y^b are of low-order polynomials, so three Gauss points are exact.

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.

    Returns
    -------
    Moments
        Area, centroid and spreads, in the points' unit and its square.

    Examples
    --------
    >>> square = moments(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]))
    >>> square.area, square.centroid
    (4.0, (1.0, 1.0))
    """
    area = signed_area(points)
    cx, cy = centroid(points)
    p = points - (cx, cy)
    q = np.roll(p, -1, axis=0)
    dy = q[:, 1] - p[:, 1]
    # area integral of f dA = boundary integral of F dy, with dF/dx = f
    t = 0.5 * (_NODES + 1.0)
    x = p[:, :1] + (q - p)[:, :1] * t
    y = p[:, 1:] + (q - p)[:, 1:] * t
    w = 0.5 * _WEIGHTS * dy[:, None]
    x2, y2 = x * x, y * y
    mxx, mxy, myy = (x2 * x / 3 * w).sum(), (x2 / 2 * y * w).sum(), (x * y2 * w).sum()
    turns = np.sign(area)  # a clockwise loop has all integrals negative
    axis = 0.5 * np.arctan2(2 * turns * mxy, turns * (mxx - myy))
    c, s = np.cos(axis), np.sin(axis)
    along = (c * c * mxx + 2 * c * s * mxy + s * s * myy) / area
    across = (s * s * mxx - 2 * c * s * mxy + c * c * myy) / area
    return Moments(
        area=abs(area),
        centroid=(cx, cy),
        axis_rad=float(axis % np.pi),
        spread=(float(np.sqrt(along)), float(np.sqrt(max(across, 0.0)))),
    )


def length_and_width(points: Array) -> tuple[float, float]:
    """Extents along a closed polyline's long axis, that of its area's larger second moment, and across it.

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.

    Returns
    -------
    tuple[float, float]
        Length and width, in the points' unit.

    Examples
    --------
    >>> np.round(length_and_width(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 3.0], [0.0, 3.0]])), 9).tolist()
    [3.0, 1.0]
    """
    axis = moments(points).axis_rad
    along, across = np.array([np.cos(axis), np.sin(axis)]), np.array([-np.sin(axis), np.cos(axis)])
    return float(np.ptp(points @ along)), float(np.ptp(points @ across))


def arc_lengths(points: Array) -> Array:
    """Length along the closed polyline up to each vertex, and the whole perimeter last: (n + 1,).

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.

    Returns
    -------
    Array
        Lengths along it up to each vertex, and the whole perimeter last, (n + 1,); in the points' unit.

    Examples
    --------
    >>> arc_lengths(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]])).tolist()
    [0.0, 3.0, 7.0, 12.0]
    """
    steps = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    return np.concatenate(([0.0], np.cumsum(steps)))


def resample(points: Array, step: float) -> Array:
    """Points at even steps along the closed polyline, as near to `step` as divides its perimeter.

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.
    step
        Distance wanted between neighbours, in the points' unit.

    Returns
    -------
    Array
        Points at even steps, (m, 2), the first where the polyline begins.

    Examples
    --------
    >>> even = resample(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]), 0.9)
    >>> even.shape, even[1].round(3).tolist()
    ((9, 2), [0.889, 0.0])
    """
    s = arc_lengths(points)
    count = max(8, round(s[-1] / step))
    at = np.arange(count) * (s[-1] / count)
    closed = np.vstack((points, points[:1]))
    return np.column_stack((np.interp(at, s, closed[:, 0]), np.interp(at, s, closed[:, 1])))


def points_at(points: Array, s: Array) -> Array:
    """Points of the closed polyline at lengths along it from its first vertex: (n, 2).

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.
    s
        Lengths along it from its first vertex, (m,), up to its perimeter; in the points' unit.

    Returns
    -------
    Array
        Points there, (m, 2).
    """
    closed, lengths = np.vstack((points, points[:1])), arc_lengths(points)
    return np.column_stack([np.interp(s, lengths, closed[:, axis]) for axis in (0, 1)])


def smooth(points: Array, sigma: float) -> Array:
    """Gaussian along the closed polyline, `sigma` in vertices.

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.
    sigma
        Standard deviation of the Gaussian, in vertices.

    Returns
    -------
    Array
        Smoothed vertices, (n, 2).
    """
    return np.asarray(gaussian_filter1d(points, sigma, axis=0, mode="wrap", truncate=3.0))


def tangents(points: Array, reach: int = 2) -> Array:
    """Unit tangents from the vertices `reach` before and after: (n, 2).

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.
    reach
        How many vertices to either side a direction is taken over.

    Returns
    -------
    Array
        Directions of length 1, (n, 2).
    """
    t = np.roll(points, -reach, axis=0) - np.roll(points, reach, axis=0)
    return np.asarray(t / np.maximum(np.hypot(t[:, 0], t[:, 1]), 1e-12)[:, None])


def right_normals(tangent: Array) -> Array:
    """Tangents turned clockwise: the outward normals of a counter-clockwise loop in right-handed axes.

    Parameters
    ----------
    tangent
        Directions, (n, 2).

    Returns
    -------
    Array
        The same turned clockwise by a right angle, (n, 2).
    """
    return np.column_stack((tangent[:, 1], -tangent[:, 0]))


def curvature(points: Array, sigma: float) -> Array:
    """Signed curvature at evenly spaced vertices (1 / their unit), convex positive on a counter-clockwise loop.

    Central differences after a Gaussian over `sigma` vertices.

    Parameters
    ----------
    points
        Vertices of a closed polyline, (n, 2), the first not repeated; any unit.
    sigma
        Standard deviation of the Gaussian, in vertices.

    Returns
    -------
    Array
        Curvature at each vertex, (n,); 1 over the points' unit.
    """
    step = arc_lengths(points)[-1] / len(points)
    soft = smooth(points, sigma)
    ahead, back = np.roll(soft, -1, axis=0), np.roll(soft, 1, axis=0)
    first, second = (ahead - back) / (2 * step), (ahead - 2 * soft + back) / step**2
    speed = np.hypot(first[:, 0], first[:, 1])
    return np.asarray((first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / np.maximum(speed, 1e-12) ** 3)
