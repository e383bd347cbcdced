"""Repeats of one face: how far its counts, lengths and densities scatter, against what their uncertainties say.

    python -m tests.truth.face_repeats [--faces 6] [--repeats 12] [--seed 1] [--small] [--still]

A face holds many scratches and pits, most of them near the counting rules and the limits of detection. It is rendered
again and again with its marks in place on a newly drawn finish of the same kind, moved by parts of a pixel and turned
by up to two degrees, and photographed at three levels of noise: what differs between two pieces with the same marks.
With `--still` finish and place stay and only the sensor's noise is drawn anew: two photographs of one piece as it lies.
With `--small` fewer marks of the usual sizes lie on a face, and ten pits and ten grains of dust so small that most of
them should not count.

A second table holds the pits against what they are in truth: how often each is reported and counted, and the variance
that it adds to the counts, seen and stated.
"""

import argparse
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import sqrt

import cv2
import numpy as np

from synthetic_images.faces.finish import Disturber, random_finish
from synthetic_images.faces.frames import Face
from synthetic_images.faces.marks import Crater, random_marks
from synthetic_images.sensor import Sensor
from synthetic_images.spoons import TEASPOON, Array, Pattern, outline
from tests.truth.bowls import bowl, light_up, photograph
from vision.decide.counts import COUNTED_MEASURES, Counted, Counting, count, face_of
from vision.face.score import FaceScore, score_face
from vision.formats import shipped_judge
from vision.records.inputs import CountRule
from vision.records.marks import FIRST_DETECTION
from vision.records.measured import Finding, Pit

# Full well and read noise in electrons: usual, the renderer's noisy family, and a camera that sees little light.
SENSORS = (Sensor(12000.0, 6.0), Sensor(2500.0, 10.0), Sensor(800.0, 12.0))
# The rules of the invented works, and stricter ones that cut through the middle of what is found.
RULES = {"usual": CountRule(0.5, 6.0, 0.15, 6.0), "strict": CountRule(2.5, 9.0, 0.25, 12.0)}
# Share of the renderer's own strengths that marks have, evenly by its logarithm: to the edge of what is found.
FADED = {"scratch": (0.1, 1.0), "pit": (0.04, 0.5)}
# Small marks: how many of each kind, clear space about each, and diameters (mm) of pits, by their logarithm, and dust.
SMALL, APART_MM = 10, 1.2
SMALL_PIT_MM, DUST_MM = (0.08, 0.18), (0.04, 0.095)
# True diameters (mm) at which the table of pits is cut, and how far from its mark one may be found.
CUTS_MM = (0.08, 0.1, 0.12, 0.15, 0.2, 0.3, 0.4, 0.7)
NEAR_MM = 0.3


def counted(findings: Sequence[Finding], rule: CountRule, area_cm2: float | None, u_cm2: float | None) -> Counted:
    """What is counted of findings on a scored area."""
    return count(findings, face_of(findings, area_cm2, u_cm2, FIRST_DETECTION), Counting(rule))


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


def speckled_face(rng: np.random.Generator, pattern: Pattern = TEASPOON) -> Face:
    """A few marks of the usual sizes, small pits and dust, clear of one another."""
    face = marked_face(rng, pattern, (3, 6))
    length, half = pattern.surface_x_mm[1], float(outline(pattern, 0.5).points_mm[:, 1].max())
    taken = [*(one.center_mm for one in face.craters), *(point for one in face.grooves for point in one.points_mm)]

    def spot() -> tuple[float, float]:
        while True:
            x, y = float(rng.uniform(0.1, 0.9) * length), float(rng.uniform(-0.8, 0.8) * half)
            inside = np.hypot(x / (0.5 * length) - 1.0, y / half) < 0.9
            if inside and np.hypot(*(np.array(taken) - (x, y)).T).min() > APART_MM:
                taken.append((x, y))
                return x, y

    low, high = np.log(SMALL_PIT_MM)
    pits = [Crater(spot(), float(np.exp(rng.uniform(low, high))), float(rng.uniform(0.3, 0.95))) for _ in range(SMALL)]
    dust = [
        Disturber("dust", spot(), float(rng.uniform(0.2, 0.6)), diameter_mm=float(rng.uniform(*DUST_MM)))
        for _ in range(SMALL)
    ]
    return replace(face, craters=(*face.craters, *pits), disturbers=tuple(dust))


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
        yield [score_face(photograph(lit, sensor, rng), shipped_judge()) for sensor in SENSORS]


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
            told = [counted(s.findings, rule, s.scored_area_cm2, s.scored_area_uncertainty_cm2) for s in scores]
            for name in COUNTED_MEASURES:
                seen[name][level] += np.var([one.measures[name] for one in told], ddof=1)
                stated[name][level] += np.mean(np.square([one.uncertainties[name] for one in told]))
    return {name: Spread(seen[name], stated[name]) for name in COUNTED_MEASURES}


