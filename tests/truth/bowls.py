"""Frames of one bowl alone, cut from its handle, so that many can be rendered and scored in little time."""

from dataclasses import dataclass, replace

import numpy as np

from synthetic_images.faces.frames import Face, FrontLight, front_light, prepare, standard_lights
from synthetic_images.outlines.coverage import Float32
from synthetic_images.outlines.optics import backlit, light_field, shadow
from synthetic_images.outlines.scene import Piece, Scene, silhouettes
from synthetic_images.outlines.truth import pose_px
from synthetic_images.outlines.view import plain_view
from synthetic_images.sensor import Sensor, exposed
from synthetic_images.spoons import TEASPOON, Pattern, centroid_mm, outline
from tests.truth.polished_score import view_of
from vision.face.raster import FaceInputs
from vision.records.inputs import Part, Picture, Surface, TrayPictures

MM_PER_PX = 0.05
_MARGIN_MM = 3.0
_BEYOND_MM = 4.0  # of the handle beyond the scored area


@dataclass(frozen=True, eq=False)
class Bowl:
    """A bowl on a tray that shows no more than it, with its place in the frame and its part as the scoring reads it."""

    tray: Scene
    part: Part
    place: dict[str, object]

    @property
    def piece(self) -> Piece:
        """The spoon."""
        return self.tray.pieces[0]


def bowl(pattern: Pattern = TEASPOON, angle_deg: float = 0.0, shift_px: tuple[float, float] = (0.0, 0.0)) -> Bowl:
    """Lay a spoon so that its bowl fills the frame, a little off the pixels' corners; the handle runs out of it."""
    nominal = outline(pattern)
    ring = nominal.points_mm
    on_bowl = ring[ring[:, 0] < pattern.surface_x_mm[1] + _BEYOND_MM] - centroid_mm(ring)
    turn = np.deg2rad(angle_deg)
    turned = on_bowl @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    low, high = turned.min(axis=0) - _MARGIN_MM, turned.max(axis=0) + _MARGIN_MM
    width, height = np.ceil((high - low) / MM_PER_PX).astype(int)
    middle = np.array([-low[0], -high[1]]) + np.asarray(shift_px) * MM_PER_PX
    piece = Piece(pattern, (float(middle[0]), float(middle[1])), angle_deg)
    tray = Scene(pattern, plain_view((int(width), int(height)), MM_PER_PX), (piece,))
    center, angle = pose_px(tray, piece, nominal)
    surface = Surface(pattern.surface_x_mm, pattern.surface_inset_mm)
    part = Part(pattern.part, pattern.name, ring, (), (), surface)
    return Bowl(tray, part, {"center_px": center.tolist(), "angle_deg": angle})


@dataclass(frozen=True, eq=False)
class Lit:
    """Light on the sensor from a bowl under every lamp, before any noise: shares of the full well."""

    bowl: Bowl
    back: Float32
    front: tuple[tuple[FrontLight, Float32], ...]


def light_up(laid: Bowl, face: Face, rng: np.random.Generator) -> tuple[Lit, Lit]:
    """Draw a finish of the face's kind and light it from behind and in front, with the face's marks and without."""
    tray = laid.tray
    lit = prepare(tray, replace(face, piece=laid.piece), rng)
    taken = shadow(silhouettes(tray), tray.view.size_px, tray.psf_px)
    back = backlit(light_field(tray.backlight, tray.view.size_px), taken, tray.backlight.dark)
    front = [(lamp, *front_light(tray, [lit], lamp)) for lamp in standard_lights()]
    marked = Lit(laid, back, tuple((lamp, light) for lamp, light, _ in front))
    return marked, Lit(laid, back, tuple((lamp, light) for lamp, _, light in front))


def photograph(lit: Lit, sensor: Sensor, rng: np.random.Generator) -> FaceInputs:
    """Take all frames with a sensor's noise; the view is at the true pose."""
    full = float(sensor.top)
    back = Picture("back", None, exposed(lit.back, sensor, rng), full, "back")
    dome, low = None, []
    for lamp, light in lit.front:
        pixels = exposed(light, sensor, rng)
        if lamp.light == "dome":
            dome = Picture("dome", None, pixels, full, "dome")
        else:
            low.append(Picture("low", lamp.azimuth_deg, pixels, full, f"low-{lamp.azimuth_deg:03.0f}"))
    return view_of(TrayPictures(back, dome, tuple(low)), lit.bowl.part, lit.bowl.place, MM_PER_PX)
