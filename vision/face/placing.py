"""Where a front-lit frame shows a piece: its outline looked for in the frame itself.

Metal and tray differ in brightness under most lights, one way or the other. Along normals to the outline, as the
backlit frame placed it, the steepest change of level is read; the rigid motion that brings most of the outline onto
such changes is where this frame shows the piece.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.face.raster import FaceInputs, Image
from vision.records import Array, Pair, Picture

# Points of the outline that are read, how far to either side of it (px), and into how many directions of the normal
# they are sorted for the first search.
_POINTS, _REACH_PX, _DIRECTIONS, _STRIDE_PX = 320, 44, 48, 2
# A change of level this small (of full scale, per px) is taken for noise, and a greater one counts no more than this.
_LEAST_STEP, _MOST_STEP = 0.006, 0.03
# From the first search on changes this near to where they are expected count, pass by pass (px).
_NEAR_PX = (6.0, 3.0, 1.5, 1.5)
# The outline is shown where so much of it lies on a change of level, and where the best place gathers so many times
# what the median place does.
_SHOWN_SHARE = 0.2
_OUTSTANDING = 1.6
# An edge is read so far to either side, in such steps (px); between levels below the first share of full scale and at
# least the second apart; at so many points at least.
_EDGE_PX, _EDGE_STEP_PX, _BLOWN, _LEAST_RISE, _LEAST_EDGES = 8.0, 0.25, 0.95, 0.08, 40


@dataclass(frozen=True, slots=True)
class Shown:
    """A frame's place against the backlit one at one face: by how much it is shifted (px: right, down) and turned
    (degrees, clockwise as seen) about the face's middle; `worst_px`: the largest displacement over the face's outline;
    `u_px`: the shift's standard uncertainty; `share`: of the outline on a change of level.
    """

    shift_px: tuple[float, float]
    turn_deg: float
    worst_px: float
    u_px: float
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """Points of the outline about a scored face (n, 2), and the outward normals there; image px."""

    feet: Array
    normals: Array


def shown_at(rim: Rim, picture: Picture) -> Shown | None:
    """Look for a piece's outline about its scored face in a frame; None where the frame does not show it."""
    feet, normals = rim.feet, rim.normals
    steps = _changes(picture, feet, normals)
    offset = _first(steps, normals)
    if offset is None:
        return None
    middle = feet.mean(axis=0)
    arm = feet - middle
    reach = float(np.hypot(*arm.T).max())
    # a turn moves a point along its normal by the turn times this
    lever = (normals[:, 1] * arm[:, 0] - normals[:, 0] * arm[:, 1]) / reach
    base = np.column_stack((normals, lever, np.ones(len(lever))))
    motion = np.array([*offset, 0.0, 0.0])
    at = np.arange(-_REACH_PX, _REACH_PX + 1.0)
    for near in _NEAR_PX:
        expected = base @ motion
        window = steps * (np.abs(at[None] - expected[:, None]) <= near)
        weight = window.sum(axis=1)
        place = (window @ at) / np.maximum(weight, 1e-9)
        use = weight > 0
        if use.mean() < _SHOWN_SHARE:
            return None
        rows = base * weight[:, None]
        normal = rows.T @ base + 1e-6 * np.eye(4)
        motion = np.linalg.solve(normal, rows.T @ np.where(use, place, 0.0))
    rest = (place - base @ motion)[use]
    u = float(np.sqrt(np.linalg.inv(base[use].T @ base[use] + 1e-9 * np.eye(4))[:2, :2].trace() * np.mean(rest**2)))
    moved = np.hypot(motion[0] - motion[2] * arm[:, 1] / reach, motion[1] + motion[2] * arm[:, 0] / reach)
    return Shown(
        shift_px=(float(motion[0]), float(motion[1])),
        turn_deg=float(np.degrees(motion[2] / reach)),
        worst_px=float(moved.max()),
        u_px=u,
        share=float(use.mean()),
    )


