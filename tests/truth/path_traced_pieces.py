"""The trays that `path_traced` renders: spoons under families of lights and lenses, their finish, marks and truth."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
from shapely.geometry import LineString, Point, Polygon

from synthetic_images.faces.finish import Disturber, Finish
from synthetic_images.faces.marks import Crater, Groove, random_marks
from synthetic_images.faces.truth import scored_area
from synthetic_images.spoons import TEASPOON, Array, Pattern, ZoneSpan, outline
from tests.truth.path_traced_finish import Sheet

PIECES = 3
_TRAY_MM = (150.0, 126.0)
_FADED = (0.02, 0.5)
# Box about a bowl that is rendered.
_BOX_PX = 20

ROUND_SPOON = Pattern(
    part="RS-140",
    name="Round spoon 140",
    length_mm=140.0,
    bowl_half_mm=20.0,
    neck_half_mm=3.4,
    end_half_mm=9.0,
    tip_mm=24.0,
    end_mm=12.0,
    bowl_fall_mm=(39.5, 4.0),
    handle_rise_mm=(104.0, 13.0),
    zones=(
        ZoneSpan("bowl", (0.0, 48.0), datum=True),
        ZoneSpan("neck", (48.0, 60.0)),
        ZoneSpan("handle", (60.0, 140.0), bend=True),
    ),
    surface_x_mm=(0.0, 45.0),
    bowl_depth_mm=7.5,
    crown_radius_mm=18.0,
)
LONG_SPOON = Pattern(
    part="LS-142",
    name="Long spoon 142",
    length_mm=142.0,
    bowl_half_mm=15.0,
    neck_half_mm=2.8,
    end_half_mm=8.0,
    tip_mm=26.0,
    end_mm=11.0,
    bowl_fall_mm=(40.0, 5.5),
    handle_rise_mm=(108.0, 13.0),
    zones=(
        ZoneSpan("bowl", (0.0, 50.0), datum=True),
        ZoneSpan("neck", (50.0, 62.0)),
        ZoneSpan("handle", (62.0, 142.0), bend=True),
    ),
    surface_x_mm=(0.0, 47.0),
    bowl_depth_mm=4.8,
    crown_radius_mm=18.0,
)


@dataclass(frozen=True)
class TracedFamily:
    """A spoon under low lights of one height, a dome with the camera's hole, one lens and one scale.

    `lamp_half_mm` is half the size of a low light; `exposed_quantiles` are, in turn, the quantile of a low frame's
    light that fills the sensor.
    """

    name: str
    pattern: Pattern
    elevation_deg: float
    azimuths_deg: Sequence[float]
    psf_px: float
    mm_per_px: float = 0.05
    hole_deg: float = 7.5
    lamp_half_mm: tuple[float, float] = (55.0, 20.0)
    exposed_quantiles: Sequence[float] = (0.80,)

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of a frame, even."""
        width, height = (int(side / self.mm_per_px) // 2 * 2 for side in _TRAY_MM)
        return width, height

    @property
    def bowl_mm(self) -> float:
        """Drawing x at which the bowl ends."""
        return self.pattern.zones[0].x_mm[1]

    @property
    def center_mm(self) -> Array:
        """Centroid of the drawing, which a piece's pose refers to."""
        return np.array(Polygon(outline(self.pattern).points_mm).centroid.coords[0])

    @property
    def sheet(self) -> Sheet:
        """The sheet that the bowl's textures are drawn on."""
        return Sheet(self.bowl_mm, self.pattern.bowl_half_mm + 1.0)


_SQUARE, _OBLIQUE = (0.0, 90.0, 180.0, 270.0), (45.0, 135.0, 225.0, 315.0)
_SIX, _EIGHT = tuple(np.arange(0.0, 360.0, 60.0)), tuple(np.arange(0.0, 360.0, 45.0))
_VARIED = (0.75, 0.82, 0.88)
TRACED_FAMILIES = {
    family.name: family
    for family in (
        TracedFamily("tea", TEASPOON, 25.0, _SQUARE, 0.7),
        TracedFamily("round", ROUND_SPOON, 20.0, _SQUARE, 0.75),
        TracedFamily("long", LONG_SPOON, 30.0, _OBLIQUE, 0.65),
        TracedFamily("lower", TEASPOON, 15.0, _SQUARE, 0.8),
        TracedFamily("six", LONG_SPOON, 35.0, _SIX, 0.65, 0.05, 9.0, (45.0, 15.0), _VARIED),
        TracedFamily("fine", TEASPOON, 22.0, _SQUARE, 0.85, 0.04, 6.0, (70.0, 25.0), _VARIED),
        TracedFamily("rough", ROUND_SPOON, 25.0, (30.0, 120.0, 210.0, 300.0), 0.6, 0.06, 8.0, (40.0, 30.0), _VARIED),
        TracedFamily("eight", TEASPOON, 18.0, _EIGHT, 0.7, 0.05, 10.0, (60.0, 15.0), _VARIED),
    )
}


@dataclass(frozen=True)
class TracedPiece:
    """A spoon on the tray: its pose, its finish, its marks, and what on it is no defect."""

    center_px: Array
    angle_deg: float
    finish: Finish
    grooves: tuple[Groove, ...]
    craters: tuple[Crater, ...]
    disturbers: tuple[Disturber, ...]

    @property
    def rotation(self) -> Array:
        """Turn (2, 2) from the drawing to the tray."""
        angle = math.radians(self.angle_deg)
        return np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])

    def to_px(self, family: TracedFamily, points_mm: Array) -> Array:
        """Carry points (n, 2) of the drawing into the frame."""
        turned = (points_mm - family.center_mm) @ self.rotation.T
        return np.asarray(turned / family.mm_per_px * (1, -1) + self.center_px)


