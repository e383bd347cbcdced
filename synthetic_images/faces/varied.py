"""Faces that vary widely: what a judge of marks is fitted on.

A judge learns what its pictures vary in. So everything that may differ between works is drawn anew for each face, far
beyond what one works has: form and scale of the spoon, number, place and height of the lamps, exposure, blur, noise,
pitch, finish (crossed and patchy lines, orange peel), and all that lies on a face without being a mark (dried drops and
stains of irregular shape, films, fingers' ridges, dust, glints). Lint is left out: under these lights a straight
fibre can't be told from a scratch, and a judge that is shown it as none loses scratches. All ranges are our own choice.
"""

from dataclasses import dataclass, fields, replace

import cv2
import numpy as np
from scipy.special import expit

from synthetic_images.faces.finish import Disturber, Finish, micro_surface, random_disturbers
from synthetic_images.faces.frames import Face, FrontLight, LitFace, front_light, prepare
from synthetic_images.faces.grid import Grid
from synthetic_images.faces.marks import Crater, Groove, random_groove, random_marks
from synthetic_images.faces.reflect import Facets
from synthetic_images.faces.surface import Slopes, slopes
from synthetic_images.faces.truth import face_truth
from synthetic_images.outlines.coverage import Float32
from synthetic_images.outlines.families import back_frame
from synthetic_images.outlines.scene import Piece, Scene
from synthetic_images.outlines.view import plain_view
from synthetic_images.sensor import Pixels, Sensor, exposed
from synthetic_images.spoons import DESSERT_SPOON, TEASPOON, Pattern, ZoneSpan, outline

_ROOM_MM = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class VariedShot:
    """One face under all its lights: `frames` by light, azimuth (None but for low lights) and pixels; `truth` as in
    `truth.json`, of the one piece.
    """

    scene: Scene
    frames: tuple[tuple[str, float | None, Pixels], ...]
    truth: dict[str, object]


def scaled(pattern: Pattern, by: float, depth: float) -> Pattern:
    """A pattern `by` times as large, its bowl `depth` times as deep besides; holes are left out."""
    changed: dict[str, object] = {}
    for one in fields(pattern):
        value = getattr(pattern, one.name)
        if isinstance(value, float) and one.name.endswith("_mm") and one.name != "surface_inset_mm":
            changed[one.name] = value * by
        elif one.name in ("bowl_fall_mm", "handle_rise_mm", "surface_x_mm"):
            changed[one.name] = (value[0] * by, value[1] * by)
    changed["zones"] = tuple(ZoneSpan(z.name, (z.x_mm[0] * by, z.x_mm[1] * by), z.datum, z.bend) for z in pattern.zones)
    changed["bowl_depth_mm"] = pattern.bowl_depth_mm * by * depth
    return replace(pattern, holes=(), **changed)  # type: ignore[arg-type]


