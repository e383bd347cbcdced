"""Where pieces lie: in rows on an orderly tray, or anywhere on a crowded one that holds all that can go wrong."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely

from synthetic_images.defects import Defects
from synthetic_images.scene import Dirt, Foreign, Piece, dust, hair, piece_rings_mm, polygon, strip, washer
from synthetic_images.spoons import Array, Pattern, outline

# Clear space between things on a crowded tray, and to the frame's edge (mm).
_CLEAR_MM = 3.0
_TRIES = 2000


class _Crowd:
    """The tray as it fills: keeps what lies where, so that the next thing finds free room."""

    def __init__(self, size_mm: tuple[float, float], rng: np.random.Generator) -> None:
        self.frame = shapely.box(0.0, -size_mm[1], size_mm[0], 0.0)
        self.rng = rng
        self.taken: list[shapely.Polygon] = []

    def free(self, shape: shapely.Polygon, others: list[shapely.Polygon]) -> bool:
        return all(shape.distance(other) > _CLEAR_MM for other in others)

    def spot(self) -> tuple[float, float]:
        left, bottom, right, top = self.frame.bounds
        return float(self.rng.uniform(left, right)), float(self.rng.uniform(bottom, top))


def rows(
    pattern: Pattern, size_mm: tuple[float, float], defects: list[Defects], rng: np.random.Generator
) -> tuple[Piece, ...]:
    """Lay pieces one above the other across the frame, heads left or right, each a little off its place and line."""
    middle = outline(pattern, 0.5).points_mm
    offset = 0.5 * pattern.length_mm - float(shapely.Polygon(middle).centroid.x)
    pitch = size_mm[1] / len(defects)
    pieces = []
    for index, defect in enumerate(defects):
        turned = bool(rng.integers(2))
        shift = rng.uniform(-0.8, 0.8, 2)
        x = 0.5 * size_mm[0] + (offset if turned else -offset) + shift[0]
        y = -(index + 0.5) * pitch + shift[1]
        angle = float(rng.uniform(-1.2, 1.2)) + (180.0 if turned else 0.0)
        pieces.append(Piece(pattern, (float(x), float(y)), angle, defect))
    return tuple(pieces)


def crowd(
    pattern: Pattern, size_mm: tuple[float, float], defects: list[Defects], rng: np.random.Generator
) -> tuple[tuple[Piece, ...], tuple[Foreign, ...]]:
    """Fill a tray: two pieces that touch, others that lie free, one unlike, one cut off, a washer and a strip."""
    tray = _Crowd(size_mm, rng)
    pieces: list[Piece] = []
    first = _lay(tray, Piece(pattern, (0.0, 0.0), 0.0, defects[0], "touching"))
    pieces += [first, _lean(tray, first, defects[1])]
    pieces += [_lay(tray, Piece(pattern, (0.0, 0.0), 0.0, defect)) for defect in defects[2:]]
    other = replace(pattern, length_mm=0.82 * pattern.length_mm, bowl_half_mm=1.1 * pattern.bowl_half_mm, part="other")
    pieces.append(_lay(tray, Piece(other, (0.0, 0.0), 0.0, state="unlike")))
    pieces.append(_lay_across_edge(tray, pattern))
    outer = float(rng.uniform(12.0, 18.0))
    size = (float(rng.uniform(20.0, 32.0)), float(rng.uniform(4.0, 7.0)))
    turn = float(rng.uniform(-90.0, 90.0))
    things = (
        _lay_thing(tray, lambda center: washer(center, outer, 0.5 * outer)),
        _lay_thing(tray, lambda center: strip(center, size, turn)),
    )
    return tuple(pieces), things


def _shape(piece: Piece) -> shapely.Polygon:
    return polygon(piece_rings_mm(piece, outline(piece.pattern, 0.1)))


def _lay(tray: _Crowd, piece: Piece) -> Piece:
    """Put a piece anywhere that is free."""
    for _ in range(_TRIES):
        placed = replace(piece, center_mm=tray.spot(), angle_deg=float(tray.rng.uniform(-180.0, 180.0)))
        shape = _shape(placed)
        if tray.frame.buffer(-_CLEAR_MM).contains(shape) and tray.free(shape, tray.taken):
            tray.taken.append(shape)
            return placed
    raise ValueError(f"a tray of {tray.frame.bounds} mm has no room for one more piece of {piece.pattern.part}")


def _lean(tray: _Crowd, first: Piece, defects: Defects) -> Piece:
    """Push a second piece against the first from a random side, 0.02 to 0.5 mm beyond first contact."""
    fixed, others = tray.taken[-1], tray.taken[:-1]
    for _ in range(_TRIES):
        way = float(tray.rng.uniform(0.0, 2.0 * np.pi))
        towards = np.array([np.cos(way), np.sin(way)])
        start = np.asarray(first.center_mm) + first.pattern.length_mm * 1.2 * towards
        moving = Piece(
            first.pattern, (float(start[0]), float(start[1])), float(tray.rng.uniform(-180.0, 180.0)), defects
        )
        shape = _shape(moving)
        advanced = 0.0
        while (gap := shape.distance(fixed)) > 1e-4 and advanced < 2.0 * first.pattern.length_mm:
            shape = shapely.affinity.translate(shape, *(-gap * towards))
            advanced += gap
        advanced += float(tray.rng.uniform(0.02, 0.5))
        end = start - advanced * towards
        placed = replace(moving, center_mm=(float(end[0]), float(end[1])), state="touching")
        shape = _shape(placed)
        inside = tray.frame.buffer(-_CLEAR_MM).contains(shape)
        if inside and shape.intersects(fixed) and tray.free(shape, others):
            tray.taken.append(shape)
            return placed
    raise ValueError(f"a tray of {tray.frame.bounds} mm has no room for two pieces of {first.pattern.part} that touch")


def _lay_across_edge(tray: _Crowd, pattern: Pattern) -> Piece:
    """Put a piece so that the frame cuts off a tenth to a half of it."""
    for _ in range(_TRIES):
        piece = Piece(pattern, tray.spot(), float(tray.rng.uniform(-180.0, 180.0)), state="cut_off")
        shape = _shape(piece)
        share = shape.intersection(tray.frame).area / shape.area
        if 0.5 < share < 0.9 and tray.free(shape, tray.taken):
            tray.taken.append(shape)
            return piece
    raise ValueError(f"a tray of {tray.frame.bounds} mm has no room for a piece of {pattern.part} across its edge")


def _lay_thing(tray: _Crowd, make: Callable[[tuple[float, float]], Foreign]) -> Foreign:
    """Put a foreign thing anywhere that is free."""
    for _ in range(_TRIES):
        thing = make(tray.spot())
        shape = polygon(thing.rings_mm)
        if tray.frame.buffer(-_CLEAR_MM).contains(shape) and tray.free(shape, tray.taken):
            tray.taken.append(shape)
            return thing
    raise ValueError(f"a tray of {tray.frame.bounds} mm has no room for a foreign thing")


def scattered_dirt(size_mm: tuple[float, float], grains: int, hairs: int, rng: np.random.Generator) -> tuple[Dirt, ...]:
    """Dust of 0.1 to 0.6 mm and curled hairs on the light, anywhere."""

    def anywhere() -> Array:
        return np.array([rng.uniform(0.0, size_mm[0]), -rng.uniform(0.0, size_mm[1])])

    made = [dust(anywhere(), float(rng.uniform(0.1, 0.6)), float(rng.uniform(0.3, 1.0)), rng) for _ in range(grains)]
    made += [
        hair(anywhere(), float(rng.uniform(6.0, 20.0)), float(rng.uniform(0.05, 0.1)), 0.8, rng) for _ in range(hairs)
    ]
    return tuple(made)
