"""The light that `path_traced` photographs: bowls, dome, low lights and camera as Mitsuba 3 traces them.

Mitsuba is imported where it is called: its variant must be set first, and scoring does without it.
"""

import math
from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np

from synthetic_images.spoons import Array, Pattern, half_width_mm
from tests.truth.path_traced_finish import Textures, textures
from tests.truth.path_traced_pieces import TracedFamily, TracedPiece, bowl_box

_PASSES, _DEPTH = 8, 5
_REFLECTANCE, _WIDE_ALPHA = 0.65, 0.35
_DUST_GREY, _FLOOR_GREY, _FLOOR_MM = 0.5, 0.55, -9.5
_LAMP_AWAY_MM = 190.0


def dish(pattern: Pattern, x_mm: Array, y_mm: Array) -> Array:
    """Height of a bowl: a paraboloid over the bowl's plan that levels softly into the rim and the neck."""
    middle = sum(pattern.bowl_fall_mm) / 2
    radial = ((x_mm - middle) / (middle + 1.0)) ** 2 + (y_mm / (pattern.bowl_half_mm + 0.8)) ** 2
    soft = 0.15
    return np.asarray(-pattern.bowl_depth_mm * soft * np.logaddexp(0.0, (1.0 - radial) / soft))


def bowl_mesh(family: TracedFamily) -> tuple[Array, Array, np.ndarray]:
    """Vertices (n, 3) on the drawing, their normals (n, 3), and triangles (m, 3) of a bowl."""
    pattern = family.pattern
    along, across = 500, 240
    # Denser towards the tip, where the outline turns fastest.
    x = np.linspace(0.0, 1.0, along) ** 1.5 * family.bowl_mm
    # A tip of no width would leave triangles of no area.
    half = np.maximum(half_width_mm(pattern, x), 1e-3)
    x, y = np.repeat(x, across), np.outer(half, np.linspace(-1.0, 1.0, across)).ravel()
    step = 1e-3
    by_x = (dish(pattern, x + step, y) - dish(pattern, x - step, y)) / (2 * step)
    by_y = (dish(pattern, x, y + step) - dish(pattern, x, y - step)) / (2 * step)
    index = np.arange(along * across).reshape(along, across)
    a, b, c, d = (part.ravel() for part in (index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]))
    triangles = np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d))))
    return np.column_stack((x, y, dish(pattern, x, y))), normals(np.column_stack((by_x, by_y))), triangles


def normals(slope: Array) -> Array:
    """Unit normals (..., 3) of a surface of these slopes (..., 2)."""
    upward = np.concatenate((-slope, np.ones((*slope.shape[:-1], 1))), axis=-1)
    return upward / np.linalg.norm(upward, axis=-1, keepdims=True)


def _bitmap(values: Array) -> dict[str, Any]:
    import mitsuba as mi

    # Mitsuba's v runs upwards from its last row, our sheets downwards from the highest y.
    rows = values[::-1].reshape(*values.shape[:2], -1).astype(np.float32)
    bitmap = mi.Bitmap(np.ascontiguousarray(rows))
    return {"type": "bitmap", "bitmap": bitmap, "raw": True, "filter_type": "bilinear", "wrap_mode": "clamp"}


def _grey(value: float) -> dict[str, Any]:
    return {"type": "rgb", "value": value}


def _metal(alpha: object) -> dict[str, Any]:
    lobe = {"type": "roughconductor", "material": "none", "distribution": "ggx"}
    return lobe | {"alpha": alpha, "specular_reflectance": _grey(_REFLECTANCE)}


def _tilted(slope: Array, metal: dict[str, Any]) -> dict[str, Any]:
    return {"type": "normalmap", "normalmap": _bitmap(0.5 * normals(slope) + 0.5), "b": metal}