def pit_rows(faces: Sequence[tuple[Face, Sequence[Sequence[FaceScore]]]], rule: CountRule) -> Iterator[str]:
    """One line of text for dust and for each class of true pits, all levels of noise together."""
    classes = [f"pit {low:.2f} to {high:.2f} mm" for low, high in pairwise(CUTS_MM)]
    sums = {name: np.zeros(5) for name in ("dust", *classes)}
    for face, scored in faces:
        marks = [("dust", one.at_mm) for one in face.disturbers]
        marks += [(classes[int(np.digitize(c.diameter_mm, CUTS_MM)) - 1], c.center_mm) for c in face.craters]
        for name, place in marks:
            for level in range(len(SENSORS)):
                told = [_at(place, one[level], rule) for one in scored]
                reported, counted, variance = np.array(told).T
                sums[name] += (1.0, reported.mean(), counted.mean(), counted.var(ddof=1), variance.mean())
    for name, (number, reported, counted, seen, stated) in sums.items():
        if number:
            means = f"reported {reported / number:.2f} counted {counted / number:.2f}"
            yield f"{name:20} {number:4.0f} {means} variance seen {seen / number:.3f} stated {stated / number:.3f}"


def _at(place_mm: tuple[float, float], score: FaceScore, rule: CountRule) -> tuple[float, float, float]:
    """Pits reported at a place, how many of them count, and the variance that they add to a count."""
    there = [
        s for s in score.findings if isinstance(s, Pit) and np.hypot(*np.subtract(s.center_mm, place_mm)) < NEAR_MM
    ]
    told = counted(there, rule, 1.0, 0.0)
    number, uncertainty = told.measures["pit_count"], told.uncertainties["pit_count"]
    assert isinstance(number, float | int)
    assert isinstance(uncertainty, float)
    return float(bool(there)), float(number), uncertainty**2


def main() -> None:
    """Print the tables of docs/benchmarks/face.md."""
    cv2.setNumThreads(1)
    ask = argparse.ArgumentParser()
    ask.add_argument("--faces", type=int, default=6)
    ask.add_argument("--repeats", type=int, default=12)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--small", action="store_true")
    ask.add_argument("--still", action="store_true")
    asked = ask.parse_args()
    faces = []
    for number in range(asked.faces):
        rng = np.random.default_rng([asked.seed, number])
        face = speckled_face(rng) if asked.small else marked_face(rng)
        faces.append((face, list(repeats(face, asked.repeats, rng, still=asked.still))))
    for name, rule in RULES.items():
        for measure, spread in spreads([scored for _, scored in faces], rule).items():
            pooled = sqrt(float(spread.stated.sum() / spread.seen.sum()))
            levels = " ".join(f"{one:5.2f}" for one in spread.ratio)
            seen = " ".join(f"{sqrt(one / asked.faces):8.3g}" for one in spread.seen)
            print(f"{name:8} {measure:28} seen {seen}   stated / seen {levels}   pooled {pooled:5.2f}")
        for row in pit_rows(faces, rule):
            print(f"{name:8} {row}")


if __name__ == "__main__":
    main()
