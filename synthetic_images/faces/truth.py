"""The exact truth of polished pieces: where every mark lies, how plainly it shows, and what is no defect."""

from collections.abc import Sequence
from dataclasses import asdict

import cv2
import numpy as np
import shapely

from synthetic_images.faces.frames import Face, LitFace
from synthetic_images.faces.marks import Crater, Groove
from synthetic_images.outlines.coverage import Float32
from synthetic_images.outlines.scene import Scene, tray_mm
from synthetic_images.outlines.truth import Indices, pose_px
from synthetic_images.outlines.view import to_px
from synthetic_images.sensor import Sensor
from synthetic_images.spoons import Outline, Pattern, circle_mm, outline

# The finish's own noise is taken about a mark, after what is coarser than a box of this side (mm) is removed.
_SURROUND_MM, _DETAIL_MM = 1.5, 1.0
# A mark's light is summed this far beyond its own pixels, where the blur has carried it.
_SPREAD_PX = 4
# A normal distribution's standard deviation over its median absolute deviation.
_SIGMA_PER_MAD = 1.4826


def scored_area(pattern: Pattern) -> shapely.Polygon:
    """The scored part of the drawing: the surface's span of x, the inset kept clear of the outline, no holes."""
    low, high = pattern.surface_x_mm
    ring = shapely.Polygon(outline(pattern, 0.05).points_mm)
    far = pattern.length_mm
    area = ring.buffer(-pattern.surface_inset_mm).intersection(shapely.box(low, -far, high, far))
    return area.difference(shapely.union_all([shapely.Polygon(circle_mm(hole)) for hole in pattern.holes]))


class _Visibility:
    """How plainly marks show: their light in all frames against the noise of finish and sensor around them."""

    def __init__(self, frames: Sequence[tuple[Float32, Float32]], sensor: Sensor, mm_per_px: float) -> None:
        self.frames = frames
        self.sensor = sensor
        self.mm_per_px = mm_per_px

    def snr(self, rows: Indices, columns: Indices) -> float:
        """What a matched filter could get for a mark at these pixels, if finish and sensor were white noise.

        The square root of the sum, over frames and pixels, of (light with the marks - light without)^2 / noise^2.
        """
        reach = int(np.ceil(_SURROUND_MM / self.mm_per_px))
        height, width = self.frames[0][0].shape
        window = (
            slice(max(int(rows.min()) - reach, 0), min(int(rows.max()) + reach + 1, height)),
            slice(max(int(columns.min()) - reach, 0), min(int(columns.max()) + reach + 1, width)),
        )
        own = np.zeros((window[0].stop - window[0].start, window[1].stop - window[1].start), np.uint8)
        own[rows - window[0].start, columns - window[1].start] = 1
        side = 2 * _SPREAD_PX + 1
        own = cv2.dilate(own, np.ones((side, side), np.uint8))
        total = 0.0
        for marked, clean in self.frames:
            seen, base = np.minimum(marked[window], 1.0), np.minimum(clean[window], 1.0)
            box = 2 * int(0.5 * _DETAIL_MM / self.mm_per_px) + 1
            detail = base - cv2.blur(base, (box, box))
            finish = _SIGMA_PER_MAD * float(np.median(np.abs(detail - np.median(detail))))
            shot = np.maximum(base, 0.0) / self.sensor.full_well + (self.sensor.read_e / self.sensor.full_well) ** 2
            noise2 = finish**2 + shot + 1.0 / (12.0 * self.sensor.top**2)
            total += float(np.sum(np.where(own > 0, (seen - base) ** 2 / noise2, 0.0)))
        return float(np.sqrt(total))


def face_truth(
    tray: Scene, faces: Sequence[Face], lit: Sequence[LitFace], frames: Sequence[tuple[Float32, Float32]]
) -> list[dict[str, object]]:
    """The content of `truth.json` for a front-lit tray, one entry a piece.

    `frames` are the light on the sensor under each front light, with the marks and without them (`front_light`).
    """
    visibility = _Visibility(frames, tray.sensor, tray.view.mm_per_px)
    told = []
    for face, pixels in zip(faces, lit, strict=True):
        nominal = outline(face.piece.pattern)
        area = scored_area(face.piece.pattern)
        center, angle = pose_px(tray, face.piece, nominal)
        snrs = [
            visibility.snr(patch.rows + pixels.grid.top, patch.columns + pixels.grid.left) for patch in pixels.patches
        ]
        scratches = [_scratch(tray, face, groove, nominal, area) for groove in face.grooves]
        pits = [_pit(tray, face, crater, nominal, area) for crater in face.craters]
        for entry, snr in zip([*scratches, *pits], snrs, strict=True):
            entry["snr"] = snr
        kind = ("both" if face.craters else "scratch") if face.grooves else ("pit" if face.craters else "clean")
        told.append(
            {
                "center_px": center.tolist(),
                "angle_deg": angle,
                "kind": kind,
                "scratches": scratches,
                "pits": pits,
                "disturbers": [_set_fields(thing.kind, asdict(thing)) for thing in face.disturbers],
                "finish": asdict(face.finish),
            }
        )
    return told


_FIELDS = {
    "smear": ("kind", "at_mm", "size_mm", "turn_deg", "period_mm", "amount"),
    "drop": ("kind", "at_mm", "radius_mm", "ring_mm", "amount"),
    "dust": ("kind", "at_mm", "diameter_mm", "amount"),
}


def _set_fields(kind: str, fields: dict[str, object]) -> dict[str, object]:
    return {name: fields[name] for name in _FIELDS[kind]}


def _scratch(tray: Scene, face: Face, groove: Groove, nominal: Outline, area: shapely.Polygon) -> dict[str, object]:
    line = shapely.LineString(groove.points_mm)
    return {
        "points_mm": groove.points_mm.tolist(),
        "points_px": to_px(tray.view, tray_mm(face.piece, groove.points_mm, nominal)).tolist(),
        "width_mm": groove.width_mm,
        "strength": groove.strength,
        "length_mm": groove.length_mm,
        "scored": bool(line.intersection(area).length >= 0.5 * line.length),
    }


def _pit(tray: Scene, face: Face, crater: Crater, nominal: Outline, area: shapely.Polygon) -> dict[str, object]:
    center = np.array([crater.center_mm])
    disc = shapely.Point(crater.center_mm).buffer(0.5 * crater.diameter_mm)
    return {
        "center_mm": list(crater.center_mm),
        "center_px": to_px(tray.view, tray_mm(face.piece, center, nominal))[0].tolist(),
        "diameter_mm": crater.diameter_mm,
        "strength": crater.strength,
        "scored": bool(disc.intersection(area).area >= 0.5 * disc.area),
    }
