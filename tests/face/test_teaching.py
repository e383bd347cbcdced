"""Teaching a judge of marks: what people say moves what its curves weigh, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit

from vision.face import Feature, Lesson, taught
from vision.face.judging import judged_by
from vision.records import FeatureCurve, MarkModel

NAMES = (Feature("strong", "how strong it is", 1), Feature("rim", "how much of it lies on a rim", -1))
STEPS = tuple(np.linspace(0.1, 0.9, 9).tolist())
RISING = tuple(np.round(np.linspace(-3, 3, 10), 5).tolist())
MODEL = MarkModel(
    -0.5,
    (FeatureCurve("strong", STEPS, RISING), FeatureCurve("rim", STEPS, tuple(-0.1 * one for one in RISING))),
    tuple((float(at), float(expit(at))) for at in np.linspace(-4, 4, 9)),
)


def lesson_of(count: int, strong: float, rim: float, wrong: float = 0.0, seed: int = 0) -> Lesson:
    """Candidates of a works in which the two features weigh so much."""
    rng = np.random.default_rng(seed)
    features = rng.random((count, 2))
    odds = strong * 6 * (features[:, 0] - 0.5) - rim * 6 * (features[:, 1] - 0.5)
    real = (rng.random(count) < expit(odds)).astype(np.int8)
    flip = rng.random(count) < wrong
    return Lesson(features, np.where(flip, 1 - real, real).astype(np.int8), np.ones(count), np.arange(count) // 3)


def loss_of(model: MarkModel, lesson: Lesson) -> float:
    chance = judged_by(model, lesson.features, NAMES).chance
    return float(-np.log(np.where(lesson.real == 1, chance, 1 - chance)).mean())


def test_rims_of_a_works_that_deceive_are_learned_from_a_hundred_labels() -> None:
    new = taught(MODEL, lesson_of(120, 1.0, 2.0, wrong=0.05), NAMES)
    unseen = lesson_of(2000, 1.0, 2.0, seed=1)
    assert loss_of(new, unseen) < loss_of(MODEL, unseen) - 0.05


def test_where_labels_say_the_same_the_judge_stays_as_good() -> None:
    unseen = lesson_of(2000, 1.0, 0.1, seed=1)
    for seed in range(2, 7):
        new = taught(MODEL, lesson_of(120, 1.0, 0.1, seed=seed), NAMES)
        assert loss_of(new, unseen) < loss_of(MODEL, unseen) + 0.02


@pytest.mark.parametrize("seed", range(4))
def test_a_curve_never_turns_round(seed: int) -> None:
    new = taught(MODEL, lesson_of(150, -2.0, -2.0, seed=seed), NAMES)
    assert all(b >= a for curve in new.curves[:1] for a, b in zip(curve.log_odds, curve.log_odds[1:], strict=False))
    assert all(b <= a for curve in new.curves[1:] for a, b in zip(curve.log_odds, curve.log_odds[1:], strict=False))
    assert [curve.edges for curve in new.curves] == [curve.edges for curve in MODEL.curves]


def test_a_label_shown_with_a_tenth_of_a_chance_counts_ten_times() -> None:
    few = lesson_of(150, 1.0, 2.0)
    weighted = replace(few, weight=np.where(few.features[:, 1] > 0.5, 10.0, 1.0))
    again = np.repeat(np.arange(150), weighted.weight.astype(int))
    copied = Lesson(few.features[again], few.real[again], np.ones(len(again)), few.piece[again])
    one, other = taught(MODEL, weighted, NAMES), taught(MODEL, copied, NAMES)
    assert one.base == pytest.approx(other.base, abs=1e-3)
