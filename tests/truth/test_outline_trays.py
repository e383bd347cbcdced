"""The outline's figures on trays with exact truth: our own renderer's, and those rendered outside the project.

Figures are those the project holds itself to (docs, page on benchmarks). Each sample is small: a share of errors within
2 u of 0.92 to 0.99 in the long run may be lower in 50 draws, so the bound here is 0.85.
"""

from pathlib import Path

import pytest

from synthetic_images.outlines.families import Family
from synthetic_images.spoons import PATTERNS
from synthetic_images.trays.shots import Order, render_shots
from tests.truth.outline_score import Score, score_family

OUTSIDE = Path(__file__).parents[2] / ".." / "shared" / "trays" / "outline"
# measure -> (rms, worst); twice as much is allowed where a lens, a tilt or a height comes in.
PLAIN = {
    "center_px": (0.01, 0.05),
    "angle_deg": (0.001, 0.005),
    "outline_out_mm": (0.0015, 0.006),
    "outline_in_mm": (0.0015, 0.006),
    "length_mm": (0.002, 0.006),
    "width_mm": (0.002, 0.006),
    "bend_deg": (0.002, 0.006),
}
NOISY = {
    "center_px": (0.03, 0.1),
    "angle_deg": (0.003, 0.01),
    "outline_out_mm": (0.004, 0.015),
    "outline_in_mm": (0.004, 0.015),
    "length_mm": (0.005, 0.015),
    "width_mm": (0.005, 0.015),
    "bend_deg": (0.005, 0.015),
}
TWICE = {measure: (2 * rms, 2 * worst) for measure, (rms, worst) in PLAIN.items()}
BOUNDS = {"noisy": NOISY, "lens": TWICE, "height": TWICE, "crowd": TWICE, "entities": TWICE}


def check(score: Score, bounds: dict[str, tuple[float, float]]) -> None:
    assert score.found
    assert score.missed == []
    assert score.extra == []
    for measure, (rms, worst) in bounds.items():
        assert score.rms(measure) < rms, measure
        assert score.worst(measure) < worst, measure
    assert score.missed_bumps == []
    assert score.false_bumps == []
    for truth, told in score.told:
        assert told == truth
    deviations = ("outline_out_mm", "outline_in_mm")
    assert score.within_two_u(*deviations) >= 0.85
    assert 0.3 < score.rms_ratio(*deviations) < 1.5


@pytest.mark.parametrize(
    "family",
    ["plain", "noisy", "lens", "height", *(pytest.param(f, marks=pytest.mark.long) for f in ("deep16", "crowd"))],
)
def test_own_trays(family: Family, tmp_path: Path) -> None:
    for _ in render_shots(tmp_path, Order(family, PATTERNS["TS-135"], 1, 11)):
        continue
    bounds = dict(BOUNDS.get(family, PLAIN))
    # Where a zone ends on a slope, its width depends on where along the outline the two programs put their points;
    # the stated uncertainty has that in it.
    del bounds["width_mm"]
    score = score_family(tmp_path)
    check(score, bounds)
    assert score.within_two_u("width_mm") > 0.9


@pytest.mark.skipif(not OUTSIDE.exists(), reason="the trays rendered outside the project are absent")
@pytest.mark.parametrize("family", ["plain", "noisy", "lens", "height", "deep16", "crowd", "punched", "entities"])
def test_trays_rendered_outside_the_project(family: str) -> None:
    check(score_family(OUTSIDE / family), BOUNDS.get(family, PLAIN))
