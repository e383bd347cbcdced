"""A tray: pieces, foreign things and dirt, laid out in tray mm and carried to silhouettes in px."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely

from synthetic_images.outlines.defects import Defects, true_rings_mm
from synthetic_images.outlines.optics import Backlight, Silhouette, Tails
from synthetic_images.outlines.rims import STEEL, along, layers
from synthetic_images.outlines.view import View, to_px
from synthetic_images.sensor import Sensor
from synthetic_images.spoons import Array, Outline, Pattern, centroid_mm, outline

State = Literal["whole", "touching", "cut_off", "unlike"]


@dataclass(frozen=True, slots=True)
class Piece:
    """A spoon on the tray: its pattern, what is wrong with it, where the nominal's centroid lies and how it is turned.

    `center_mm` in the tray, `angle_deg` counter-clockwise from the tray's +X to the drawing's +x. At even steps along
    the outline: `rim_radius_mm` of its round rim's upper side (sharp where none; the lower side never shows), `rise_mm`
    of it above the scene's edge height.
    """

    pattern: Pattern
    center_mm: tuple[float, float]
    angle_deg: float
    defects: Defects = field(default_factory=Defects)
    state: State = "whole"
    rim_radius_mm: tuple[float, ...] = ()
    rise_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Foreign:
    """Something that is no piece: its name, its centre and its closed rings (outside first) in tray mm."""

    what: str
    center_mm: tuple[float, float]
    rings_mm: tuple[Array, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Dirt:
    """Dust or a hair on the light: a closed ring in tray mm, and the share of light it takes."""

    ring_mm: Array
    opacity: float


@dataclass(frozen=True, slots=True)
class Scene:
    """All that a tray shot shows, and the camera that sees it.

    `edge_height_mm`: how high the pieces' outline lies; `metal`: their complex refractive index; `lens`: what the point
    spread has beside its Gaussian.
    """

    part: Pattern
    view: View
    pieces: tuple[Piece, ...]
    sensor: Sensor = field(default_factory=Sensor)
    backlight: Backlight = field(default_factory=Backlight)
    psf_px: float = 0.7
    edge_height_mm: float = 0.0
    foreign: tuple[Foreign, ...] = ()
    dirt: tuple[Dirt, ...] = ()
    metal: complex = STEEL
    lens: Tails = field(default_factory=Tails)


def tray_mm(piece: Piece, points_mm: Array, nominal: Outline) -> Array:
    """Carry points (n, 2) of a piece's drawing to tray mm."""
    turn = np.deg2rad(piece.angle_deg)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    placed: Array = (points_mm - centroid_mm(nominal.points_mm)) @ rotation.T + np.asarray(piece.center_mm)
    return placed


def piece_rings_mm(piece: Piece, nominal: Outline) -> list[Array]:
    """Outline and holes of a piece, as they are, in tray mm."""
    return [tray_mm(piece, ring, nominal) for ring in true_rings_mm(piece.pattern, nominal, piece.defects)]


def polygon(rings: list[Array] | tuple[Array, ...]) -> shapely.Polygon:
    """A polygon of an outer ring and holes."""
    return shapely.Polygon(rings[0], rings[1:])


def _rings(area: shapely.Geometry) -> list[tuple[Array, ...]]:
    """The rings of each polygon in a shape, outside counter-clockwise and holes clockwise."""
    parts = [part for part in shapely.get_parts(area) if isinstance(part, shapely.Polygon) and part.area > 0.0]
    oriented = [shapely.geometry.polygon.orient(part) for part in parts]
    return [tuple(np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)) for part in oriented]


def _half_angles_deg(scene: Scene, piece: Piece, ring_mm: Array, nominal: Outline) -> Array:
    """The backlight's half angle at each vertex of an outline (n, 2), against the ray by which the pupil sees it."""
    half = np.full(len(ring_mm), scene.backlight.half_angle_deg)
    if half[0] <= 0.0 or scene.view.pupil_height_mm is None or scene.view.foot_mm is None:
        return half
    turn = np.deg2rad(piece.angle_deg)
    normals = nominal.normals @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    away = np.sum((ring_mm - np.asarray(scene.view.foot_mm)) * normals, axis=1)
    return np.asarray(half - np.rad2deg(np.arctan2(away, scene.view.pupil_height_mm - scene.edge_height_mm)))


