"""Where pieces lie: in rows on an orderly tray, or anywhere on a crowded one that holds all that can go wrong."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely

from synthetic_images.outlines.defects import Defects
from synthetic_images.outlines.scene import (
    Dirt,
    Foreign,
    Piece,
    dust,
    hair,
    piece_rings_mm,
    polygon,
    strip,
    washer,
)
from synthetic_images.spoons import Array, Pattern, outline
from vision.errors import Unusable

# Clear space between things on a crowded tray, and to the frame's edge (mm).
_CLEAR_MM = 3.0
_TRIES = 2000
# Steps of the outlines that are moved about, and how near is contact: chords stay within 0.001 mm of the curve.
_COARSE_MM, _CONTACT_MM = 0.2, 1e-3


class _Crowd:
    """The tray as it fills: keeps what lies where, so that the next thing finds free room."""

    def __init__(self, size_mm: tuple[float, float], rng: np.random.Generator) -> None:
        self.frame = shapely.box(0.0, -size_mm[1], size_mm[0], 0.0)
        self.inside = self.frame.buffer(-_CLEAR_MM)
        self.rng = rng
        self.taken: list[shapely.Polygon] = []

    def free(self, shape: shapely.Polygon, others: list[shapely.Polygon]) -> bool:
        return not any(shapely.dwithin(shape, other, _CLEAR_MM) for other in others)

    def spot(self) -> tuple[float, float]:
        left, bottom, right, top = self.frame.bounds
        return float(self.rng.uniform(left, right)), float(self.rng.uniform(bottom, top))


def _no_room(what: str) -> Unusable:
    """Chance found no free place: rare, and another seed helps."""
    return Unusable("the crowded tray", what, "room on the tray; render with another seed")


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
    pieces.append(_lay(tray, Piece(_another(pattern), (0.0, 0.0), 0.0, state="unlike")))
    pieces.append(_lay_across_edge(tray, pattern))
    outer = float(rng.uniform(12.0, 18.0))
    size = (float(rng.uniform(20.0, 32.0)), float(rng.uniform(4.0, 7.0)))
    turn = float(rng.uniform(-90.0, 90.0))
    things = (
        _lay_thing(tray, lambda center: washer(center, outer, 0.5 * outer)),
        _lay_thing(tray, lambda center: strip(center, size, turn)),
    )
    return tuple(pieces), things


def _another(pattern: Pattern) -> Pattern:
    """A spoon of another pattern: shorter, with a wider bowl; a hole keeps its place from the handle's end."""
    shorter = 0.18 * pattern.length_mm
    holes = tuple(replace(hole, center_mm=(hole.center_mm[0] - shorter, hole.center_mm[1])) for hole in pattern.holes)
    return replace(
        pattern,
        part="other",
        length_mm=pattern.length_mm - shorter,
        bowl_half_mm=1.1 * pattern.bowl_half_mm,
        holes=holes,
    )


def _shape(pattern: Pattern, defects: Defects) -> shapely.Polygon:
    """A piece's area about its own centroid, coarse enough to be moved about quickly."""
    return polygon(piece_rings_mm(Piece(pattern, (0.0, 0.0), 0.0, defects), outline(pattern, _COARSE_MM)))


def _at(shape: shapely.Polygon, piece: Piece) -> shapely.Polygon:
    """The area where a piece lies."""
    turned = shapely.affinity.rotate(shape, piece.angle_deg, origin=(0.0, 0.0))
    return shapely.affinity.translate(turned, *piece.center_mm)


def _lay(tray: _Crowd, piece: Piece) -> Piece:
    """Put a piece anywhere that is free."""
    shape = _shape(piece.pattern, piece.defects)
    for _ in range(_TRIES):
        placed = replace(piece, center_mm=tray.spot(), angle_deg=float(tray.rng.uniform(-180.0, 180.0)))
        area = _at(shape, placed)
        if tray.inside.contains(area) and tray.free(area, tray.taken):
            tray.taken.append(area)
            return placed
    raise _no_room(f"one more piece of {piece.pattern.part}")


def _lean(tray: _Crowd, first: Piece, defects: Defects) -> Piece:
    """Push a second piece against the first from a random side, 0.02 to 0.5 mm beyond first contact."""
    fixed, others = tray.taken[-1], tray.taken[:-1]
    shape = _shape(first.pattern, defects)
    for _ in range(_TRIES):
        way = float(tray.rng.uniform(0.0, 2.0 * np.pi))
        towards = np.array([np.cos(way), np.sin(way)])
        start = np.asarray(first.center_mm) + first.pattern.length_mm * 1.2 * towards
        turn = float(tray.rng.uniform(-180.0, 180.0))
        moving = Piece(first.pattern, (float(start[0]), float(start[1])), turn, defects, "touching")
        area = _at(shape, moving)
        advanced = 0.0
        # The gap is never more than the way to go, so pieces can't jump into each other.
        while (gap := area.distance(fixed)) > _CONTACT_MM and advanced < 2.0 * first.pattern.length_mm:
            area = shapely.affinity.translate(area, *(-gap * towards))
            advanced += gap
        end = start - (advanced + float(tray.rng.uniform(0.02, 0.5))) * towards
        placed = replace(moving, center_mm=(float(end[0]), float(end[1])))
        area = _at(shape, placed)
        if tray.inside.contains(area) and area.intersects(fixed) and tray.free(area, others):
            tray.taken.append(area)
            return placed
    raise _no_room(f"two pieces of {first.pattern.part} that touch")


def _lay_across_edge(tray: _Crowd, pattern: Pattern) -> Piece:
    """Put a piece so that the frame cuts off a tenth to a half of it."""
    shape = _shape(pattern, Defects())
    for _ in range(_TRIES):
        piece = Piece(pattern, tray.spot(), float(tray.rng.uniform(-180.0, 180.0)), state="cut_off")
        area = _at(shape, piece)
        share = area.intersection(tray.frame).area / area.area
        if 0.5 < share < 0.9 and tray.free(area, tray.taken):
            tray.taken.append(area)
            return piece
    raise _no_room(f"a piece of {pattern.part} across its edge")


def _lay_thing(tray: _Crowd, make: Callable[[tuple[float, float]], Foreign]) -> Foreign:
    """Put a foreign thing anywhere that is free."""
    for _ in range(_TRIES):
        thing = make(tray.spot())
        shape = polygon(thing.rings_mm)
        if tray.inside.contains(shape) and tray.free(shape, tray.taken):
            tray.taken.append(shape)
            return thing
    raise _no_room("a foreign thing")


def scattered_dirt(size_mm: tuple[float, float], grains: int, hairs: int, rng: np.random.Generator) -> tuple[Dirt, ...]:
    """Dust of 0.1 to 0.6 mm and curled hairs on the light, anywhere."""

    def anywhere() -> Array:
        return np.array([rng.uniform(0.0, size_mm[0]), -rng.uniform(0.0, size_mm[1])])

    made = [dust(anywhere(), float(rng.uniform(0.1, 0.6)), float(rng.uniform(0.3, 1.0)), rng) for _ in range(grains)]
    made += [
        hair(anywhere(), float(rng.uniform(6.0, 20.0)), float(rng.uniform(0.05, 0.1)), 0.8, rng) for _ in range(hairs)
    ]
    return tuple(made)
