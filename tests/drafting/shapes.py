"""What the drawings of the tests are drawn of: outlines by formulas, and how they are laid into a file.

Nothing of the reader is used.
"""

import math
from dataclasses import dataclass, field

import ezdxf
import numpy as np
from ezdxf.document import Drawing
from scipy.interpolate import BSpline, make_interp_spline

from vision.records.inputs import Array


@dataclass(frozen=True)
class Made:
    """A drawing as written: the outline that made it (n, 2) mm, options a person gives, or what refuses it."""

    truth: Array
    options: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()  # without the options, each must be in the line
    holes: tuple[Array, ...] = field(default=())
    told: tuple[str, ...] = ()


def spoon(length: float = 140.0, bowl: float = 17.0, neck: float = 3.0, end: float = 8.0, count: int = 20_001) -> Array:
    """A spoon, counter-clockwise: half width from a smooth formula, rounded at both tips."""
    u = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, count)))
    x = length * u
    half = neck + (bowl - neck) / (1 + np.exp((u - 0.28) / 0.035)) + (end - neck) / (1 + np.exp((0.78 - u) / 0.09))
    half = half * np.sqrt(np.clip(1 - (1 - np.minimum(u / 0.17, 1.0)) ** 2, 0, 1))
    half = half * np.sqrt(np.clip(1 - (1 - np.minimum((1 - u) / 0.06, 1.0)) ** 2, 0, 1))
    lower, upper = np.column_stack([x, -half]), np.column_stack([x, half])
    return np.vstack([lower, upper[-2:0:-1]])


def arc(center: tuple[float, float], radius: float, begin: float, end: float, count: int = 4001) -> Array:
    a = np.radians(np.linspace(begin, end, count))
    return np.column_stack([center[0] + radius * np.cos(a), center[1] + radius * np.sin(a)])


def blank(length: float = 150.0, wide: float = 20.0, narrow: float = 7.0) -> Array:
    """A blank of arcs and lines: a round wide end, a taper, a round narrow end; its handle's end is at the right."""
    r, s = wide / 2, narrow / 2
    lean = math.degrees(math.asin((r - s) / (length - r - s)))
    left = arc((r, 0.0), r, 90 - lean, 270 + lean)
    right = arc((length - s, 0.0), s, -90 + lean, 90 - lean)
    return np.vstack([left, right])


def splines(drawing: Drawing, truth: Array, degree: int, unit: float = 1.0, points: int = 300) -> Array:
    """The outline as two clamped splines of a degree; the truth is what these splines are, by SciPy."""
    space, exact = drawing.modelspace(), []
    half = len(truth) // 2 + 1
    for part in (truth[:half], np.vstack([truth[half - 1 :], truth[:1]])):
        t = np.linspace(0.0, 1.0, len(part))
        at = np.linspace(0, len(part) - 1, points).round().astype(int)
        fitted = make_interp_spline(t[at], part[at] / unit, k=degree)
        entity = space.add_spline(degree=degree)
        entity.control_points, entity.knots = fitted.c, fitted.t
        exact.append(BSpline(fitted.t, fitted.c, degree)(np.linspace(0, 1, 12_001))[:-1] * unit)
    return np.vstack(exact)


def moved(points: Array, turn_deg: float = 0.0, by: tuple[float, float] = (0.0, 0.0), mirror: bool = False) -> Array:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    flipped = points * ([1.0, -1.0] if mirror else [1.0, 1.0])
    return np.asarray(flipped @ np.array([[c, s], [-s, c]]) + np.asarray(by))


def new(version: str, units: int | None) -> Drawing:
    drawing = ezdxf.new(version, setup=True)
    drawing.header["$INSUNITS"] = 0 if units is None else units
    return drawing


def frame(drawing: Drawing, unit: float = 1.0, size: tuple[float, float] = (420.0, 297.0)) -> None:
    """A title frame with a title block, text, and a centre line through the piece."""
    space = drawing.modelspace()
    w, h = size[0] / unit, size[1] / unit
    ox, oy = -60.0 / unit, -h / 2
    space.add_lwpolyline([(ox, oy), (ox + w, oy), (ox + w, oy + h), (ox, oy + h)], close=True)
    for k in range(4):
        y = oy + 10.0 * k / unit
        space.add_line((ox + w - 180 / unit, y), (ox + w, y))
    space.add_line((ox + w - 180 / unit, oy), (ox + w - 180 / unit, oy + 40 / unit))
    space.add_text("TABLE SPOON", height=4 / unit).set_placement((ox + w - 170 / unit, oy + 3 / unit))


def centre_line(drawing: Drawing, a: tuple[float, float], b: tuple[float, float], layer: str = "0") -> None:
    drawing.modelspace().add_line(a, b, {"linetype": "CENTER", "layer": layer})


def lines(drawing: Drawing, points: Array) -> None:
    """A polygon of plain lines."""
    space = drawing.modelspace()
    for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
        space.add_line(tuple(a), tuple(b))


def tapered(drawing: Drawing, unit: float = 1.0, by: tuple[float, float] = (0.0, 0.0), skip: float = 0.0) -> Array:
    """The blank as two arcs and two lines, `skip` mm of a line left out; its truth."""
    truth, r, s, length = blank(), 10.0, 3.5, 150.0
    lean = math.degrees(math.asin((r - s) / (length - r - s)))
    space = drawing.modelspace()
    ox, oy = by
    space.add_arc(((r + ox) / unit, oy / unit), r / unit, 90 - lean, 270 + lean)
    space.add_arc(((length - s + ox) / unit, oy / unit), s / unit, -90 + lean, 90 - lean)
    p, q = truth[0] + by, truth[-1] + by
    v, w = truth[4000] + by, truth[4001] + by
    along = (q - p) / np.hypot(*(q - p))
    space.add_line(tuple(p / unit), tuple((q - skip * along) / unit))
    space.add_line(tuple(v / unit), tuple(w / unit))
    return truth


def fork() -> Array:
    """A fork: four tines with square gaps, a neck, a handle; sides of straight lines, one tine longer by 1 mm."""
    upper = [(0, 11), (40, 11), (60, 9), (75, 3), (120, 3), (180, 7), (186, 5), (188, 0)]
    lower = [(x, -y) for x, y in upper[-2::-1]]
    tines: list[tuple[float, float]] = []
    for k, y in enumerate((-11.0, -5.0, 1.0, 7.0)):
        tip = -1.0 if k == 3 else 0.0
        tines += [(tip, y), (tip, y + 4.0)]
        if k < 3:
            tines += [(38.0, y + 4.0), (38.0, y + 6.0)]
    return np.array([*tines, *upper[1:], *lower[:-1]], float)
