"""What a works has besides its trays: pictures of a target, of its lamp and an edge, and a reference piece."""

from pathlib import Path

import cv2
import numpy as np
import tomlkit

from synthetic_images.outlines.defects import Defects
from synthetic_images.outlines.families import size_mm
from synthetic_images.outlines.layout import rows
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.view import View
from synthetic_images.sensor import Pixels
from synthetic_images.spoons import Pattern
from synthetic_images.targets import TargetCamera, render_chessboard, render_flat_pair, render_slanted_edge
from synthetic_images.trays.shots import write_back_shot
from synthetic_images.trays.write import ShotName
from vision.errors import Unusable

_FOCAL_PX = 1e5  # the target is seen from as far as a telecentric lens sees it
_SQUARES, _PITCH_MM = (17, 12), 8.0
_LAMP_LEVEL, _EDGE_DEG, _EDGE_PSF_PX = 0.85, 5.0, 0.7
# Of the invented certificate of the reference piece, and of one laying and measurement (mm).
_CERTIFIED_MM, _LAYING_MM = 0.002, 0.003


def render_pictures(folder: Path, view: View, rng: np.random.Generator) -> None:
    """Write `target.png` (17 x 12 inner corners, 8 mm), `lamp-1.png`, `lamp-2.png` and `edge.png` of a plain view."""
    folder.mkdir(parents=True, exist_ok=True)
    width, height = view.size_px
    matrix = np.array([[_FOCAL_PX, 0.0, width / 2], [0.0, _FOCAL_PX, height / 2], [0.0, 0.0, 1.0]])
    corner = [-0.5 * (count - 1) * _PITCH_MM for count in _SQUARES]
    at = np.array([*corner, _FOCAL_PX * view.mm_per_px])
    camera = TargetCamera(matrix, np.zeros(5), np.zeros(3), at, view.size_px)
    sensor = camera.sensor
    lamp = render_flat_pair(_LAMP_LEVEL, view.size_px, sensor, rng)
    pictures: dict[str, Pixels] = {
        "target.png": render_chessboard(camera, rng, _SQUARES, _PITCH_MM),
        "lamp-1.png": lamp[0],
        "lamp-2.png": lamp[1],
        "edge.png": render_slanted_edge(view.size_px, _EDGE_DEG, _EDGE_PSF_PX, sensor, rng),
    }
    for name, pixels in pictures.items():
        if not cv2.imwrite(str(folder / name), pixels, [cv2.IMWRITE_PNG_COMPRESSION, 1]):
            raise Unusable(folder / name, "", "a picture that can be written expected; look at the disk's space")


def render_reference(folder: Path, pattern: Pattern, view: View, shifts: int, rng: np.random.Generator) -> None:
    """A reference piece without fault, photographed at the start of so many shifts; `reference.toml` beside them."""
    for shift in range(1, shifts + 1):
        tray = Scene(pattern, view, rows(pattern, size_mm(view), [Defects()], rng))
        name = ShotName(f"REF-{shift}", "REFERENCE", pattern.part, "ST-1", f"2026-11-0{shift}T05:45:00+00:00")
        write_back_shot(folder / name.tray, name, tray, "png", rng)
    value = {
        "measure": "length_mm",
        "value": pattern.length_mm,
        "uncertainty": _CERTIFIED_MM,
        "repeatability": _LAYING_MM,
    }
    content = {"format": 1, "reference": "REF-1", "part": pattern.part, "value": [value]}
    (folder / "reference.toml").write_text(tomlkit.dumps(content), encoding="utf-8")
