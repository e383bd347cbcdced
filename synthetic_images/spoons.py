"""The invented patterns: a teaspoon and a dessert spoon, each a closed curve from a formula of our own.

The outline is y(phi) at x(phi) = L/2 (1 - cos phi), with half-width

    h(x) = sqrt(1 - exp(-2x/a)) sqrt(1 - exp(-2(L - x)/b)) [n + (w - n) S((q - x)/r) + (e - n) S((x - p)/g)]

where S is the logistic function, w, n and e the levels of bowl, neck and handle end. The two square roots round the
ends (radius level^2 / a and level^2 / b at the tips), so that the closed curve is smooth everywhere.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

Array = NDArray[np.float64]

# Vertices of the dense table that arc lengths, normals and curvatures are taken from; 100 000 on 330 mm leave chords
# within 1e-7 mm of the curve.
_DENSE = 100_000


@dataclass(frozen=True, slots=True)
class Hole:
    """A punched round hole: centre in the drawing (mm) and diameter (mm)."""

    center_mm: tuple[float, float]
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class ZoneSpan:
    """A stretch of the outline by span of drawing x (mm), as `part.toml` states it."""

    name: str
    x_mm: tuple[float, float]
    datum: bool = False
    bend: bool = False


@dataclass(frozen=True, slots=True)
class Pattern:
    """A spoon pattern: its drawing's formula (see the module) and what the part's file says of it. All lengths mm."""

    part: str
    name: str
    length_mm: float
    bowl_half_mm: float
    neck_half_mm: float
    end_half_mm: float
    tip_mm: float
    end_mm: float
    bowl_fall_mm: tuple[float, float]
    handle_rise_mm: tuple[float, float]
    zones: tuple[ZoneSpan, ...]
    surface_x_mm: tuple[float, float]
    bowl_depth_mm: float
    crown_radius_mm: float
    holes: tuple[Hole, ...] = ()
    surface_inset_mm: float = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A closed outline at even steps of arc length, counter-clockwise, first vertex not repeated.

    `s_mm` (n,), `points_mm` (n, 2) drawing, `normals` (n, 2) outward unit vectors, `perimeter_mm`.
    """

    s_mm: Array
    points_mm: Array
    normals: Array
    perimeter_mm: float


TEASPOON = Pattern(
    part="TS-135",
    name="Teaspoon 135",
    length_mm=135.0,
    bowl_half_mm=17.2,
    neck_half_mm=3.0,
    end_half_mm=8.3,
    tip_mm=22.0,
    end_mm=11.0,
    bowl_fall_mm=(36.5, 4.8),
    handle_rise_mm=(100.0, 13.0),
    zones=(
        ZoneSpan("bowl", (0.0, 46.0), datum=True),
        ZoneSpan("neck", (46.0, 58.0)),
        ZoneSpan("handle", (58.0, 135.0), bend=True),
    ),
    surface_x_mm=(0.0, 44.0),
    bowl_depth_mm=6.5,
    crown_radius_mm=18.0,
)

DESSERT_SPOON = Pattern(
    part="DS-182",
    name="Dessert spoon 182",
    length_mm=182.0,
    bowl_half_mm=23.4,
    neck_half_mm=3.6,
    end_half_mm=10.4,
    tip_mm=31.0,
    end_mm=13.0,
    bowl_fall_mm=(48.5, 6.2),
    handle_rise_mm=(136.0, 17.0),
    zones=(
        ZoneSpan("bowl", (0.0, 61.0), datum=True),
        ZoneSpan("neck", (61.0, 76.0)),
        ZoneSpan("handle", (76.0, 182.0), bend=True),
    ),
    surface_x_mm=(0.0, 59.0),
    bowl_depth_mm=8.5,
    crown_radius_mm=22.0,
    holes=(Hole((174.0, 0.0), 4.5),),
)

PATTERNS = {pattern.part: pattern for pattern in (TEASPOON, DESSERT_SPOON)}


def half_width_mm(pattern: Pattern, x_mm: Array) -> Array:
    """Half the width of the spoon at drawing x (mm); 0 beyond its ends."""
    x = np.clip(x_mm, 0.0, pattern.length_mm)
    fall_at, fall_over = pattern.bowl_fall_mm
    rise_at, rise_over = pattern.handle_rise_mm
    level = (
        pattern.neck_half_mm
        + (pattern.bowl_half_mm - pattern.neck_half_mm) * expit((fall_at - x) / fall_over)
        + (pattern.end_half_mm - pattern.neck_half_mm) * expit((x - rise_at) / rise_over)
    )
    tip = np.sqrt(-np.expm1(-2.0 * x / pattern.tip_mm))
    end = np.sqrt(-np.expm1(-2.0 * (pattern.length_mm - x) / pattern.end_mm))
    result: Array = level * tip * end
    return result


def curve_mm(pattern: Pattern, phi: Array) -> Array:
    """Points (n, 2) of the outline at phi in radians, 0 at the bowl's tip, counter-clockwise (lower side first)."""
    x = 0.5 * pattern.length_mm * (1.0 - np.cos(phi))
    return np.column_stack((x, -np.sign(np.sin(phi)) * half_width_mm(pattern, x)))


@lru_cache(maxsize=32)
def outline(pattern: Pattern, step_mm: float = 0.025) -> Outline:
    """Sample the drawing's outline at even steps of arc length, each at most `step_mm` long. Not to be written to."""
    phi = np.linspace(0.0, 2.0 * np.pi, _DENSE + 1)
    dense = curve_mm(pattern, phi)
    dense[-1] = dense[0]
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(dense, axis=0).T))))
    perimeter = float(along[-1])
    count = int(np.ceil(perimeter / step_mm))
    s: Array = np.arange(count, dtype=float) * (perimeter / count)
    at = np.interp(s, along, phi)
    points = curve_mm(pattern, at)
    # Central difference over one dense step: the curve's curvature radius is mm, the step 0.003 mm.
    tangent = curve_mm(pattern, at + phi[1]) - curve_mm(pattern, at - phi[1])
    tangent /= np.hypot(tangent[:, 0], tangent[:, 1])[:, None]
    normals: Array = np.column_stack((tangent[:, 1], -tangent[:, 0]))
    for shared in (s, points, normals):
        shared.setflags(write=False)
    return Outline(s, points, normals, perimeter)


def circle_mm(hole: Hole, step_mm: float = 0.025) -> Array:
    """Vertices (n, 2) of a hole's rim, counter-clockwise; the polygon has exactly the circle's area."""
    count = max(16, int(np.ceil(np.pi * hole.diameter_mm / step_mm)))
    turn = 2.0 * np.pi * np.arange(count) / count
    # A regular polygon of n corners on radius r has area n r^2 sin(2 pi/n)/2: its corners are moved out to match.
    radius = 0.5 * hole.diameter_mm * np.sqrt(2.0 * np.pi / (count * np.sin(2.0 * np.pi / count)))
    rim: Array = np.asarray(hole.center_mm) + radius * np.column_stack((np.cos(turn), np.sin(turn)))
    return rim


def centroid_mm(points_mm: Array) -> Array:
    """Centroid (2,) of the area inside a closed polygon (n, 2), by Green's theorem."""
    x, y = points_mm.T
    x_next, y_next = np.roll(points_mm, -1, axis=0).T
    cross = x * y_next - x_next * y
    moments = np.array([np.sum((x + x_next) * cross), np.sum((y + y_next) * cross)])
    middle: Array = moments / (3.0 * np.sum(cross))
    return middle