def _blend(share: Array, under: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    return {"type": "blendbsdf", "weight": _bitmap(share), "a": under, "b": over}


def _diffuse(grey: float) -> dict[str, Any]:
    return {"type": "diffuse", "reflectance": _grey(grey)}


def material(drawn: Textures, alpha: float) -> dict[str, Any]:
    """A bowl's reflection: finish and wide lobe, marks over them, dust over all."""
    finish = _blend(drawn.haze, _tilted(drawn.slope, _metal(alpha)), _metal(_WIDE_ALPHA))
    marked = _blend(drawn.marks.share, finish, _tilted(drawn.marks.slope, _metal(_bitmap(drawn.marks.alpha))))
    return _blend(drawn.dust, marked, _diffuse(_DUST_GREY))


def bowl(family: TracedFamily, piece: TracedPiece, drawn: Textures) -> Any:
    """A piece's bowl as a mesh of Mitsuba, in mm about the middle of the frame."""
    import mitsuba as mi

    points, upright, triangles = bowl_mesh(family)
    sheet = family.sheet
    uv = np.column_stack((points[:, 0] / sheet.length_mm, (points[:, 1] + sheet.half_mm) / (2 * sheet.half_mm)))
    turn = np.eye(3)
    turn[:2, :2] = piece.rotation
    # Pixel centres are whole numbers with us and lie half a pixel farther with Mitsuba.
    at = (piece.center_px + 0.5 - np.array(family.size_px) / 2) * (1, -1) * family.mm_per_px
    placed = (points - (*family.center_mm, 0.0)) @ turn.T + (*at, 0.0)
    properties = mi.Properties()
    properties["mesh_bsdf"] = mi.load_dict(material(drawn, piece.finish.alpha))
    size = len(points), len(triangles)
    mesh = mi.Mesh("bowl", *size, has_vertex_normals=True, has_vertex_texcoords=True, props=properties)
    fields = mi.traverse(mesh)
    fields["vertex_positions"] = placed.astype(np.float32).ravel()
    fields["vertex_normals"] = (upright @ turn.T).astype(np.float32).ravel()
    fields["vertex_texcoords"] = uv.astype(np.float32).ravel()
    fields["faces"] = triangles.astype(np.uint32).ravel()
    fields.update()
    return mesh


def dome(hole_deg: float) -> dict[str, Any]:
    """A dome about the tray, brightest overhead, with six seams and the camera's dark hole."""
    import mitsuba as mi

    height, width = 512, 1024
    zenith = ((np.arange(height) + 0.5) / height * np.pi)[:, None]
    around = (np.arange(width) + 0.5) / width * 2 * np.pi
    light = (zenith < np.pi / 2 * 1.02) * (0.85 + 0.15 * np.cos(zenith) ** 2) * np.ones(width)
    light[zenith[:, 0] < math.radians(hole_deg)] = 0.04
    from_seam = np.abs((around + np.pi / 6) % (np.pi / 3) - np.pi / 6)
    light[:, from_seam < 0.012] *= 0.75
    bitmap = mi.Bitmap(np.repeat(light[..., None], 3, axis=-1).astype(np.float32))
    return {"type": "envmap", "bitmap": bitmap, "to_world": mi.ScalarTransform4f().rotate([1, 0, 0], 90)}


def lamp(family: TracedFamily, azimuth_deg: float) -> dict[str, Any]:
    """A low light: a bright rectangle that faces the middle of the tray."""
    import mitsuba as mi

    azimuth, elevation = math.radians(azimuth_deg), math.radians(family.elevation_deg)
    level = math.cos(elevation)
    toward = np.array((level * math.cos(azimuth), level * math.sin(azimuth), math.sin(elevation)))
    place = mi.ScalarTransform4f().look_at((_LAMP_AWAY_MM * toward).tolist(), [0, 0, 0], [0, 0, 1])
    sized = place @ mi.ScalarTransform4f().scale([*family.lamp_half_mm, 1])
    return {"type": "rectangle", "to_world": sized, "light": {"type": "area", "radiance": _grey(1.0)}}


def floor() -> dict[str, Any]:
    """The tray's grey floor below the bowls."""
    import mitsuba as mi

    place = mi.ScalarTransform4f().translate([0, 0, _FLOOR_MM]) @ mi.ScalarTransform4f().scale([400, 400, 1])
    return {"type": "rectangle", "to_world": place, "paint": _diffuse(_FLOOR_GREY)}


def camera(family: TracedFamily, box: tuple[int, int, int, int]) -> dict[str, Any]:
    """A telecentric camera straight above that sees a box (left, top, right, bottom) of the frame."""
    import mitsuba as mi

    width, height = family.size_px
    left, top, right, bottom = box
    half_mm = 0.5 * width * family.mm_per_px
    place = mi.ScalarTransform4f().look_at([0, 0, 500], [0, 0, 0], [0, 1, 0])
    film = {"type": "hdrfilm", "width": width, "height": height, "pixel_format": "luminance"}
    film |= {"crop_offset_x": left, "crop_offset_y": top, "crop_width": right - left, "crop_height": bottom - top}
    film |= {"rfilter": {"type": "box"}}
    sensor = {"type": "orthographic", "to_world": place @ mi.ScalarTransform4f().scale([half_mm, half_mm, 1])}
    return sensor | {"near_clip": 1.0, "far_clip": 900.0, "film": film, "sampler": {"type": "independent"}}


def traced(
    family: TracedFamily,
    bowls: Sequence[object],
    light: dict[str, Any],
    boxes: Sequence[tuple[int, int, int, int]],
    samples: int,
    rng: np.random.Generator,
) -> Array:
    """Trace the light on the sensor within the boxes, 0 elsewhere."""
    import mitsuba as mi

    content = {"type": "scene", "integrator": {"type": "path", "max_depth": _DEPTH}, "floor": floor(), "light": light}
    scene = mi.load_dict(content | {f"bowl_{number}": mesh for number, mesh in enumerate(bowls)})
    width, height = family.size_px
    out = np.zeros((height, width), np.float32)
    for box in boxes:
        sensor = mi.load_dict(camera(family, box))
        each = max(1, samples // _PASSES)
        seeds = rng.integers(2**31, size=_PASSES).tolist()
        passes = np.array([np.array(mi.render(scene, sensor=sensor, spp=each, seed=seed))[..., 0] for seed in seeds])
        left, top, right, bottom = box
        out[top:bottom, left:right] = (passes.sum(axis=0) - passes.max(axis=0)) / (_PASSES - 1)
    return out


def front_lights(
    family: TracedFamily, pieces: Sequence[TracedPiece], samples: int, draw: int
) -> dict[float | None, Array]:
    """The light on the sensor under the dome (None) and under each low light, by its azimuth."""
    finish_rng, trace_rng = np.random.default_rng(draw), np.random.default_rng(draw + 2)
    bowls = []
    for piece in pieces:
        marks = piece.grooves, piece.craters
        bowls.append(bowl(family, piece, textures(family.sheet, piece.finish, marks, piece.disturbers, finish_rng)))
    boxes = [bowl_box(family, piece) for piece in pieces]
    out = {}
    for azimuth in (None, *family.azimuths_deg):
        light = dome(family.hole_deg) if azimuth is None else lamp(family, azimuth)
        seen = traced(family, bowls, light, boxes, samples, trace_rng)
        out[azimuth] = cv2.GaussianBlur(seen, (0, 0), family.psf_px)
    return out
