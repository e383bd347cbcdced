"""The curves of an SVG path as chords: what `fontTools` reads of path data, drawn into points in mm."""

import math
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from vision.errors import Unusable
from vision.formats.dxf_taking import CHORD_MM, MOST_POINTS
from vision.formats.strict import LARGEST_MM
from vision.records import Array

NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_LARGEST = 1e9
_PATH_DATA = re.compile(r"[MmZzLlHhVvCcSsQqTtAa0-9eE.,+\-\s]*")


def numbers(path: Path, what: str, text: str) -> list[float]:
    """The numbers in a text, none so large that sums of them would leave what a float holds."""
    found = [float(one) for one in re.findall(NUMBER, text)]
    if any(abs(one) > _LARGEST for one in found):
        raise Unusable(path, what, f"numbers of at most {_LARGEST:g} expected", text[:40])
    return found


class PathCurves:
    """A pen in `fontTools`' sense that keeps each subpath as points (n, 2) mm; `matrix` (2, 3): user units to mm."""

    def __init__(self, path: Path, matrix: Array) -> None:
        self.path, self.matrix = path, matrix
        self.found: list[Array] = []
        self._pieces: list[Array] = []
        self._at, self._start = (0.0, 0.0), (0.0, 0.0)
        self._points = MOST_POINTS

    def draw(self, data: str) -> None:
        """Draw path data."""
        from fontTools.svgLib.path.parser import parse_path

        if not _PATH_DATA.fullmatch(data) or re.search(r"\.[eE]", data):
            raise Unusable(self.path, "path", "path data of SVG 1.1 expected", data[:40])
        numbers(self.path, "path", data)
        parse_path(data, self)
        self.endPath()

    def moveTo(self, to: tuple[float, float]) -> None:  # noqa: N802 - the pen's own name
        self.endPath()
        self._at = self._start = to

    def lineTo(self, to: tuple[float, float]) -> None:  # noqa: N802
        self._add(np.array([self._at, to]), to)

    def curveTo(self, one: tuple[float, float], two: tuple[float, float], to: tuple[float, float]) -> None:  # noqa: N802
        control = np.array([self._at, one, two, to])
        t = self._steps(6.0 * float(np.abs(np.diff(self._mm(control), 2, axis=0)).sum(axis=1).max()))
        self._add(_bernstein(t, 3) @ control, to)

    def qCurveTo(self, one: tuple[float, float], to: tuple[float, float]) -> None:  # noqa: N802
        control = np.array([self._at, one, to])
        t = self._steps(2.0 * float(np.abs(np.diff(self._mm(control), 2, axis=0)).sum(axis=1).max()))
        self._add(_bernstein(t, 2) @ control, to)

    def arcTo(  # noqa: N802
        self, rx: float, ry: float, rotation: float, large: bool, sweep: bool, to: tuple[float, float]
    ) -> None:
        """An elliptical arc from where the pen is; radii too small are made large enough, as SVG has it."""
        start, end = np.array(self._at), np.array(to)
        if np.array_equal(start, end):
            return
        rx, ry = abs(rx), abs(ry)
        if rx == 0.0 or ry == 0.0:
            self.lineTo(to)
            return
        c, s = math.cos(math.radians(rotation)), math.sin(math.radians(rotation))
        turn = np.array([[c, -s], [s, c]])
        x, y = turn.T @ (start - end) / 2.0
        grown = math.sqrt((x / rx) ** 2 + (y / ry) ** 2)
        rx, ry = rx * max(grown, 1.0), ry * max(grown, 1.0)
        over = max(rx**2 * ry**2 - rx**2 * y**2 - ry**2 * x**2, 0.0) / (rx**2 * y**2 + ry**2 * x**2)
        middle = (-1.0 if bool(large) == bool(sweep) else 1.0) * math.sqrt(over) * np.array([rx * y / ry, -ry * x / rx])
        ends = [math.atan2((v - middle[1]) / ry, (u - middle[0]) / rx) for u, v in ((x, y), (-x, -y))]
        angle = (ends[1] - ends[0]) % (2.0 * math.pi)
        if not sweep and angle > 0.0:
            angle -= 2.0 * math.pi
        largest = float(np.linalg.norm(self.matrix[:, :2] @ turn @ np.diag([rx, ry]), 2))
        t = ends[0] + angle * self._steps(largest * angle**2)
        points = (turn @ (np.array([rx * np.cos(t), ry * np.sin(t)]) + middle[:, None])).T + (start + end) / 2.0
        points[0], points[-1] = start, end
        self._add(points, to)

    def closePath(self) -> None:  # noqa: N802
        if self._pieces:
            self._add(np.array([self._at, self._start]), self._start)
        self.endPath()
        self._at = self._start

    def endPath(self) -> None:  # noqa: N802
        if self._pieces:
            points = np.concatenate([self._pieces[0][:1], *(piece[1:] for piece in self._pieces)])
            self.found.append(points)
        self._pieces = []

    def _mm(self, points: Array) -> Array:
        moved: Array = points @ self.matrix[:, :2].T + self.matrix[:, 2]
        return moved

    def _steps(self, second: float) -> Array:
        """Even steps from 0 to 1 that keep chords near a curve of this largest second derivative (mm)."""
        if not math.isfinite(second):
            raise Unusable(self.path, "path", "finite coordinates expected", "NaN or infinity")
        count = math.ceil(math.sqrt(second / (8.0 * CHORD_MM))) + 1
        if count > self._points:
            raise Unusable(self.path, "path", f"curves of at most {MOST_POINTS} chords expected")
        return np.linspace(0.0, 1.0, count + 1)

    def _add(self, points: Array, to: tuple[float, float]) -> None:
        moved = self._mm(points)
        if not (np.abs(moved) <= LARGEST_MM).all():
            raise Unusable(
                self.path, "path", f"a drawing within {LARGEST_MM:g} mm of its origin expected; check its units"
            )
        self._points -= len(points)
        if self._points < 0:
            raise Unusable(self.path, "path", f"curves of at most {MOST_POINTS} chords expected")
        self._pieces.append(moved)
        self._at = to


