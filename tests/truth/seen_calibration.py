"""Reference marks planted into faces: found as often as the map of what could have been seen says?

    python -m tests.truth.seen_calibration SEED TIMES FOLDER...

Folders of trays with truth, as `tests.truth.polished_score` reads them. Marks of the reference's sizes are planted at
random places and directions, at contrasts from invisible to plain, well apart from each other and from what the face
bears already. The chance is that of the untouched frames.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from shapely import LineString, Point

from app.run.planting import Planted, is_found, plant
from tests.truth.polished_score import truth_of, view_of
from vision.face import score, seen
from vision.face.evidence import combine
from vision.face.frames import take_frames
from vision.face.raster import FaceInputs, find_region, scored_shape
from vision.formats import read_frames, read_part, read_shot, read_station
from vision.records.inputs import Reference, TrayPictures

CONTRASTS = (0.08, 3.0)
AT_ONCE, APART_MM, CLEAR_MM = 10, 4.0, 2.5
BANDS = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)


@dataclass(frozen=True)
class Plant:
    """A mark with the chance that was stated for it, and whether it was found."""

    kind: str
    chance: float
    found: bool


def faces_of(folder: Path) -> Iterator[FaceInputs]:
    """Every face of a folder of trays, at its true pose."""
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    for tray in sorted(truth.parent for truth in folder.glob("*/truth.json")):
        pictures = read_frames(read_shot(tray), station)
        for piece in truth_of(tray):
            yield view_of(pictures, part, piece, float(station.homography[0, 0]))


def plants_on(face: FaceInputs, times: int, rng: np.random.Generator) -> Iterator[Plant]:
    """Plant ten marks at once, so many times, and look for them."""
    surface = face.part.surface
    assert surface is not None
    region = find_region(face, surface)
    assert region is not None
    taken = take_frames(face, region)
    evidence = combine(region, taken.contrasts)
    blur = taken.blurs_px[0]
    findings, grounds = score._findings(face, evidence, blur)
    there = [np.mean(f.points_mm, axis=0) if hasattr(f, "points_mm") else np.array(f.center_mm) for f in findings]
    shape = scored_shape(face.part, surface)
    turn = seen._turn_deg(face)
    for _ in range(times):
        marks: list[Planted] = []
        chances: list[float] = []
        shapes: list[LineString | Point] = []
        for number in range(AT_ONCE):
            kind = "scratch" if number % 2 == 0 else "pit"
            for _ in range(60):
                center = np.array([rng.uniform(*shape.bounds[::2]), rng.uniform(*shape.bounds[1::2])])
                angle = rng.uniform(0.0, np.pi)
                along = 1.5 * np.array([np.cos(angle), np.sin(angle)])
                points = np.stack((center - along, center + along)) if kind == "scratch" else center[None]
                drawn = LineString(points) if kind == "scratch" else Point(center)
                clear = all(drawn.distance(Point(one)) > CLEAR_MM for one in there)
                if clear and shape.contains(drawn) and all(drawn.distance(one) > APART_MM for one in shapes):
                    break
            else:
                continue
            contrast = float(np.exp(rng.uniform(*np.log(CONTRASTS))))
            size = 3.0 if kind == "scratch" else 0.25
            places = tuple((float(x), float(y)) for x, y in points)
            marks.append(Planted(kind, places, size, contrast, width_mm=0.1))
            shapes.append(drawn)
            asked = Reference(scratch_contrast=contrast, pit_contrast=contrast)
            column, row = np.rint(region.broad.from_px(face.to_px(center[None]))[0]).astype(int)
            if kind == "scratch":
                snr, _ = seen._scratch_snr(face, evidence, grounds[0], taken.blurs_px, asked)
                chance = seen._chance(snr, seen._SCRATCH_CHANCE)[:, row, column]
                ahead = ((np.degrees(angle) + turn) % 180.0) / 180.0 * len(chance)
                chances.append(float(np.interp(ahead, np.arange(len(chance) + 1), np.append(chance, chance[0]))))
            else:
                snr = seen._pit_snr(evidence, grounds[1], taken.blurs_px, asked)
                chances.append(float(seen._chance(snr, seen._PIT_CHANCE)[row, column]))
        before = face.pictures
        lit = TrayPictures(
            before.back,
            None if before.dome is None else plant(before.dome, marks, face, blur),
            tuple(plant(low, marks, face, blur) for low in before.low),
        )
        planted = take_frames(replace(face, pictures=lit), region)
        found, _ = score._findings(replace(face, pictures=lit), combine(region, planted.contrasts), blur)
        for mark, chance in zip(marks, chances, strict=True):
            yield Plant(mark.kind, chance, is_found(mark, found))


def print_table(name: str, plants: list[Plant]) -> None:
    """Said and found, in all and band by band."""
    for kind in ("scratch", "pit"):
        some = [p for p in plants if p.kind == kind]
        said, found = np.array([p.chance for p in some]), np.array([p.found for p in some])
        bands = []
        for low, high in pairwise(BANDS):
            within = (said >= low) & (said < high)
            if within.any():
                bands.append(f"{low:g}-{high:g}: {within.sum()} {said[within].mean():.2f} {found[within].mean():.2f}")
        print(f"{name} {kind}: {len(some)} said {said.mean():.3f} found {found.mean():.3f} | " + ", ".join(bands))


def main() -> None:
    """Plant on every face of the folders and print the tables."""
    import cv2

    cv2.setNumThreads(1)
    rng, times = np.random.default_rng(int(sys.argv[1])), int(sys.argv[2])
    every: list[Plant] = []
    for folder in (Path(one) for one in sys.argv[3:]):
        plants = [plant for face in faces_of(folder) for plant in plants_on(face, times, rng)]
        print_table(folder.name, plants)
        every += plants
    print_table("all", every)


if __name__ == "__main__":
    main()
