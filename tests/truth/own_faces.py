"""Own trays of polished faces to score on: other spoons, lights and lenses than those of the path-traced trays.

Every family is rendered twice, plain and with the contrast of each mark faded to 2 to 50 %, from the same finish.
Two pieces of three carry marks, the third is clean.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from synthetic_images.faces.frames import Face, front_light, prepare, standard_lights
from synthetic_images.faces.marks import Crater, Groove, random_marks
from synthetic_images.faces.truth import face_truth
from synthetic_images.outlines.families import back_frame, random_face, scene
from synthetic_images.sensor import exposed
from synthetic_images.spoons import DESSERT_SPOON, TEASPOON, Pattern, outline
from synthetic_images.trays.shots import COUNT, surface_limits
from synthetic_images.trays.write import FrameImage, ShotName, write_limits, write_part, write_shot, write_station

PIECES = 3
_SCRATCHES, _PITS = (2, 5), (4, 8)
_FADED = (0.02, 0.5)


@dataclass(frozen=True)
class FaceFamily:
    """A spoon under lights of one height, seen through one lens."""

    name: str
    pattern: Pattern
    elevation_deg: float
    azimuths_deg: Sequence[float]
    psf_px: float


FACE_FAMILIES = (
    FaceFamily("usual", TEASPOON, 25.0, (0.0, 90.0, 180.0, 270.0), 0.7),
    FaceFamily("lower", TEASPOON, 15.0, (0.0, 90.0, 180.0, 270.0), 0.85),
    FaceFamily("three", DESSERT_SPOON, 20.0, (30.0, 150.0, 270.0), 0.7),
    FaceFamily("oblique", TEASPOON, 30.0, (45.0, 135.0, 225.0, 315.0), 0.6),
)


def render_family(root: Path, family: FaceFamily, trays: int, seed: int) -> list[Path]:
    """Render a family's trays, plain and faint, where they are not there yet: the two folders of trays."""
    folders = [root / f"{family.name}-{seed}-{kind}" for kind in ("plain", "faint")]
    for folder in folders:
        folder.mkdir(parents=True, exist_ok=True)
    for index in range(trays):
        shots = [folder / f"{family.name}-{seed}-{index:02d}" for folder in folders]
        if all((shot / "truth.json").is_file() for shot in shots):
            continue
        rng = np.random.default_rng([seed, index, round(family.elevation_deg)])
        tray = replace(scene("faces", family.pattern, rng, PIECES), psf_px=family.psf_px)
        faces = []
        for number, piece in enumerate(tray.pieces):
            face = random_face(piece, rng, share=0.0)
            faces.append(face if number == (index + 2) % PIECES else _marked(face, rng))
        fades = [rng.uniform(*np.log(_FADED), len(face.grooves) + len(face.craters)) for face in faces]
        draw = int(rng.integers(2**32))
        faint = [_faded(face, np.exp(fade)) for face, fade in zip(faces, fades, strict=True)]
        for folder, shot, lot in zip(folders, shots, (faces, faint), strict=True):
            write_part(folder, family.pattern, tray.edge_height_mm)
            write_station(folder / "station.toml", "ST-1", tray.view, tray.sensor)
            write_limits(folder / "limits.toml", family.pattern.part, surface_limits(), COUNT)
            again = np.random.default_rng(draw)
            frames = [FrameImage("back.png", "back", back_frame(tray, again))]
            lit = [prepare(tray, face, again) for face in lot]
            light = []
            for lamp in standard_lights(family.elevation_deg, family.azimuths_deg):
                light.append(front_light(tray, lit, lamp))
                low = lamp.light == "low"
                file = f"low-{round(lamp.azimuth_deg):03d}.png" if low else "dome.png"
                pixels = exposed(light[-1][0], tray.sensor, again)
                frames.append(FrameImage(file, lamp.light, pixels, lamp.azimuth_deg if low else None))
            name = ShotName(shot.name, "L-2611-01", family.pattern.part, "ST-1")
            write_shot(shot, name, frames, face_truth(tray, lot, lit, light))
    return folders


def _marked(face: Face, rng: np.random.Generator) -> Face:
    pattern = face.piece.pattern
    length = max(zone.x_mm[1] for zone in pattern.zones if zone.datum)
    half = float(outline(pattern, 0.5).points_mm[:, 1].max())
    counts = (int(rng.integers(*_SCRATCHES)), int(rng.integers(*_PITS)))
    grooves, craters = random_marks(length, half, counts, rng)
    return replace(face, grooves=grooves, craters=craters)


def _faded(face: Face, fade: np.ndarray) -> Face:
    marks: list[Groove | Crater] = [*face.grooves, *face.craters]
    marks = [replace(mark, strength=mark.strength * float(f)) for mark, f in zip(marks, fade, strict=True)]
    count = len(face.grooves)
    return replace(face, grooves=tuple(marks[:count]), craters=tuple(marks[count:]))