def varied_shot(rng: np.random.Generator, faint: bool = False) -> VariedShot:
    """Draw one face and photograph it.

    Parameters
    ----------
    faint
        Whether its marks are faded to 2 to 50 % of their contrast.
    """
    base = TEASPOON if rng.random() < 0.6 else DESSERT_SPOON
    by = float(rng.uniform(0.75, 1.15) if base is TEASPOON else rng.uniform(0.6, 0.85))
    pattern = scaled(base, by, float(rng.uniform(0.6, 1.3)))
    half = float(outline(pattern, 0.5).points_mm[:, 1].max())
    pitch = float(np.exp(rng.uniform(np.log(0.032), np.log(0.075))))
    size_mm = pattern.length_mm + 2 * _ROOM_MM, 2 * half + 2 * _ROOM_MM + 0.05 * pattern.length_mm
    view = plain_view((round(size_mm[0] / pitch), round(size_mm[1] / pitch)), pitch)
    turn = float(rng.normal(0.0, 0.7) + 180.0 * (rng.random() < 0.5))
    middle = float(np.asarray(outline(pattern, 0.5).points_mm)[:, 0].mean())
    offset = 0.5 * pattern.length_mm - middle
    piece = Piece(pattern, (0.5 * size_mm[0] - offset * np.cos(np.deg2rad(turn)), -0.5 * size_mm[1]), turn)
    sensor = Sensor(float(np.exp(rng.uniform(np.log(5000), np.log(20000)))), float(rng.uniform(3, 12)))
    tray = Scene(pattern, view, (piece,), sensor, psf_px=float(rng.uniform(0.5, 1.1)))
    face = _face(piece, half, faint, rng)
    lit = _littered(_buffed(tray, face, rng), face, rng)
    frames: list[tuple[str, float | None, Pixels]] = [("back", None, back_frame(tray, rng))]
    light = []
    for lamp, gain in _lamps(rng):
        pair = front_light(tray, [lit], lamp)
        both = pair[0] * np.float32(gain), pair[1] * np.float32(gain)
        light.append(both)
        shown = both[0] + _glints(lit.grid, tray, lamp, rng)
        azimuth = lamp.azimuth_deg if lamp.light == "low" else None
        frames.append((lamp.light, azimuth, exposed(np.asarray(shown, np.float32), sensor, rng)))
    return VariedShot(tray, tuple(frames), face_truth(tray, [face], [lit], light)[0])


def _lamps(rng: np.random.Generator) -> list[tuple[FrontLight, float]]:
    """A dome (nearly always) and three to eight low lights, each with its exposure."""
    count = int(rng.choice([3, 4, 4, 4, 6, 8]))
    start, elevation = rng.uniform(0.0, 360.0 / count), rng.uniform(12.0, 34.0)
    exposure = float(np.exp(rng.uniform(np.log(0.5), np.log(2.0))))
    soft = float(np.exp(rng.uniform(np.log(0.003), np.log(0.05))))
    lamps = []
    for k in range(count):
        azimuth, height = (start + k * 360.0 / count) % 360.0, elevation + rng.normal(0, 0.7)
        lamps.append((FrontLight("low", float(azimuth), float(height), soft), exposure))
    if rng.random() < 0.95:
        lamps.insert(0, (FrontLight("dome"), float(rng.uniform(0.7, 1.08))))
    return lamps


def _face(piece: Piece, half: float, faint: bool, rng: np.random.Generator) -> Face:
    pattern = piece.pattern
    length = max(zone.x_mm[1] for zone in pattern.zones if zone.datum)
    grooves: tuple[Groove, ...] = ()
    craters: tuple[Crater, ...] = ()
    if rng.random() < 0.7:
        grooves, craters = random_marks(length, half, (int(rng.integers(1, 6)), int(rng.integers(2, 9))), rng)
        grooves += tuple(_beside(one, rng) for one in grooves if rng.random() < 0.2)
    grooves = tuple(replace(g, alpha=float(rng.uniform(0.15, 0.7))) for g in grooves)
    craters = tuple(replace(c, alpha=float(rng.uniform(0.15, 0.4)), wall=float(rng.uniform(0.3, 0.9))) for c in craters)
    if faint:
        grooves = tuple(replace(g, strength=g.strength * _fade(rng)) for g in grooves)
        craters = tuple(replace(c, strength=c.strength * _fade(rng)) for c in craters)
    things = random_disturbers(length, half, rng)
    dust = [
        Disturber("dust", _spot(length, half, rng), float(rng.uniform(0.1, 0.8)), diameter_mm=float(d))
        for d in rng.uniform(0.03, 0.11, int(rng.choice([0, 0, 5, 12, 25])))
    ]
    return Face(piece, _finish(rng), grooves, craters, (*things, *dust))


def _fade(rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(np.log(0.02), np.log(0.5))))


