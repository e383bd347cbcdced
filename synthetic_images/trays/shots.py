"""Tray shots, backlit or front-lit too, and folders of them with the part, the station and the limits they need."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from synthetic_images.faces.frames import Face, front_light, prepare, standard_lights
from synthetic_images.faces.truth import face_truth
from synthetic_images.outlines.coverage import Float32
from synthetic_images.outlines.families import FAMILIES, Family, back_frame, random_face, scene
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.truth import tray_truth
from synthetic_images.sensor import exposed
from synthetic_images.spoons import Pattern
from synthetic_images.trays.write import (
    FrameImage,
    LimitRow,
    ShotName,
    write_limits,
    write_part,
    write_shot,
    write_station,
)

# Pieces that can be measured on one tray of each family; front-lit trays cost five frames more.
PIECES: dict[Family, int] = dict.fromkeys(FAMILIES, 3) | {"crowd": 4, "faces": 2}
STATION = "ST-1"
LOT = "L-2611-01"


@dataclass(frozen=True, slots=True)
class Order:
    """What to render: how many trays of which family and part, from which seed; `frame_ending` is `png` or `tif`."""

    family: Family
    pattern: Pattern
    trays: int
    seed: int
    frame_ending: str = "png"


def outline_limits(pattern: Pattern) -> list[LimitRow]:
    """Limits of the invented works on the outline; own choice, not from any standard."""
    rows = [
        LimitRow("outline_out_mm", "major", max=0.15),
        LimitRow("outline_in_mm", "major", max=0.15),
        LimitRow("bend_deg", "major", min=-0.4, max=0.4),
        LimitRow("length_mm", "minor", min=pattern.length_mm - 0.2, max=pattern.length_mm + 0.2),
    ]
    if pattern.holes:
        rows += [
            LimitRow("hole_offset_mm", "major", max=0.25),
            LimitRow("hole_diameter_error_mm", "minor", min=-0.15, max=0.15),
        ]
    return rows


def surface_limits() -> list[LimitRow]:
    """Limits of the invented works on the polished face; own choice, not from any standard."""
    return [LimitRow("scratch_count", "major", max=0), LimitRow("pit_count", "minor", max=0)]


# Which marks count on the polished face of the invented works; own choice.
COUNT = {"scratch_min_length_mm": 0.5, "scratch_min_snr": 6.0, "pit_min_diameter_mm": 0.15, "pit_min_snr": 6.0}


def write_back_shot(folder: Path, name: ShotName, tray: Scene, ending: str, rng: np.random.Generator) -> Path:
    """Render a backlit tray shot and its truth into `folder`."""
    frame = FrameImage(f"back.{ending}", "back", back_frame(tray, rng))
    return write_shot(folder, name, [frame], tray_truth(tray, name.tray))


def write_face_shot(
    folder: Path, name: ShotName, tray: Scene, faces: Sequence[Face], ending: str, rng: np.random.Generator
) -> Path:
    """Render a tray shot with its backlit, dome and four low-angle frames; the truth is that of the polished faces."""
    frames = [FrameImage(f"back.{ending}", "back", back_frame(tray, rng))]
    lit = [prepare(tray, face, rng) for face in faces]
    light: list[tuple[Float32, Float32]] = []
    for lamp in standard_lights():
        light.append(front_light(tray, lit, lamp))
        low = lamp.light == "low"
        file = f"low-{round(lamp.azimuth_deg):03d}.{ending}" if low else f"dome.{ending}"
        pixels = exposed(light[-1][0], tray.sensor, rng)
        frames.append(FrameImage(file, lamp.light, pixels, lamp.azimuth_deg if low else None))
    return write_shot(folder, name, frames, face_truth(tray, faces, lit, light))


def render_shots(folder: Path, order: Order) -> Iterator[Path]:
    """Render tray after tray into `folder`; yields each shot's folder once it is complete.

    The same order gives the same frames and truth, whatever was rendered before it (a drawing carries its date).

    Parameters
    ----------
    folder
        Written to; made where it is absent.
    order
        Family, pattern, number of trays, seed and ending of the frames' names.

    Yields
    ------
    Path
        A shot's folder, once it is complete.
    """
    folder.mkdir(parents=True, exist_ok=True)
    limits, count = outline_limits(order.pattern), {}
    if order.family == "faces":
        limits, count = limits + surface_limits(), COUNT
    write_limits(folder / "limits.toml", order.pattern.part, limits, count)
    for index in range(order.trays):
        rng = np.random.default_rng([order.seed, FAMILIES.index(order.family), index])
        tray = scene(order.family, order.pattern, rng, PIECES[order.family])
        if index == 0:
            write_part(folder, order.pattern, tray.edge_height_mm)
            write_station(folder / "station.toml", STATION, tray.view, tray.sensor, tray.backlight.half_angle_deg)
        name = f"{order.family}-{order.seed}-{index:02d}"
        shot = ShotName(name, LOT, order.pattern.part, STATION)
        if order.family == "faces":
            faces = [random_face(piece, rng) for piece in tray.pieces]
            yield write_face_shot(folder / name, shot, tray, faces, order.frame_ending, rng)
        else:
            yield write_back_shot(folder / name, shot, tray, order.frame_ending, rng)
