"""Findings against truth on faces that vary widely (`synthetic_images.faces.varied`): a suite that no rule is tuned to.

    .venv/bin/python -m tests.truth.varied_score --faces 60 [--first 9000]

Faces are numbered; each number is another face. The rules of matching are those of `polished_score`.
"""

import argparse
from pathlib import Path

import cv2
import numpy as np
from shapely.geometry import Polygon

from synthetic_images.faces.varied import VariedShot, varied_shot
from synthetic_images.spoons import outline
from tests.truth.polished_score import PieceScore, print_figures, score_piece, told, view_of
from vision.face.raster import scored_shape
from vision.face.score import score_face
from vision.formats import shipped_judge
from vision.records import Part, Surface, TrayPictures, Zone
from vision.records.inputs import Picture


def part_of(shot: VariedShot) -> Part:
    """The part that a varied face belongs to."""
    pattern = shot.scene.part
    return Part(
        pattern.part,
        pattern.name,
        np.asarray(outline(pattern).points_mm),
        (),
        tuple(Zone(zone.name, zone.x_mm, zone.datum, zone.bend) for zone in pattern.zones),
        Surface(pattern.surface_x_mm, pattern.surface_inset_mm),
    )


def pictures_of(shot: VariedShot) -> TrayPictures:
    """A varied face's frames as if decoded."""
    frames = [Picture(light, azimuth, pixels, 255.0, light) for light, azimuth, pixels in shot.frames]
    return TrayPictures(
        frames[0],
        next((frame for frame in frames if frame.light == "dome"), None),
        tuple(frame for frame in frames if frame.light == "low"),
    )


def score_number(number: int) -> PieceScore:
    """Render and score one face."""
    shot = varied_shot(np.random.default_rng([77, number]))
    part = part_of(shot)
    assert part.surface is not None
    shape = scored_shape(part, part.surface)
    assert isinstance(shape, Polygon)
    inputs = view_of(pictures_of(shot), part, dict(shot.truth), shot.scene.view.mm_per_px)
    score = score_piece(shot.truth, told(score_face(inputs, shipped_judge()), swept=False), shape)
    score.name = str(number)
    return score


def main() -> None:
    """Score some faces and print their figures."""
    cv2.setNumThreads(1)
    ask = argparse.ArgumentParser()
    ask.add_argument("--faces", type=int, default=60)
    ask.add_argument("--first", type=int, default=9000)
    asked = ask.parse_args()
    scores = [score_number(number) for number in range(asked.first, asked.first + asked.faces)]
    print_figures(f"varied faces from {asked.first}, {Path(__file__).stem}", scores, swept=False)


if __name__ == "__main__":
    main()
