"""Defects of the polished face: scratches and pits, what they cover of each pixel, and how they throw the light."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from synthetic_images.faces.grid import Grid
from synthetic_images.outlines.coverage import Float32
from synthetic_images.spoons import Array

# A scratch's points lie this far apart (mm): its curves have radii of cm, so its chords stay within 0.002 mm.
SCRATCH_STEP_MM = 0.4
# Facets of a groove: alpha across it; along it the finish's own. A pit is rough evenly, its wall this steep.
GROOVE_ALPHA = 0.45
PIT_ALPHA, PIT_WALL = 0.25, 0.6
# Clear space between defects, so that each has its own truth (mm).
_APART_MM = 1.2
_TRIES = 200


@dataclass(frozen=True, slots=True, eq=False)
class Groove:
    """A scratch: its centre line (n, 2) in the drawing, its width, the share of light that its facets take, and their
    roughness across it.
    """

    points_mm: Array
    width_mm: float
    strength: float
    alpha: float = GROOVE_ALPHA

    @property
    def length_mm(self) -> float:
        """Length of the centre line."""
        return float(np.hypot(*np.diff(self.points_mm, axis=0).T).sum())


@dataclass(frozen=True, slots=True)
class Crater:
    """A pit: its centre in the drawing, its diameter, the share of light that it takes, its roughness and its wall's
    slope.
    """

    center_mm: tuple[float, float]
    diameter_mm: float
    strength: float
    alpha: float = PIT_ALPHA
    wall: float = PIT_WALL


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """The pixels that one mark changes.

    `rows`, `columns` (k,) in the frame's box, `share` (k,) of the pixel that the mark takes; `along` (k, 2) the
    groove's direction, or `wall` (k, 2) the slope added by a pit's wall, both in the drawing's directions; `alpha` the
    facets' roughness.
    """

    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    share: Float32
    alpha: float
    along: Array | None = None
    wall: Array | None = None


def random_groove(start_mm: tuple[float, float], rng: np.random.Generator) -> Groove:
    """Draw a scratch from 1.5 to 13 mm, 0.05 to 0.19 mm wide, gently curved."""
    length = float(np.exp(rng.uniform(np.log(1.5), np.log(13.0))))
    heading, bend = rng.uniform(0.0, 2.0 * np.pi), rng.normal(0.0, 0.04)
    s = np.linspace(0.0, length, max(2, int(np.ceil(length / SCRATCH_STEP_MM)) + 1))
    turn = heading + bend * s
    step = np.diff(s)[:, None] * np.column_stack((np.cos(turn[:-1]), np.sin(turn[:-1])))
    points = np.asarray(start_mm) + np.vstack((np.zeros((1, 2)), np.cumsum(step, axis=0)))
    strength = float(np.exp(rng.uniform(np.log(0.12), np.log(0.95))))
    return Groove(points, float(rng.uniform(0.05, 0.19)), strength)


def random_marks(
    length_mm: float, half_mm: float, counts: tuple[int, int], rng: np.random.Generator
) -> tuple[tuple[Groove, ...], tuple[Crater, ...]]:
    """Draw so many scratches and pits on a bowl `length_mm` long and `half_mm` to its side, clear of one another."""
    grooves: list[Groove] = []
    craters: list[Crater] = []
    taken = np.empty((0, 2))

    def free(points: Array) -> bool:
        inside = np.hypot(points[:, 0] / (0.5 * length_mm) - 1.0, points[:, 1] / half_mm) < 0.9
        apart = np.hypot(*(points[:, None] - taken[None]).transpose(2, 0, 1))
        return bool(inside.all()) and (apart.size == 0 or bool(apart.min() > _APART_MM))

    def spot() -> tuple[float, float]:
        return float(rng.uniform(0.0, length_mm)), float(rng.uniform(-half_mm, half_mm))

    for _ in range(_TRIES):
        groove = random_groove(spot(), rng)
        if len(grooves) < counts[0] and free(groove.points_mm):
            grooves.append(groove)
            taken = np.vstack((taken, groove.points_mm))
        diameter = float(np.exp(rng.uniform(np.log(0.15), np.log(0.7))))
        crater = Crater(spot(), diameter, float(rng.uniform(0.3, 0.95)))
        if len(craters) < counts[1] and free(np.array([crater.center_mm])):
            craters.append(crater)
            taken = np.vstack((taken, [crater.center_mm]))
    return tuple(grooves), tuple(craters)


def groove_patch(groove: Groove, grid: Grid) -> Patch:
    """Which pixels a scratch covers, and by how much: its width's overlap with the pixel across its direction."""
    window = grid.window(groove.points_mm, 0.5 * groove.width_mm + grid.mm_per_px)
    x_mm, y_mm = grid.drawing_mm(window)
    at = np.column_stack((x_mm.ravel(), y_mm.ravel())).astype(float)
    starts, steps = groove.points_mm[:-1], np.diff(groove.points_mm, axis=0)
    best = np.full(len(at), np.inf)
    along = np.zeros((len(at), 2))
    for start, step in zip(starts, steps, strict=True):
        share = np.clip((at - start) @ step / (step @ step), 0.0, 1.0)
        away = np.hypot(*(at - start - share[:, None] * step).T)
        nearer = away < best
        best[nearer] = away[nearer]
        along[nearer] = step / np.hypot(*step)
    overlap = np.minimum(best + 0.5 * grid.mm_per_px, 0.5 * groove.width_mm)
    overlap -= np.maximum(best - 0.5 * grid.mm_per_px, -0.5 * groove.width_mm)
    taken = np.clip(overlap / grid.mm_per_px, 0.0, 1.0).reshape(x_mm.shape) * groove.strength
    rows, columns = np.nonzero(taken)
    return Patch(
        rows + window[0].start,
        columns + window[1].start,
        taken[rows, columns].astype(np.float32),
        groove.alpha,
        along=along.reshape(*x_mm.shape, 2)[rows, columns],
    )


def crater_patch(crater: Crater, grid: Grid) -> Patch:
    """Which pixels a pit covers, by how much, and the slope that its bowl-shaped wall adds there."""
    radius = 0.5 * crater.diameter_mm
    window = grid.window(np.array([crater.center_mm]), radius + grid.mm_per_px)
    x_mm, y_mm = grid.drawing_mm(window)
    away = np.stack((x_mm - crater.center_mm[0], y_mm - crater.center_mm[1]), axis=-1).astype(float)
    taken = np.clip((radius - np.hypot(*away.T).T) / grid.mm_per_px + 0.5, 0.0, 1.0) * crater.strength
    rows, columns = np.nonzero(taken)
    return Patch(
        rows + window[0].start,
        columns + window[1].start,
        taken[rows, columns].astype(np.float32),
        crater.alpha,
        wall=crater.wall * away[rows, columns] / radius,
    )
