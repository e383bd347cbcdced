"""What is wrong with a piece: bumps along the outline, even growth, a bent handle, a hole out of place."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from synthetic_images.spoons import Array, Hole, Outline, Pattern, ZoneSpan, circle_mm

BumpKind = Literal["burr", "nick", "swell", "hollow"]


@dataclass(frozen=True, slots=True)
class Bump:
    """A Gaussian bump along the outline: at arc length `s_mm`, `height_mm` high (outward positive), `sigma_mm` wide."""

    kind: BumpKind
    s_mm: float
    height_mm: float
    sigma_mm: float


@dataclass(frozen=True, slots=True)
class HoleError:
    """A punched hole's shift in the drawing (mm) and the error of its diameter (mm)."""

    shift_mm: tuple[float, float] = (0.0, 0.0)
    diameter_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Defects:
    """All that makes one piece differ from its drawing.

    `growth_mm` moves the whole outline outward evenly (die wear); `bend_deg` turns the bend zone, counter-clockwise;
    `holes` has one entry a hole, or none where all holes are right.
    """

    bumps: tuple[Bump, ...] = ()
    growth_mm: float = 0.0
    bend_deg: float = 0.0
    holes: tuple[HoleError, ...] = field(default=())


def displacement_mm(nominal: Outline, defects: Defects) -> Array:
    """How far (n,) each vertex of the nominal moves along its outward normal (mm), the bend apart."""
    moved = np.full(len(nominal.s_mm), defects.growth_mm)
    half = 0.5 * nominal.perimeter_mm
    for bump in defects.bumps:
        away = np.mod(nominal.s_mm - bump.s_mm + half, nominal.perimeter_mm) - half
        moved += bump.height_mm * np.exp(-0.5 * (away / bump.sigma_mm) ** 2)
    return moved


def bend_zone(pattern: Pattern) -> ZoneSpan:
    """The zone whose own turn is the piece's bend."""
    return next(zone for zone in pattern.zones if zone.bend)


def bent_mm(pattern: Pattern, points_mm: Array, bend_deg: float) -> Array:
    """Turn the bend zone about the middle of the neck: (n, 2) drawing mm in and out.

    The angle grows from 0 to `bend_deg` over the stretch between the datum zone and the bend zone by a smooth step
    (cubic, flat at both ends), so that the bend zone as a whole turns as a rigid body and the bowl stays.
    """
    if bend_deg == 0.0:
        return points_mm
    to_mm = bend_zone(pattern).x_mm[0]
    from_mm = max(zone.x_mm[1] for zone in pattern.zones if zone.datum)
    pivot = np.array([0.5 * (from_mm + to_mm), 0.0])
    share = np.clip((points_mm[:, 0] - from_mm) / (to_mm - from_mm), 0.0, 1.0)
    turn = np.deg2rad(bend_deg) * share**2 * (3.0 - 2.0 * share)
    cos, sin = np.cos(turn), np.sin(turn)
    x, y = (points_mm - pivot).T
    turned: Array = pivot + np.column_stack((cos * x - sin * y, sin * x + cos * y))
    return turned


def true_outline_mm(pattern: Pattern, nominal: Outline, defects: Defects) -> Array:
    """The piece's own outline (n, 2) in the drawing's frame, vertex by vertex against the nominal's."""
    moved = nominal.points_mm + displacement_mm(nominal, defects)[:, None] * nominal.normals
    return bent_mm(pattern, moved, defects.bend_deg)


def true_holes(pattern: Pattern, defects: Defects) -> tuple[Hole, ...]:
    """The piece's own holes in the drawing's frame."""
    errors = defects.holes or tuple(HoleError() for _ in pattern.holes)
    made = []
    for hole, error in zip(pattern.holes, errors, strict=True):
        center = np.array([hole.center_mm]) + np.array([error.shift_mm])
        x, y = bent_mm(pattern, center, defects.bend_deg)[0]
        made.append(Hole((float(x), float(y)), hole.diameter_mm + error.diameter_mm))
    return tuple(made)


def true_rings_mm(pattern: Pattern, nominal: Outline, defects: Defects) -> list[Array]:
    """Outline first, then the rims of the holes: closed rings (n, 2) in the drawing's frame."""
    rings = [true_outline_mm(pattern, nominal, defects)]
    return rings + [circle_mm(hole) for hole in true_holes(pattern, defects)]
