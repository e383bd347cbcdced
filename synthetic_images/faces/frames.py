"""Front-lit frames of polished pieces: one under a dome, others under low bars, with every mark's exact truth."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from synthetic_images.faces.finish import Disturber, Finish, disturbance, micro_surface
from synthetic_images.faces.grid import Grid
from synthetic_images.faces.marks import Crater, Groove, Patch, crater_patch, groove_patch
from synthetic_images.faces.reflect import Facets, dome_light, low_light
from synthetic_images.faces.surface import SHADOW_SOFT, Slopes, height_mm, lit_share, slopes
from synthetic_images.outlines.coverage import Float32, coverage
from synthetic_images.outlines.optics import blurred
from synthetic_images.outlines.scene import Piece, Scene, piece_rings_mm, tray_mm
from synthetic_images.outlines.view import to_px
from synthetic_images.spoons import Array, Outline, outline

# Exposure, as shares of the full well: a flat, clean face of the usual finish under a low bar, a face that mirrors the
# dome, an evenly scattering grain, and the tray's white plate under each light. Own choices, as an operator would set.
_LOW_FLAT, _DOME_FACE = 0.10, 0.85
_GRAIN_LOW, _GRAIN_DOME = 0.5, 0.45
_PLATE_LOW, _PLATE_DOME = 0.35, 0.5
# Cast shadows are soft: they are followed on every eighth pixel.
_SHADOW_EVERY = 8
# A groove's facets under the dome: the slopes across it that stand for all, in units of its alpha (the GGX slope
# distribution has tan(theta) = alpha sqrt(q / (1 - q)) at quantile q; q = 0.1, 0.3, 0.5, 0.7, 0.9).
_GROOVE_TILTS = np.sqrt(np.array([0.1, 0.3, 0.5, 0.7, 0.9]) / np.array([0.9, 0.7, 0.5, 0.3, 0.1]))


@dataclass(frozen=True, slots=True)
class FrontLight:
    """One front light; a low bar has the direction it shines from (ccw from the tray's +X), its elevation, and how soft
    the edges of its shadows are.
    """

    light: Literal["dome", "low"]
    azimuth_deg: float = 0.0
    elevation_deg: float = 0.0
    shadow_soft: float = SHADOW_SOFT


@dataclass(frozen=True, slots=True)
class Face:
    """What a piece's polished side carries; marks and disturbers lie in the drawing."""

    piece: Piece
    finish: Finish
    grooves: tuple[Groove, ...] = ()
    craters: tuple[Crater, ...] = ()
    disturbers: tuple[Disturber, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class LitFace:
    """A face ready to be lit: form, finish and marks on the box of pixels around it.

    `inside` are the box's pixels that the piece covers at all, `covered` how much of each; `form` and `facets` belong
    to these pixels, one after the other; `grains` is the share that dust scatters there.
    """

    grid: Grid
    inside: tuple[NDArray[np.int64], NDArray[np.int64]]
    covered: Float32
    form: Slopes
    facets: Facets
    grains: Float32
    heights_mm: Array
    patches: tuple[Patch, ...]


def standard_lights(
    elevation_deg: float = 25.0, azimuths_deg: Sequence[float] = (0.0, 90.0, 180.0, 270.0)
) -> tuple[FrontLight, ...]:
    """A dome and low bars at one height."""
    return (FrontLight("dome"), *(FrontLight("low", azimuth, elevation_deg) for azimuth in azimuths_deg))


def _grid(tray: Scene, piece: Piece, nominal: Outline) -> tuple[Grid, list[Array]]:
    """The box of pixels around a piece, and the piece's rings in the box's px."""
    rings = [to_px(tray.view, ring) for ring in piece_rings_mm(piece, nominal)]
    size = np.array(tray.view.size_px)
    low = np.clip(np.floor(rings[0].min(axis=0)).astype(int) - 1, 0, size)
    high = np.clip(np.ceil(rings[0].max(axis=0)).astype(int) + 2, 0, size)
    origin = tray_mm(piece, np.zeros((1, 2)), nominal)[0]
    shape = (int(high[1] - low[1]), int(high[0] - low[0]))
    turn = float(np.deg2rad(piece.angle_deg))
    grid = Grid(int(low[0]), int(low[1]), shape, tray.view.mm_per_px, (float(origin[0]), float(origin[1])), turn)
    return grid, [ring - low for ring in rings]


def prepare(tray: Scene, face: Face, rng: np.random.Generator) -> LitFace:
    """Lay form, finish and marks of a face on the frame's pixels. The view must be plain, from straight above."""
    pattern = face.piece.pattern
    grid, rings = _grid(tray, face.piece, outline(pattern))
    shares = coverage(rings, (grid.shape[1], grid.shape[0]))
    rows, columns = np.nonzero(shares)
    inside = (rows, columns)
    x, y = grid.drawing_mm(grid.whole)
    at = np.column_stack((x[inside], y[inside])).astype(float)
    form = slopes(pattern, at, grid.turn_rad)
    micro, facets = micro_surface(face.finish, grid.shape, grid.mm_per_px, grid.turn_rad, rng)
    haze, grains = disturbance(face.disturbers, grid)
    coarse = (x[::_SHADOW_EVERY, ::_SHADOW_EVERY], y[::_SHADOW_EVERY, ::_SHADOW_EVERY])
    points = np.column_stack((coarse[0].ravel(), coarse[1].ravel())).astype(float)
    marks = [groove_patch(groove, grid) for groove in face.grooves]
    marks += [crater_patch(crater, grid) for crater in face.craters]
    return LitFace(
        grid,
        inside,
        shares[inside],
        Slopes(form.x + micro.x[inside], form.y + micro.y[inside]),
        Facets(
            np.asarray(facets.along)[inside],
            np.asarray(facets.across)[inside],
            facets.direction,
            np.float32(face.finish.haze) + haze[inside],
        ),
        grains[inside],
        height_mm(pattern, points).reshape(coarse[0].shape),
        tuple(marks),
    )


def _low_gain(light: FrontLight) -> float:
    """Exposure of a low bar: set on a flat face of the usual finish, the same for every piece."""
    usual, level = Finish(), Slopes(np.zeros(1, np.float32), np.zeros(1, np.float32))
    flat = Facets(usual.alpha, usual.alpha, (1.0, 0.0), usual.haze)
    return _LOW_FLAT / float(low_light(level, flat, light.azimuth_deg, light.elevation_deg)[0])


def radiance(face: LitFace, light: FrontLight) -> tuple[Float32, Float32]:
    """Light from each pixel inside the piece, with its marks and without them, as shares of the full well."""
    if light.light == "dome":
        reaching = np.full(face.covered.shape, _DOME_FACE, np.float32)
        clean = reaching * dome_light(face.form, face.facets)
        grain = np.full(face.covered.shape, _GRAIN_DOME, np.float32)
    else:
        pitch = face.grid.mm_per_px * _SHADOW_EVERY
        coarse = lit_share(face.heights_mm, pitch, light.azimuth_deg, light.elevation_deg, light.shadow_soft)
        size = (face.grid.shape[1], face.grid.shape[0])
        lit = cv2.resize(coarse, size)[face.inside]
        reaching = np.asarray(_low_gain(light) * lit, dtype=np.float32)
        clean = reaching * low_light(face.form, face.facets, light.azimuth_deg, light.elevation_deg)
        grain = np.asarray(_GRAIN_LOW * lit, dtype=np.float32)
    marked = clean.copy()
    index = np.full(face.grid.shape, -1)
    index[face.inside] = np.arange(len(clean))
    for patch in face.patches:
        at = index[patch.rows, patch.columns]
        on = at >= 0
        at, share = at[on], patch.share[on]
        seen = _mark_radiance(face, light, patch, at, on)
        marked[at] += share * (seen * reaching[at] - marked[at])
    return marked + face.grains * (grain - marked), clean + face.grains * (grain - clean)


def _mark_radiance(
    face: LitFace, light: FrontLight, patch: Patch, at: NDArray[np.int64], on: NDArray[np.bool_]
) -> Float32:
    """What a mark's own facets show under a light of unit exposure, at its pixels inside the piece."""
    cos, sin = np.cos(face.grid.turn_rad), np.sin(face.grid.turn_rad)
    turned = np.array([[cos, sin], [-sin, cos]])
    own = np.broadcast_to(np.asarray(face.facets.along, dtype=np.float32), face.form.x.shape)[at]
    form = Slopes(face.form.x[at], face.form.y[at])
    if patch.wall is not None:
        wall = (patch.wall[on] @ turned).astype(np.float32)
        form = Slopes(form.x + wall[:, 0], form.y + wall[:, 1])
        rough = Facets(patch.alpha, patch.alpha, (1.0, 0.0))
        return _shown(form, rough, light)
    along = (np.asarray(patch.along)[on] @ turned).astype(np.float32)
    if light.light == "low":
        return _shown(form, Facets(own, patch.alpha, (along[:, 0], along[:, 1])), light)
    tilts = patch.alpha * np.concatenate((-_GROOVE_TILTS, _GROOVE_TILTS)).astype(np.float32)
    facets = Facets(own, own, (1.0, 0.0))
    total = sum(
        _shown(Slopes(form.x - tilt * along[:, 1], form.y + tilt * along[:, 0]), facets, light) for tilt in tilts
    )
    return np.asarray(total / len(tilts), dtype=np.float32)


def _shown(form: Slopes, facets: Facets, light: FrontLight) -> Float32:
    if light.light == "dome":
        return dome_light(form, facets)
    return low_light(form, facets, light.azimuth_deg, light.elevation_deg)


def front_light(tray: Scene, faces: Sequence[LitFace], light: FrontLight) -> tuple[Float32, Float32]:
    """Light on the sensor (height, width), blurred, with all marks and without them, as shares of the full well."""
    width, height = tray.view.size_px
    plate = _PLATE_DOME if light.light == "dome" else _PLATE_LOW
    frames = (np.full((height, width), plate, np.float32), np.full((height, width), plate, np.float32))
    for face in faces:
        rows, columns = face.inside[0] + face.grid.top, face.inside[1] + face.grid.left
        for frame, level in zip(frames, radiance(face, light), strict=True):
            frame[rows, columns] += face.covered * (level - frame[rows, columns])
    marked, clean = (blurred(frame, tray.psf_px) for frame in frames)
    return marked, clean