def _bernstein(t: Array, degree: int) -> Array:
    """Weights (len(t), degree + 1) of a Bezier curve's control points."""
    return np.column_stack([math.comb(degree, k) * t**k * (1.0 - t) ** (degree - k) for k in range(degree + 1)])


def shape_path(kind: str, said: Mapping[str, str]) -> str:
    """A shape as path data, as SVG's own chapter on shapes has it; a number has no unit."""
    if kind == "path":
        return said.get("d", "")
    number = {key: float(value) for key, value in said.items() if re.fullmatch(NUMBER, value.strip())}

    def of(key: str) -> float:
        if key in said and key not in number:
            raise ValueError(f"{kind}: a plain number for {key} expected")
        return number.get(key, 0.0)

    if kind in ("polyline", "polygon"):
        return f"M{said.get('points', '')}{'Z' if kind == 'polygon' else ''}" if said.get("points", "").strip() else ""
    if kind == "line":
        return f"M{of('x1')!r},{of('y1')!r}L{of('x2')!r},{of('y2')!r}"
    if kind == "rect":
        return _rect(of("x"), of("y"), of("width"), of("height"), number.get("rx"), number.get("ry"))
    rx, ry = (of("r"), of("r")) if kind == "circle" else (of("rx"), of("ry"))
    x, y = of("cx"), of("cy")
    if rx <= 0.0 or ry <= 0.0:
        return ""
    half = f"A{rx!r},{ry!r},0,0,1"
    return f"M{x + rx!r},{y!r}{half},{x - rx!r},{y!r}{half},{x + rx!r},{y!r}Z"


def _rect(x: float, y: float, w: float, h: float, rx: float | None, ry: float | None) -> str:
    if w <= 0.0 or h <= 0.0:
        return ""
    a = min((rx if rx is not None else ry) or 0.0, w / 2.0)
    b = min((ry if ry is not None else rx) or 0.0, h / 2.0)
    arc = f"A{a!r},{b!r},0,0,1"
    return (
        f"M{x + a!r},{y!r}H{x + w - a!r}{arc},{x + w!r},{y + b!r}V{y + h - b!r}{arc},{x + w - a!r},{y + h!r}"
        f"H{x + a!r}{arc},{x!r},{y + h - b!r}V{y + b!r}{arc},{x + a!r},{y!r}Z"
    )