def _layers(scene: Scene, piece: Piece, nominal: Outline) -> list[tuple[shapely.Polygon, float]]:
    """A piece as nested polygons in px with the opacity that each adds: one alone where no band shows."""
    outer, *holes = piece_rings_mm(piece, nominal)
    height = scene.edge_height_mm + along(piece.rise_mm, nominal)[:, None]
    inner = [to_px(scene.view, hole, scene.edge_height_mm) for hole in holes]
    if scene.backlight.half_angle_deg <= 0.0:
        return [(polygon([to_px(scene.view, outer, height), *inner]), 1.0)]
    ahead = np.roll(outer, -1, axis=0) - np.roll(outer, 1, axis=0)
    outward = np.column_stack((ahead[:, 1], -ahead[:, 0])) / np.hypot(*ahead.T)[:, None]
    half = _half_angles_deg(scene, piece, outer, nominal)
    made = []
    # Perspective opens the band's angle by 10 degrees at most: lenses that see wider are none to measure with.
    for layer in layers(along(piece.rim_radius_mm, nominal), half, scene.backlight.half_angle_deg + 10.0, scene.metal):
        ring = outer - layer.depth_mm[:, None] * outward
        made.append((polygon([to_px(scene.view, ring, height), *inner]), layer.opacity))
    return made


def silhouettes(scene: Scene) -> list[Silhouette]:
    """All that keeps light off, in px: pieces that touch become one, dirt shows only beside them.

    What a bright rim shows is nested, each layer with the opacity that it adds; nothing else overlaps.
    """
    nominals = {piece.pattern.part: outline(piece.pattern) for piece in scene.pieces}
    foreign = [polygon([to_px(scene.view, ring) for ring in thing.rings_mm]) for thing in scene.foreign]
    nested = [_layers(scene, piece, nominals[piece.pattern.part]) for piece in scene.pieces]
    opacities = [opacity for _, opacity in nested[0]] if nested else [1.0]
    made: list[Silhouette] = []
    covered: shapely.Geometry = shapely.Polygon()
    for index, opacity in enumerate(opacities):
        # A defect can make an outline cross itself in a point, which a union does not take.
        metal = shapely.union_all(shapely.make_valid([piece[index][0] for piece in nested] + foreign))
        made += [Silhouette(rings, opacity) for rings in _rings(metal)]
        covered = metal if index == 0 else covered
    for speck in scene.dirt:
        alone = polygon([to_px(scene.view, speck.ring_mm)]).difference(covered)
        made += [Silhouette(rings, speck.opacity) for rings in _rings(alone)]
        covered = covered.union(alone)
    return made


def washer(center_mm: tuple[float, float], outer_mm: float, inner_mm: float) -> Foreign:
    """A flat ring of the two diameters."""
    turn = 2.0 * np.pi * np.arange(720) / 720
    circle = np.column_stack((np.cos(turn), np.sin(turn)))
    middle = np.asarray(center_mm)
    return Foreign("washer", center_mm, (middle + 0.5 * outer_mm * circle, middle + 0.5 * inner_mm * circle[::-1]))


def strip(center_mm: tuple[float, float], size_mm: tuple[float, float], angle_deg: float) -> Foreign:
    """A flat bar of a length and a width, turned counter-clockwise."""
    turn = np.deg2rad(angle_deg)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    half = 0.5 * np.asarray(size_mm)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    return Foreign("strip", center_mm, (np.asarray(center_mm) + corners @ np.array([along, across]),))


def dust(center_mm: Array, diameter_mm: float, opacity: float, rng: np.random.Generator) -> Dirt:
    """A roundish grain: a circle whose radius wanders by a few slow waves."""
    turn = 2.0 * np.pi * np.arange(72) / 72
    radius = np.full(len(turn), 0.5 * diameter_mm)
    for wave in (2, 3, 4):
        radius *= 1.0 + rng.uniform(-0.15, 0.15) * np.cos(wave * turn + rng.uniform(0.0, 2.0 * np.pi))
    return Dirt(center_mm + radius[:, None] * np.column_stack((np.cos(turn), np.sin(turn))), opacity)


def hair(start_mm: Array, length_mm: float, width_mm: float, opacity: float, rng: np.random.Generator) -> Dirt:
    """A curled thread: its direction wanders evenly along its length."""
    along = np.linspace(0.0, length_mm, 80)
    heading = rng.uniform(0.0, 6.28) + rng.uniform(-0.25, 0.25) * along + 0.4 * np.sin(along * rng.uniform(0.3, 0.9))
    step = along[1] * np.column_stack((np.cos(heading), np.sin(heading)))
    thread = shapely.LineString(start_mm + np.cumsum(step, axis=0)).buffer(0.5 * width_mm, cap_style="flat")
    return Dirt(np.asarray(thread.exterior.coords)[:-1], opacity)
