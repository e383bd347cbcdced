"""Planted against rendered marks: does planting into clean frames tell how well true marks are found?

    python -m tests.truth.planted_marks [--bowls 60] [--seed 1]

On every bowl one finish is drawn and photographed clean. `brightbowl pod`'s own planting puts marks into those frames;
the renderer draws marks at the same places and of the same sizes on the same finish, with facets of their own under
every light. Both are scored and held against one abscissa: the contrast, mean over the mark, under the low light that
shows it best. The renderer is ours as the planting is: agreement says that the simple model holds for lights, places
and blur as we render them, not that scratches of a works are like either.
"""

import argparse
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from app.run.planting import WIDTH_MM, Planted, is_found, sow
from app.statistics.intervals import wilson
from app.statistics.pod import detectability, size_found
from app.studies.pod_study import PLAIN
from synthetic_images.faces.finish import random_finish
from synthetic_images.faces.frames import Face, FrontLight
from synthetic_images.faces.marks import Crater, Groove
from synthetic_images.outlines.coverage import Float32
from synthetic_images.outlines.scene import tray_mm
from synthetic_images.outlines.view import to_px
from synthetic_images.sensor import Sensor
from synthetic_images.spoons import Array, outline
from tests.truth.bowls import MM_PER_PX, Bowl, bowl, light_up, photograph
from vision.face.score import score_face
from vision.formats import shipped_judge

AT_ONCE = 14
# Share of light that a rendered mark's facets take, evenly by its logarithm: from invisible to plain.
STRENGTHS = (0.01, 0.9)
# A low light shows marks at levels between these, as shares of the full well: neither shadow nor its own reflection.
LEVELS = (0.02, 0.9)
# Contrasts between which shares found are told.
CLASSES = (0.03, 0.1, 0.3, 1.0, 100.0)
# A mark's light is summed so far beyond its own pixels, where the blur has carried it.
_REACH_PX = 6
_NORMAL_95 = 1.96


@dataclass(frozen=True)
class Tried:
    """One mark; `contrast` under the low light that shows it best; `others` and `dome` what the rest show of that."""

    kind: str
    size_mm: float
    contrast: float
    others: float
    dome: float
    found: bool


def try_bowl(seed: int, number: int) -> tuple[list[Tried], list[Tried]]:
    """Marks planted into one bowl's clean frames, and marks rendered in the same places on the same finish."""
    rng = np.random.default_rng([seed, number])
    laid = bowl(angle_deg=float(rng.uniform(-3.0, 3.0)))
    finish, draw = random_finish(rng), int(rng.integers(2**32))
    clean = light_up(laid, Face(laid.piece, finish), np.random.default_rng(draw))[0]
    sown = sow(photograph(clean, Sensor(), rng), AT_ONCE, rng).marks
    grooves = tuple(Groove(np.asarray(m.points_mm), WIDTH_MM, _strength(rng)) for m in sown if m.kind == "scratch")
    craters = tuple(Crater(m.points_mm[0], m.size_mm, _strength(rng)) for m in sown if m.kind == "pit")
    marked = light_up(laid, Face(laid.piece, finish, grooves, craters), np.random.default_rng(draw))[0]
    findings = score_face(photograph(marked, Sensor(), rng), shipped_judge()).findings
    planted, rendered = [], []
    for mark in sown:
        points = _px(laid, np.asarray(mark.points_mm))
        seen = [
            _shown(mark, points, light, bare) for (_, light), (_, bare) in zip(marked.front, clean.front, strict=True)
        ]
        levels = [level for level, _ in seen]
        model = [_model(mark, points, lamp, level) for (lamp, _), level in zip(clean.front, levels, strict=True)]
        lamps = [lamp for lamp, _ in clean.front]
        planted += _tried(mark, lamps, levels, model)
        found = replace(mark, found=is_found(mark, findings))
        rendered += _tried(found, lamps, levels, [contrast for _, contrast in seen])
    return planted, rendered


def _strength(rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(*np.log(STRENGTHS))))


def _px(laid: Bowl, points_mm: Array) -> Array:
    return to_px(laid.tray.view, tray_mm(laid.piece, points_mm, outline(laid.piece.pattern)))


