"""Closed rims: dried drops and the loops of fingerprints, whose arcs are no scratches.

Arcs belong to one rim when they lie round a common centre at about one distance, each across the ray to it, and leave
little of the turn open (the idea of voting for a circle's centre along normals; Kimme, Ballard & Sklansky 1975,
10.1145/360666.360677).
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from skimage.measure import CircleModel

from vision.face.lines.curves import Curve, normals, resample

# Radii of rims, px of the coarse raster (0.1 mm), and how far one rim's radius may differ from its median.
_RADII_PX = (8.0, 50.0)
_UNEVEN = 0.3
# Least cosine between an arc's normal and the ray; sectors of the turn, and the share of them that must be met.
_ACROSS = 0.8
_SECTORS = 24
_CLOSED = 0.55
# Curves and arcs of them looked at, the strongest first; points on an arc and their spacing.
_MOST_CURVES = 24
_MOST_ARCS = 40
_ARC_POINTS = 7
_SPACING_PX = 3.0
# A bent line may be the one part of a rim that stands out: it sweeps so much of a turn (radians); the rest of a circle
# through it is read clear of its ends by so much.
_SWEEP, _CLEAR = (0.5, 4.5), 0.3
# Radii tried, of the radius fitted: a short arc is drawn straighter than it is.
_CIRCLES = np.geomspace(0.55, 1.25, 21)


def shares_on_rims(curves: list[Curve]) -> list[float]:
    """For each curve (strongest first) how much of it lies on one closed rim, at most."""
    out = [0.0] * len(curves)
    whole = [resample(c, _SPACING_PX) for c in curves[:_MOST_CURVES]]
    # a rim may have been traced in one go: long curves are taken in pieces
    arcs = [piece for c in whole for piece in np.array_split(c, max(1, len(c) // _ARC_POINTS))][:_MOST_ARCS]
    if len(arcs) < 2:
        return out
    points, normal = np.concatenate(whole), np.concatenate([normals(c) for c in whole])
    owner = np.concatenate([np.full(len(c), i) for i, c in enumerate(whole)])
    for center in _centers(arcs):
        ray = points - center
        distance = np.maximum(np.hypot(ray[:, 0], ray[:, 1]), 1e-9)
        across = np.abs((ray * normal).sum(axis=1)) >= _ACROSS * distance
        near = across & (distance >= _RADII_PX[0]) & (distance <= _RADII_PX[1])
        if not near.any():
            continue
        # the radius about which most points lie
        sizes = np.sort(distance[near])
        counts = np.searchsorted(sizes, sizes * (1 + _UNEVEN) / (1 - _UNEVEN), side="right") - np.arange(len(sizes))
        low = sizes[int(np.argmax(counts))]
        rim = near & (distance >= low) & (distance <= low * (1 + _UNEVEN) / (1 - _UNEVEN))
        turn = np.arctan2(ray[rim, 1], ray[rim, 0])
        sectors = np.unique(((turn + np.pi) / (2 * np.pi) * _SECTORS).astype(int) % _SECTORS)
        if len(sectors) >= _CLOSED * _SECTORS:
            for i in range(len(whole)):
                out[i] = max(out[i], float(rim[owner == i].mean()))
    return out


def _centers(arcs: list[Curve]) -> NDArray[np.float64]:
    """Where the normals at the middles of two arcs meet, for all pairs that could lie on one rim: (n, 2)."""
    middle = np.array([a[len(a) // 2] for a in arcs])
    normal = np.array([normals(a)[len(a) // 2] for a in arcs])
    i, j = np.triu_indices(len(arcs), 1)
    gap = middle[j] - middle[i]
    det = normal[i, 0] * -normal[j, 1] + normal[j, 0] * normal[i, 1]
    facing = np.abs(det) < 0.2
    safe = np.where(facing, 1.0, det)
    reach = (gap[:, 0] * -normal[j, 1] + normal[j, 0] * gap[:, 1]) / safe
    meet = middle[i] + reach[:, None] * normal[i]
    # arcs that face each other have no crossing to speak of: the centre is half way between
    meet = np.where(facing[:, None], (middle[i] + middle[j]) / 2, meet)
    a, b = (np.hypot(*(meet - middle[k]).T) for k in (i, j))
    small, large = np.minimum(a, b), np.maximum(a, b)
    good = (small >= _RADII_PX[0]) & (large <= _RADII_PX[1]) & (large <= small * (1 + _UNEVEN) / (1 - _UNEVEN))
    return np.asarray(meet[good])


def circle_goes_on(curve: Curve, along: Callable[[Curve], NDArray[np.float64]]) -> float:
    """The snr of what goes on as a line on a circle through a bent curve where the curve ends, 0 where it is not bent
    so; `along` reads the response of a line, in standard deviations of the finish, at each px of a curve.
    """
    own = curve[len(curve) // 2]
    # the algebraic circle: linear least squares (Kasa 1976, 10.1109/TIM.1976.6312298; from memory)
    found = CircleModel.from_estimate(curve)
    if not found:
        return False
    center = found.center
    distances = np.hypot(*(curve - center).T)
    radius = float(distances.mean())
    sweep = len(curve) / radius
    if (
        distances.std() > _UNEVEN * radius
        or not _RADII_PX[0] <= radius <= _RADII_PX[1]
        or not _SWEEP[0] <= sweep <= _SWEEP[1]
    ):
        return 0.0
    most = 0.0
    start = float(np.arctan2(*(own - center)[::-1]))
    for r in radius * _CIRCLES:
        turn = start + np.arange(0.5 * sweep + _CLEAR, 2 * np.pi - 0.5 * sweep - _CLEAR, 1.0 / r)
        circle = own + (center - own) / radius * r + r * np.column_stack((np.cos(turn), np.sin(turn)))
        rest = along(circle)
        most = max(most, float(rest.sum() / np.sqrt(len(rest))))
    return most