def rim_blur_px(rim: Rim, picture: Picture, shift_px: Pair) -> float | None:
    """Sigma of a frame's optics (px, without the pixel's own width) from its median edge across the outline; None where
    too little of the outline is an edge between two levels below the sensor's end.
    """
    at = np.arange(-_EDGE_PX, _EDGE_PX + _EDGE_STEP_PX / 2, _EDGE_STEP_PX)
    x, y = (rim.feet[:, k : k + 1] + shift_px[k] + rim.normals[:, k : k + 1] * at for k in (0, 1))
    level = cv2.remap(picture.pixels, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    level = level.astype(np.float32) / np.float32(picture.full_scale)
    rise = level[:, -1:] - level[:, :1]
    use = (level.max(axis=1) < _BLOWN) & (np.abs(rise[:, 0]) > _LEAST_RISE)
    if use.sum() < _LEAST_EDGES:
        return None
    edge = np.maximum.accumulate(np.median((level[use] - level[use, :1]) / rise[use], axis=0))
    low, high = np.interp([0.25, 0.75], edge, at)
    # quarter and three-quarter levels of a Gaussian edge lie 1.349 sigma apart; the pixel and bilinear reading widen it
    return float(np.sqrt(max(((high - low) / 1.349) ** 2 - 1 / 12 - 1 / 6, 0.0)))


def rim_of(inputs: FaceInputs) -> Rim:
    """The outline about a piece's scored face, as the backlit frame placed it."""
    assert inputs.part.surface is not None
    outline = inputs.part.outline
    low, high = inputs.part.surface.x_mm
    about = np.flatnonzero((outline[:, 0] >= low) & (outline[:, 0] <= high))
    about = about[:: max(1, len(about) // _POINTS)]
    ahead = outline[(about + 1) % len(outline)] - outline[about - 1]
    # counter-clockwise on the drawing: outward is to the right of travel
    out = np.column_stack((ahead[:, 1], -ahead[:, 0])) / np.maximum(np.hypot(*ahead.T), 1e-12)[:, None]
    feet = inputs.to_px(outline[about])
    normals = inputs.to_px(outline[about] + inputs.mm_per_px * out) - feet
    return Rim(feet, np.asarray(normals / np.maximum(np.hypot(*normals.T), 1e-12)[:, None]))


def _changes(picture: Picture, feet: Array, normals: Array) -> Image:
    """How steeply the level changes across the outline, 0 where it is no more than noise: (points, places)."""
    at = np.arange(-_REACH_PX - 1, _REACH_PX + 2.0)
    x, y = (feet[:, k : k + 1] + normals[:, k : k + 1] * at for k in (0, 1))
    level = cv2.remap(picture.pixels, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    level = cv2.GaussianBlur(level.astype(np.float32) / np.float32(picture.full_scale), (1, 3), 0)
    step = np.abs(level[:, 2:] - level[:, :-2]) / 2
    peak = (step >= np.roll(step, 1, axis=1)) & (step >= np.roll(step, -1, axis=1))
    near = cv2.dilate(peak.astype(np.uint8), np.ones((1, 3), np.uint8))
    return np.asarray(np.clip(step - _LEAST_STEP, 0, _MOST_STEP) * near, np.float32)


def _first(steps: Image, normals: Array) -> tuple[float, float] | None:
    """The shift (px) at which most of the outline lies on changes of level; None where no place stands out."""
    turn = np.arctan2(normals[:, 1], normals[:, 0])
    bins = np.round(turn / (2 * np.pi) * _DIRECTIONS).astype(int) % _DIRECTIONS
    gathered = np.zeros((_DIRECTIONS, steps.shape[1]))
    np.add.at(gathered, bins, cv2.blur(steps, (5, 1)))
    angles = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    span = int(0.7 * _REACH_PX)
    dx, dy = (g.ravel() for g in np.meshgrid(*(np.arange(-span, span + 1, _STRIDE_PX),) * 2))
    at = np.rint(dx[None] * np.cos(angles)[:, None] + dy[None] * np.sin(angles)[:, None]).astype(int) + _REACH_PX
    at = np.clip(at, 0, steps.shape[1] - 1)
    total = np.take_along_axis(gathered, at, axis=1).sum(axis=0)
    best = int(np.argmax(total))
    if total[best] <= _OUTSTANDING * max(float(np.median(total)), 1e-12):
        return None
    return float(dx[best]), float(dy[best])