def random_pieces(family: TracedFamily, rng: np.random.Generator) -> list[TracedPiece]:
    """Draw a tray's pieces, of which one is clean."""
    clean = rng.integers(PIECES)
    return [_random_piece(family, number, number == clean, rng) for number in range(PIECES)]


def _random_piece(family: TracedFamily, number: int, clean: bool, rng: np.random.Generator) -> TracedPiece:
    angle_deg = rng.normal(0.0, 0.6) + (180.0 if number == 2 else 0.0)
    x_px = family.size_px[0] / 2 + rng.uniform(-20.0, 20.0)
    y_px = (21.5 + 40.5 * number + rng.uniform(-1.0, 1.0)) / family.mm_per_px
    finish = _random_finish(rng)
    grooves: tuple[Groove, ...] = ()
    craters: tuple[Crater, ...] = ()
    if not clean:
        counts = int(rng.integers(2, 5)), int(rng.integers(4, 8))
        grooves, craters = random_marks(family.bowl_mm - 3.0, family.pattern.bowl_half_mm * 0.93, counts, rng)
    disturbers = _random_disturbers(family, grooves, craters, rng)
    return TracedPiece(np.array((x_px, y_px)), float(angle_deg), finish, grooves, craters, disturbers)


def _random_finish(rng: np.random.Generator) -> Finish:
    """Draw a finish, with strong lines more often than `synthetic_images` does, and crossed ones without them too."""
    strong, peel = bool(rng.random() < 0.4), bool(rng.random() < 0.35)
    return Finish(
        alpha=float(rng.uniform(0.055, 0.08)),
        haze=float(rng.uniform(0.007, 0.017)),
        lines=float(rng.uniform(0.6, 1.0) if strong else rng.uniform(0.2, 0.4)),
        slope=float(rng.uniform(0.02, 0.024) if strong else rng.uniform(0.0035, 0.008)),
        direction_deg=float(rng.normal(0.0, 4.0)),
        cross=bool(rng.random() < 0.2),
        peel_slope=float(rng.uniform(0.008, 0.015) if peel else rng.uniform(0.001, 0.003)),
        peel_mm=float(rng.uniform(0.43, 0.68)),
        strong_lines=strong,
        orange_peel=peel,
    )


