"""Families of trays to test on: each brings out one thing that is hard to measure."""

from dataclasses import replace
from typing import Literal, get_args

import numpy as np

from synthetic_images.faces.finish import random_disturbers, random_finish
from synthetic_images.faces.frames import Face
from synthetic_images.faces.marks import random_marks
from synthetic_images.outlines.defects import Bump, BumpKind, Defects, HoleError
from synthetic_images.outlines.layout import crowd, rows, scattered_dirt
from synthetic_images.outlines.optics import Backlight, backlit, light_field, shadow, tailed
from synthetic_images.outlines.scene import Piece, Scene, silhouettes
from synthetic_images.outlines.view import View, lens_view, perspective_view, plain_view
from synthetic_images.sensor import Pixels, Sensor, exposed
from synthetic_images.spoons import Pattern, outline

Family = Literal["plain", "noisy", "lens", "height", "crowd", "punched", "deep16", "faces"]
FAMILIES: tuple[Family, ...] = get_args(Family)

_KINDS: dict[tuple[bool, bool], BumpKind] = {
    (False, True): "burr",
    (False, False): "nick",
    (True, True): "swell",
    (True, False): "hollow",
}
FINE_MM_PER_PX = 0.05
COARSE_MM_PER_PX = 0.08
EDGE_HEIGHT_MM = 6.0
PUPIL_HEIGHT_MM = 620.0


def random_defects(pattern: Pattern, rng: np.random.Generator, share: float = 0.6) -> Defects:
    """Draw what is wrong with a piece; `share` is the chance of bumps. Sizes are our choice, not a works' record.

    Burrs and nicks are 0.05 to 0.5 mm high with sigma 0.35 to 1.5 mm; swells and hollows 0.05 to 0.2 mm with 4 to 7 mm;
    a bend is 0.1 to 0.5 degrees; even growth -0.04 to 0.05 mm; a hole up to 0.4 mm off its place.
    """
    perimeter = outline(pattern, 0.5).perimeter_mm
    bumps: list[Bump] = []
    for _ in range(int(rng.integers(1, 4)) if rng.random() < share else 0):
        outward = bool(rng.integers(2))
        long = bool(rng.random() < 0.15)
        height, sigma = (
            (rng.uniform(0.05, 0.2), rng.uniform(4.0, 7.0))
            if long
            else (rng.uniform(0.05, 0.5), rng.uniform(0.35, 1.5))
        )
        at = float(rng.uniform(0.0, perimeter))
        apart = [min(abs(at - b.s_mm), perimeter - abs(at - b.s_mm)) > 4.0 * (sigma + b.sigma_mm) for b in bumps]
        if all(apart):
            bumps.append(Bump(_KINDS[long, outward], at, float(height if outward else -height), float(sigma)))
    growth = float(rng.uniform(-0.04, 0.05)) if rng.random() < 0.3 else 0.0
    bend = float(rng.uniform(0.1, 0.5) * rng.choice((-1.0, 1.0))) if rng.random() < 0.2 else 0.0
    return Defects(tuple(bumps), growth, bend, tuple(_hole_error(rng) for _ in pattern.holes))


def _hole_error(rng: np.random.Generator) -> HoleError:
    """A hole off its place in one of three, of the wrong size in one of three."""
    turn, away = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(0.05, 0.4)
    shift = (float(away * np.cos(turn)), float(away * np.sin(turn))) if rng.random() < 1.0 / 3.0 else (0.0, 0.0)
    return HoleError(shift, float(rng.uniform(-0.2, 0.2)) if rng.random() < 1.0 / 3.0 else 0.0)


def random_face(piece: Piece, rng: np.random.Generator, share: float = 0.6) -> Face:
    """Draw the polished side of a piece: finish, what lies on it, and with `share` the chance of scratches and pits."""
    length = max(zone.x_mm[1] for zone in piece.pattern.zones if zone.datum)
    half = float(outline(piece.pattern, 0.5).points_mm[:, 1].max())
    scratches, pits = int(rng.integers(1, 4)), int(rng.integers(1, 6))
    counts = [(scratches, 0), (0, pits), (scratches, pits)][rng.integers(3)] if rng.random() < share else (0, 0)
    grooves, craters = random_marks(length, half, counts, rng)
    return Face(piece, random_finish(rng), grooves, craters, random_disturbers(length, half, rng))


def fine_size_px(pattern: Pattern, pieces: int) -> tuple[int, int]:
    """Frame that holds so many pieces in rows at 0.05 mm a pixel: 7.5 mm to spare in length, 4 mm between rows."""
    widest = 2.0 * float(outline(pattern, 0.5).points_mm[:, 1].max())
    width = round((pattern.length_mm + 15.0) / FINE_MM_PER_PX)
    return width, round(pieces * (widest + 4.0 + 0.02 * pattern.length_mm) / FINE_MM_PER_PX)


def scene(family: Family, pattern: Pattern, rng: np.random.Generator, pieces: int = 3) -> Scene:
    """Draw one tray of a family.

    Parameters
    ----------
    family
        plain; noisy (full well 2500, read noise 10 e, blur 0.9 px, strong vignetting); lens (distortion, tilted plane);
        height (perspective, outline 6 mm above the plane); crowd (touching, cut off, foreign, unlike, dust, hair);
        punched (holes off their place); deep16 (12 bits in 16); faces (outlines in order, to be lit from the front).
    pattern
        The part; `punched` needs one with a hole.
    rng
        Where all chance comes from.
    pieces
        Measurable pieces on the tray.
    """
    if family == "punched" and not pattern.holes:
        raise ValueError(f"the family punched needs a part with a hole; {pattern.part} has none")
    defects = [Defects() if family == "faces" else random_defects(pattern, rng) for _ in range(pieces)]
    if family == "crowd":
        side = pattern.length_mm / COARSE_MM_PER_PX
        view = plain_view((round(2.1 * side), round(1.7 * side)), COARSE_MM_PER_PX)
        lain, things = crowd(pattern, size_mm(view), defects, rng)
        return Scene(pattern, view, lain, foreign=things, dirt=scattered_dirt(size_mm(view), 40, 3, rng))
    size = fine_size_px(pattern, pieces)
    view = plain_view(size, FINE_MM_PER_PX)
    made = Scene(pattern, view, rows(pattern, size_mm(view), defects, rng))
    if family == "noisy":
        light = Backlight(lit=0.8, vignette=0.45, dark=0.08)
        return replace(made, sensor=Sensor(2500.0, 10.0), backlight=light, psf_px=0.9)
    if family == "lens":
        return replace(made, view=lens_view(size, FINE_MM_PER_PX, (0.6, -0.4), np.array([-0.08, 0.02, 0.0, 0.0, 0.0])))
    if family == "height":
        high = perspective_view(size, FINE_MM_PER_PX, PUPIL_HEIGHT_MM)
        return replace(made, view=high, edge_height_mm=EDGE_HEIGHT_MM)
    if family == "deep16":
        return replace(made, sensor=Sensor(top=4095))
    return made


def size_mm(view: View) -> tuple[float, float]:
    """Width and height of a frame on the tray (mm)."""
    return view.size_px[0] * view.mm_per_px, view.size_px[1] * view.mm_per_px


def back_frame(tray: Scene, rng: np.random.Generator) -> Pixels:
    """Photograph a tray against the light."""
    taken = shadow(silhouettes(tray), tray.view.size_px, tray.psf_px)
    light = backlit(light_field(tray.backlight, tray.view.size_px), taken, tray.backlight.dark)
    return exposed(tailed(light, tray.lens), tray.sensor, rng)
