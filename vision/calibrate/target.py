"""The calibration target, and finding it in a picture: which corner or disc is where, to a pixel or so."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import Unusable
from vision.records import Array

Kind = Literal["chessboard", "circles"]

# Tried in turn: a board that is blurred, noisy or huge is often found only when reduced.
_REDUCTIONS = (1, 2, 4)
# A picture whose middle 98 % of pixels span less than this share of full scale shows nothing.
_MIN_CONTRAST = 0.08
# A node outside the asked grid that answers this well (a true corner is 1, the board's rim 0.5) is one more row.
_ONE_MORE = 0.75
# Of the smallest pitch: further than this from one plane, lens and all, no grid of a true board is seen.
_BENT = 0.4
# The smallest grid by which a part of a board is recognised, to say what is seen instead.
_PART = 3


@dataclass(frozen=True, slots=True)
class Target:
    """A flat target: `columns` x `rows` inner corners (chessboard) or discs (circles), `pitch_mm` apart.

    `pitch_tolerance_mm` is the half-width of what its maker promises for the pitch.
    """

    kind: Kind
    columns: int
    rows: int
    pitch_mm: float
    pitch_tolerance_mm: float = 0.0

    @property
    def points_mm(self) -> Array:
        """Nodes (n, 2), row by row, x along a row; y so that a target lying on the tray is seen with y down."""
        x, y = np.meshgrid(np.arange(self.columns), np.arange(self.rows))
        return np.column_stack((x.ravel(), y.ravel())).astype(float) * self.pitch_mm

    @property
    def words(self) -> str:
        """What to look for, in words."""
        what = "inner corners" if self.kind == "chessboard" else "discs"
        return f"{self.columns} x {self.rows} {what}"


def find_nodes(pixels: NDArray[np.uint8], target: Target, name: str, *, classic_first: bool = False) -> Array:
    """Nodes (n, 2) px in the order of `Target.points_mm`, right-handed as seen from above.

    Parameters
    ----------
    pixels
        (rows, columns), 8 bit.
    name
        The picture's name, for what a person reads.
    classic_first
        Use the older of OpenCV's two chessboard finders first, as published calibrations did.

    Raises
    ------
    Unusable
        No such target is seen; the text says what was seen instead.
    """
    low, high = np.percentile(pixels, (1.0, 99.0))
    if high - low < _MIN_CONTRAST * 255:
        raise Unusable(
            name, "", "the picture is even: take one that shows the target", f"levels {low:.0f} to {high:.0f}"
        )
    for reduction in _REDUCTIONS:
        small = _reduced(pixels, reduction)
        found = _discs(small, target) if target.kind == "circles" else _chessboard(small, target, classic_first)
        if found is not None:
            nodes = (found + 0.5) * reduction - 0.5
            nodes = _right_handed(nodes, target)
            if target.kind == "chessboard":
                _refuse_other(pixels, nodes, target, name)
            return nodes
    raise Unusable(name, "", f"no target of {target.words} is seen", _seen_instead(pixels, target))


def smallest_pitch_px(nodes_px: Array, target: Target) -> float:
    """Smallest distance between neighbouring nodes."""
    grid = nodes_px.reshape(target.rows, target.columns, 2)
    return float(min(np.linalg.norm(np.diff(grid, axis=a), axis=2).min() for a in (0, 1)))


def neighbours(nodes_px: Array, target: Target) -> tuple[Array, Array]:
    """Directions (n, 2), (n, 2) along the target's rows and columns at each node, px per pitch."""
    grid = nodes_px.reshape(target.rows, target.columns, 2)
    along, down = (np.asarray(np.gradient(grid, axis=axis), dtype=float).reshape(-1, 2) for axis in (1, 0))
    return along, down


def _reduced(pixels: NDArray[np.uint8], times: int) -> NDArray[np.uint8]:
    if times == 1:
        return pixels
    small = cv2.resize(pixels, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8)


def _chessboard(pixels: NDArray[np.uint8], target: Target, classic_first: bool) -> Array | None:
    size = (target.columns, target.rows)
    finders: list[Callable[[], Any]] = [
        lambda: cv2.findChessboardCornersSB(pixels, size),
        lambda: cv2.findChessboardCorners(pixels, size),
    ]
    for finder in reversed(finders) if classic_first else finders:
        seen, corners = finder()
        if seen:
            return np.asarray(corners, dtype=float).reshape(-1, 2)
    return None