def _shown(mark: Planted, points_px: Array, light: Float32, bare: Float32) -> tuple[float, float]:
    """Level under a light about a mark, and the contrast, mean over the mark's own area, that the mark adds to it."""
    width = (WIDTH_MM if mark.kind == "scratch" else mark.size_mm) / MM_PER_PX
    ends = [tuple(int(v) for v in np.rint(end)) for end in (points_px[0], points_px[-1])]
    near = np.zeros(bare.shape, np.uint8)
    cv2.line(near, ends[0], ends[1], 1, round(width) + 2 * _REACH_PX)
    on = near > 0
    added, level = light[on] - bare[on], float(bare[on].mean())
    length = float(np.hypot(*(points_px[-1] - points_px[0])))
    area = length * width if mark.kind == "scratch" else np.pi / 4.0 * width**2
    return level, float(added.sum() / max(level, 1e-6) / area)


def _model(mark: Planted, points_px: Array, lamp: FrontLight, level: float) -> float:
    """What planting makes of a mark's contrast under a light, as docs/quality-assurance.md states it."""
    if lamp.light == "dome":
        return -0.03 * mark.contrast
    faded = float(mark.contrast * np.exp(-level / 0.5))
    if mark.kind == "pit":
        return faded
    along = points_px[1] - points_px[0]
    across = np.sin(np.arctan2(-along[1], along[0]) - np.deg2rad(lamp.azimuth_deg))
    return faded * float(across) ** 2


def _tried(
    mark: Planted, lamps: Sequence[FrontLight], levels: Sequence[float], contrasts: Sequence[float]
) -> list[Tried]:
    """The mark against its contrast; none where no low light shows the place or the mark is no brighter than it."""
    low = [
        contrast
        for lamp, level, contrast in zip(lamps, levels, contrasts, strict=True)
        if lamp.light == "low" and LEVELS[0] < level < LEVELS[1]
    ]
    dome = next(contrast for lamp, contrast in zip(lamps, contrasts, strict=True) if lamp.light == "dome")
    if not low or max(low) <= 0.0:
        return []
    best = max(low)
    return [
        Tried(mark.kind, mark.size_mm, best, (sum(low) - best) / best / max(len(low) - 1, 1), dome / best, mark.found)
    ]


def told(name: str, marks: Sequence[Tried], against: str) -> str:
    """One line: contrast or size found by half and by nine in ten, with 95 % intervals."""
    values = np.array([getattr(mark, against) for mark in marks])
    found = np.array([mark.found for mark in marks], dtype=np.float64)
    fit = detectability(values, found, np.ones(len(marks))).fit
    words = []
    for chance in (0.5, 0.9):
        at, se = size_found(fit, chance)
        low, middle, high = np.exp([at - _NORMAL_95 * se, at, at + _NORMAL_95 * se])
        beyond = ", beyond what was tried" if middle > values.max() else ""
        words.append(f"a{100 * chance:.0f} {middle:.3f} ({low:.3f} to {high:.3f}{beyond})")
    return f"{name}, against {against}: {found.sum():.0f} of {len(marks)} found, {'; '.join(words)}"


def shares(marks: Sequence[Tried]) -> str:
    """Shares found by contrast, and what the other lights show of the best one's."""
    words = []
    for low, high in itertools.pairwise(CLASSES):
        found = [mark.found for mark in marks if low <= mark.contrast < high]
        share = wilson(sum(found), len(found))
        if share.value is not None and share.ci is not None:
            told_ci = f"{share.ci[0]:.2f} to {share.ci[1]:.2f}"
            words.append(f"{low:g} to {high:g}: {share.value:.2f} ({told_ci}, of {len(found)})")
    others, dome = (np.median([getattr(mark, key) for mark in marks]) for key in ("others", "dome"))
    return f"    {', '.join(words)}; other low lights {others:.2f}, dome {dome:.2f}"


def main() -> None:
    """Print the figures of docs/benchmarks/face.md."""
    cv2.setNumThreads(1)
    ask = argparse.ArgumentParser()
    ask.add_argument("--bowls", type=int, default=60)
    ask.add_argument("--seed", type=int, default=1)
    asked = ask.parse_args()
    pairs = [try_bowl(asked.seed, number) for number in range(asked.bowls)]
    for kind in ("scratch", "pit"):
        for side, name in enumerate(("planted", "rendered")):
            marks = [mark for pair in pairs for mark in pair[side] if mark.kind == kind]
            print(told(f"{kind}, {name}", marks, "contrast"))
            print(shares(marks))
            print(told("    plain ones", [mark for mark in marks if mark.contrast >= PLAIN], "size_mm"))


if __name__ == "__main__":
    main()