def _random_disturbers(
    family: TracedFamily, grooves: Sequence[Groove], craters: Sequence[Crater], rng: np.random.Generator
) -> tuple[Disturber, ...]:
    half_mm = family.pattern.bowl_half_mm
    free = scored_area(family.pattern).buffer(-0.5)
    marks = [*(LineString(groove.points_mm) for groove in grooves), *(Point(crater.center_mm) for crater in craters)]

    def spot() -> tuple[float, float]:
        while True:
            at = float(rng.uniform(2.0, family.bowl_mm - 5.0)), float(rng.uniform(-half_mm, half_mm))
            # Clear of the marks, or what is found there could not be told from them.
            if free.contains(Point(at)) and all(mark.distance(Point(at)) > 1.0 for mark in marks):
                return at

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    things = [
        Disturber("dust", spot(), diameter_mm=between(0.04, 0.095), amount=between(0.2, 0.6))
        for _ in range(int(rng.choice([0, 4, 8, 12])))
    ]
    if rng.random() < 0.35:
        at, radius_mm, ring_mm = spot(), between(1.5, 3.5), between(0.2, 0.3)
        things.append(Disturber("drop", at, between(0.01, 0.02), radius_mm=radius_mm, ring_mm=ring_mm))
    if rng.random() < 0.35:
        at, turn_deg = spot(), between(0.0, 180.0)
        smear = Disturber("smear", at, between(0.008, 0.016), size_mm=(6.0, 6.5), turn_deg=turn_deg, period_mm=0.53)
        things.append(smear)
    return tuple(things)


def faded(piece: TracedPiece, rng: np.random.Generator) -> TracedPiece:
    """Fade each of a piece's marks to a random share of its strength."""
    count = len(piece.grooves)
    fades = np.exp(rng.uniform(*np.log(_FADED), count + len(piece.craters))).tolist()
    return replace(
        piece,
        grooves=tuple(replace(g, strength=g.strength * f) for g, f in zip(piece.grooves, fades[:count], strict=True)),
        craters=tuple(replace(c, strength=c.strength * f) for c, f in zip(piece.craters, fades[count:], strict=True)),
    )


def truth(family: TracedFamily, piece: TracedPiece) -> dict[str, object]:
    """A piece's entry in `truth.json`."""
    area = scored_area(family.pattern)
    return {
        "center_px": piece.center_px.tolist(),
        "angle_deg": piece.angle_deg,
        "kind": "both" if piece.grooves else "clean",
        "scratches": [
            {
                "points_mm": groove.points_mm.tolist(),
                "points_px": piece.to_px(family, groove.points_mm).tolist(),
                "width_mm": groove.width_mm,
                "strength": groove.strength,
                "length_mm": groove.length_mm,
                "scored": bool(LineString(groove.points_mm).intersection(area).length >= 0.5 * groove.length_mm),
                "snr": 0.0,
            }
            for groove in piece.grooves
        ],
        "pits": [
            {
                "center_mm": list(crater.center_mm),
                "center_px": piece.to_px(family, np.array([crater.center_mm]))[0].tolist(),
                "diameter_mm": crater.diameter_mm,
                "strength": crater.strength,
                "scored": bool(area.contains(Point(crater.center_mm))),
                "snr": 0.0,
            }
            for crater in piece.craters
        ],
        "disturbers": [_set_fields(thing) for thing in piece.disturbers],
        "finish": asdict(piece.finish),
    }


def _set_fields(thing: Disturber) -> dict[str, object]:
    # Fields that a kind does not have are 0.
    return {key: value for key, value in asdict(thing).items() if value not in (0.0, (0.0, 0.0))}


def bowl_box(family: TracedFamily, piece: TracedPiece) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of the pixels about a piece's bowl."""
    half = family.pattern.bowl_half_mm
    corners = piece.to_px(family, np.array([(x, y) for x in (0.0, family.bowl_mm) for y in (-half, half)]))
    low = np.maximum(np.floor(corners.min(axis=0) - _BOX_PX), 0).astype(int)
    high = np.minimum(np.ceil(corners.max(axis=0) + _BOX_PX), family.size_px).astype(int)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])