def _beside(groove: Groove, rng: np.random.Generator) -> Groove:
    """A short scratch that crosses or touches another."""
    start = groove.points_mm[rng.integers(len(groove.points_mm))] + rng.normal(0.0, 0.4, 2)
    one = random_groove((float(start[0]), float(start[1])), rng)
    return replace(one, points_mm=one.points_mm[: max(5, len(one.points_mm) // 3)])


def _spot(length: float, half: float, rng: np.random.Generator) -> tuple[float, float]:
    return float(rng.uniform(0.08, 0.9) * length), float(rng.uniform(-0.85, 0.85) * half)


def _finish(rng: np.random.Generator) -> Finish:
    strong, peel = bool(rng.random() < 0.4), bool(rng.random() < 0.4)
    return Finish(
        alpha=float(rng.uniform(0.05, 0.09)),
        haze=float(rng.uniform(0.005, 0.02)),
        lines=float(rng.uniform(0.5, 1.0) if strong else rng.uniform(0.15, 0.5)),
        slope=float(rng.uniform(0.012, 0.026) if strong else rng.uniform(0.002, 0.009)),
        direction_deg=float(rng.choice([0.0, 0.0, 0.0, 90.0, rng.uniform(0, 180)]) + rng.normal(0.0, 5.0)),
        cross=bool(rng.random() < 0.3),
        peel_slope=float(rng.uniform(0.006, 0.016) if peel else rng.uniform(0.001, 0.004)),
        peel_mm=float(rng.uniform(0.35, 0.8)),
        strong_lines=strong,
        orange_peel=peel,
    )


def _buffed(tray: Scene, face: Face, rng: np.random.Generator) -> LitFace:
    """A face buffed evenly, or in patches of two finishes."""
    lit = prepare(tray, face, rng)
    if rng.random() > 0.25:
        return lit
    other = replace(_finish(rng), alpha=face.finish.alpha * float(rng.uniform(0.8, 1.25)))
    grid = lit.grid
    field = cv2.GaussianBlur(
        rng.standard_normal((grid.shape[0] // 8 + 1, grid.shape[1] // 8 + 1)).astype(np.float32),
        (0, 0),
        float(rng.uniform(4.0, 9.0)) / grid.mm_per_px / 8,
    )
    even = np.asarray(field / max(float(field.std()), 1e-6), np.float32)
    field = cv2.resize(even, (grid.shape[1], grid.shape[0]))
    share = expit(float(rng.uniform(2.0, 12.0)) * (field - 0.4)).astype(np.float32)[lit.inside]
    micro, facets = micro_surface(other, grid.shape, grid.mm_per_px, grid.turn_rad, rng)
    x, y = grid.drawing_mm(grid.whole)
    form = slopes(face.piece.pattern, np.column_stack((x[lit.inside], y[lit.inside])).astype(float), grid.turn_rad)

    def mixed(one: Float32, two: Float32) -> Float32:
        return np.asarray(one + share * (two - one), np.float32)

    along = np.asarray(facets.along)[lit.inside]
    across = np.asarray(facets.across)[lit.inside]
    return replace(
        lit,
        form=Slopes(mixed(lit.form.x, form.x + micro.x[lit.inside]), mixed(lit.form.y, form.y + micro.y[lit.inside])),
        facets=Facets(
            mixed(np.asarray(lit.facets.along), along),
            mixed(np.asarray(lit.facets.across), across),
            lit.facets.direction,
            lit.facets.haze,
        ),
    )


def _littered(lit: LitFace, face: Face, rng: np.random.Generator) -> LitFace:
    """A face with drops and stains of irregular shape, films and fingers' ridges on it."""
    length = max(zone.x_mm[1] for zone in face.piece.pattern.zones if zone.datum)
    half = float(outline(face.piece.pattern, 0.5).points_mm[:, 1].max())
    haze = np.zeros(lit.grid.shape, np.float32)
    for _ in range(int(rng.choice([0, 0, 1, 2, 4]))):
        _add_drop(haze, lit.grid, _spot(length, half, rng), rng)
    if rng.random() < 0.25:
        _add_ridges(haze, lit.grid, _spot(length, half, rng), rng)
    return replace(
        lit,
        facets=replace(lit.facets, haze=lit.facets.haze + haze[lit.inside]),
    )


def _add_drop(haze: Float32, grid: Grid, at: tuple[float, float], rng: np.random.Generator) -> None:
    """The rim that a drop leaves, of uneven radius, width and strength, or the film inside it, or both."""
    radius = float(np.exp(rng.uniform(np.log(0.5), np.log(4.5))))
    window = grid.window(np.array([at]), 2.0 * radius + 1.0)
    x, y = grid.drawing_mm(window)
    dx, dy = x - np.float32(at[0]), y - np.float32(at[1])
    turn = np.arctan2(dy, dx)
    uneven, strength = np.ones_like(turn), np.ones_like(turn)
    for wave in (1, 2, 3, 5):
        uneven += np.float32(rng.normal(0.0, 0.16) / wave) * np.cos(wave * turn + np.float32(rng.uniform(0, 6.28)))
        strength += np.float32(rng.normal(0.0, 0.5)) * np.cos(wave * turn + np.float32(rng.uniform(0, 6.28)))
    distance = np.hypot(dx, dy) / np.maximum(uneven, np.float32(0.3))
    amount, width = float(np.exp(rng.uniform(np.log(0.004), np.log(0.08)))), rng.uniform(0.05, 0.2)
    if rng.random() < 0.85:
        ring = np.exp(-0.5 * ((distance - radius) / np.float32(width)) ** 2) * np.maximum(strength, 0)
        haze[window] += np.float32(amount) * ring.astype(np.float32)
    if rng.random() < 0.4:
        soft = np.float32(rng.uniform(0.1, 1.0))
        haze[window] += np.float32(0.4 * amount) * expit((np.float32(radius) - distance) / soft).astype(np.float32)


def _add_ridges(haze: Float32, grid: Grid, at: tuple[float, float], rng: np.random.Generator) -> None:
    """A finger's mark: whorls about a point, in an uneven oval."""
    size = rng.uniform(3.0, 8.0, 2)
    window = grid.window(np.array([at]), float(size.max()) * 1.4)
    x, y = grid.drawing_mm(window)
    angle = rng.uniform(0.0, np.pi)
    dx, dy = x - np.float32(at[0]), y - np.float32(at[1])
    along = np.cos(angle) * dx + np.sin(angle) * dy
    across = np.cos(angle) * dy - np.sin(angle) * dx
    inside = np.exp(-4.0 * ((along / size[0]) ** 2 + (across / size[1]) ** 2))
    ridge = np.hypot(along + size[0] * rng.uniform(0.0, 1.2), across * rng.uniform(0.8, 1.3))
    wave = 0.5 + 0.5 * np.cos(2.0 * np.pi * ridge / rng.uniform(0.38, 0.75))
    haze[window] += (rng.uniform(0.004, 0.02) * inside * wave).astype(np.float32)


def _glints(grid: Grid, tray: Scene, lamp: FrontLight, rng: np.random.Generator) -> Float32:
    """Sparkles that one light alone shows, as small as the optics draw them or a single pixel."""
    width, height = tray.view.size_px
    sparks = np.zeros((height, width), np.float32)
    if lamp.light == "low" and rng.random() < 0.4:
        for _ in range(int(rng.integers(1, 6))):
            row = grid.top + int(rng.integers(grid.shape[0]))
            column = grid.left + int(rng.integers(grid.shape[1]))
            if 0 <= row < height and 0 <= column < width:
                sparks[row, column] = float(rng.uniform(0.2, 1.5))
        if rng.random() < 0.7:
            sparks = np.asarray(cv2.GaussianBlur(sparks, (0, 0), tray.psf_px), np.float32)
    return sparks