def _discs(pixels: NDArray[np.uint8], target: Target) -> Array | None:
    settings = cv2.SimpleBlobDetector.Params()
    settings.maxArea = pixels.size / (target.columns * target.rows)
    settings.minArea = 12.0
    settings.minDistBetweenBlobs = 4.0
    for view in (pixels, 255 - pixels):
        seen, centres = cv2.findCirclesGrid(
            view,
            (target.columns, target.rows),
            flags=cv2.CALIB_CB_SYMMETRIC_GRID,
            blobDetector=cv2.SimpleBlobDetector.create(settings),
        )
        if seen:
            return np.asarray(centres, dtype=float).reshape(-1, 2)
    return None


def _right_handed(nodes: Array, target: Target) -> Array:
    """Turn the order so that x to y runs clockwise on the screen, as a target lying face up is seen."""
    grid = nodes.reshape(target.rows, target.columns, 2)
    along, down = grid[0, -1] - grid[0, 0], grid[-1, 0] - grid[0, 0]
    if along[0] * down[1] - along[1] * down[0] < 0:
        grid = grid[::-1]
    # Of the two ways round that remain, the one whose rows run rightwards.
    if (grid[0, -1] - grid[0, 0])[0] < 0:
        grid = grid[::-1, ::-1]
    return np.asarray(grid, dtype=float).reshape(-1, 2)


def _refuse_other(pixels: NDArray[np.uint8], nodes: Array, target: Target, name: str) -> None:
    """A larger board holds smaller ones, and a finder that must find the wrong count bends the grid to get it."""
    found, _ = cv2.findHomography(target.points_mm / target.pitch_mm, nodes)
    to_px = np.asarray(found, dtype=np.float64)
    if found is None or _misfit(to_px, nodes, target) > _BENT * smallest_pitch_px(nodes, target):
        raise Unusable(
            name, "", f"expected {target.words}", "points that lie on no flat target: count the inner corners again"
        )
    column, row = np.arange(target.columns), np.arange(target.rows)
    for word, last, along in (("columns", target.columns - 1, row), ("rows", target.rows - 1, column)):
        for edge, beyond in ((0, -1), (last, last + 1)):
            lines = [np.column_stack((np.full(len(along), at), along)).astype(float) for at in (edge, beyond)]
            if word == "rows":
                lines = [line[:, ::-1] for line in lines]
            inside, outside = (_answer(pixels, to_px, line) for line in lines)
            if outside > _ONE_MORE * inside:
                raise Unusable(
                    name, "", f"expected {target.words}", f"more {word} than that: count the inner corners again"
                )


def _misfit(to_px: Array, nodes: Array, target: Target) -> float:
    return float(np.linalg.norm(_project(to_px, target.points_mm / target.pitch_mm) - nodes, axis=1).max())


def _project(to_px: Array, points: Array) -> Array:
    carried = cv2.perspectiveTransform(points.reshape(-1, 1, 2).astype(float), to_px)
    return np.asarray(carried, dtype=float).reshape(-1, 2)


def _answer(pixels: NDArray[np.uint8], to_px: Array, nodes: Array) -> float:
    """How chequered the four squares round some nodes are: median of |a - b + c - d|; 0 outside the picture."""
    height, width = pixels.shape
    levels = []
    for i, j in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        at = np.round(_project(to_px, nodes + 0.3 * np.array([i, j]))).astype(int)
        if (at < 0).any() or (at[:, 0] >= width).any() or (at[:, 1] >= height).any():
            return 0.0
        levels.append(pixels[at[:, 1], at[:, 0]].astype(float))
    a, b, c, d = levels
    return float(np.median(np.abs(a - b + c - d)))


def _seen_instead(pixels: NDArray[np.uint8], target: Target) -> str:
    if target.kind == "circles":
        return "nothing like it: is the whole target in the picture, sharp, and the count right?"
    for reduction in _REDUCTIONS:
        small = _reduced(pixels, reduction)
        flags = cv2.CALIB_CB_LARGER + cv2.CALIB_CB_EXHAUSTIVE
        seen, _, meta = cv2.findChessboardCornersSBWithMeta(small, (_PART, _PART), flags)
        if seen:
            long, short = max(meta.shape), min(meta.shape)
            return f"a part of about {long} x {short}: show the whole target, sharp, or correct the count"
    return "no chessboard at all: is it in the picture, whole and sharp?"
