"""Repeats of one face: how far its counts, lengths and densities scatter, against what their uncertainties say.

    python -m tests.truth.face_repeats [--faces 6] [--repeats 12] [--seed 1]

A face holds many scratches and pits, most of them near the counting rules and the limits of detection. It is rendered
again and again with its marks in place on a newly drawn finish of the same kind, moved by parts of a pixel and turned
by up to two degrees, and photographed at three levels of noise: what differs between two pieces with the same marks.
With `--still` finish and place stay and only the sensor's noise is drawn anew: two photographs of one piece as it lies.
"""

import argparse
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt

import cv2
import numpy as np

from synthetic_images.faces import Face
from synthetic_images.finish import random_finish
from synthetic_images.marks import random_marks
from synthetic_images.sensor import Sensor
from synthetic_images.spoons import TEASPOON, Array, Pattern, outline
from tests.truth.bowls import bowl, light_up, photograph
from vision.decide.count import COUNTED_MEASURES, count
from vision.measure.face import FaceScore, score_face
from vision.records.given import CountRule

# Full well and read noise in electrons: usual, the renderer's noisy family, and a camera that sees little light.
SENSORS = (Sensor(12000.0, 6.0), Sensor(2500.0, 10.0), Sensor(800.0, 12.0))
# The rules of the invented works, and stricter ones that cut through the middle of what is found.
RULES = {"usual": CountRule(0.5, 6.0, 0.15, 6.0), "strict": CountRule(2.5, 9.0, 0.25, 12.0)}
# Share of the renderer's own strengths that marks have, evenly by its logarithm: to the edge of what is found.
FADED = {"scratch": (0.1, 1.0), "pit": (0.04, 0.5)}


def marked_face(rng: np.random.Generator, pattern: Pattern = TEASPOON, counts: tuple[int, int] = (11, 18)) -> Face:
    """A kind of finish, and marks over the scored part of a bowl."""
    half = float(outline(pattern, 0.5).points_mm[:, 1].max())
    grooves, craters = random_marks(pattern.surface_x_mm[1], half, counts, rng)
    return Face(
        bowl(pattern).piece,
        random_finish(rng),
        tuple(replace(one, strength=one.strength * _faded("scratch", rng)) for one in grooves),
        tuple(replace(one, strength=one.strength * _faded("pit", rng)) for one in craters),
    )


def _faded(kind: str, rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(*np.log(FADED[kind]))))


def repeats(face: Face, number: int, rng: np.random.Generator, *, still: bool = False) -> Iterator[Sequence[FaceScore]]:
    """Score the face again and again, each time at every level of noise."""
    lit = None
    for _ in range(number):
        if lit is None or not still:
            shift = (float(rng.uniform(-0.5, 0.5)), float(rng.uniform(-0.5, 0.5)))
            laid = bowl(face.piece.pattern, float(rng.uniform(-2.0, 2.0)), shift)
            lit = light_up(laid, face, rng)[0]
        yield [score_face(photograph(lit, sensor, rng)) for sensor in SENSORS]


@dataclass(frozen=True)
class Spread:
    """Sums over faces of variances (levels,): `seen` between repeats, `stated` by the mean square of uncertainties."""

    seen: Array
    stated: Array

    @property
    def ratio(self) -> Array:
        """Stated over seen, as standard deviations; nan where none was seen."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.seen > 0.0, np.sqrt(self.stated / self.seen), np.nan)


def spreads(faces: Sequence[Sequence[Sequence[FaceScore]]], rule: CountRule) -> Mapping[str, Spread]:
    """What was seen and stated of every counted measure; `faces` by face, repeat and level."""
    seen = {name: np.zeros(len(SENSORS)) for name in COUNTED_MEASURES}
    stated = {name: np.zeros(len(SENSORS)) for name in COUNTED_MEASURES}
    for scored in faces:
        for level in range(len(SENSORS)):
            scores = [one[level] for one in scored]
            told = [count(s.findings, rule, s.scored_area_cm2, s.scored_area_uncertainty_cm2) for s in scores]
            for name in COUNTED_MEASURES:
                seen[name][level] += np.var([one.measures[name] for one in told], ddof=1)
                stated[name][level] += np.mean(np.square([one.uncertainties[name] for one in told]))
    return {name: Spread(seen[name], stated[name]) for name in COUNTED_MEASURES}


def main() -> None:
    """Print the table of docs/benchmarks/face.md."""
    cv2.setNumThreads(1)
    ask = argparse.ArgumentParser()
    ask.add_argument("--faces", type=int, default=6)
    ask.add_argument("--repeats", type=int, default=12)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--still", action="store_true")
    asked = ask.parse_args()
    faces = []
    for number in range(asked.faces):
        rng = np.random.default_rng([asked.seed, number])
        faces.append(list(repeats(marked_face(rng), asked.repeats, rng, still=asked.still)))
    for name, rule in RULES.items():
        for measure, spread in spreads(faces, rule).items():
            pooled = sqrt(float(spread.stated.sum() / spread.seen.sum()))
            levels = " ".join(f"{one:5.2f}" for one in spread.ratio)
            seen = " ".join(f"{sqrt(one / asked.faces):8.3g}" for one in spread.seen)
            print(f"{name:8} {measure:28} seen {seen}   stated / seen {levels}   pooled {pooled:5.2f}")


if __name__ == "__main__":
    main()
