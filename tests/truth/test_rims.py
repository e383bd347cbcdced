"""The outline on round, mirror-bright rims: our own renderer's trays and those rendered outside the project.

Bounds are those the project holds itself to (docs, page on benchmarks), for small samples: a mean error under 2 um up
to a half angle of 10 degrees, under 5 up to 30, under 10 beyond; `rim_score.py` prints the table of larger ones.
"""

from pathlib import Path

import pytest

from tests.truth.rim_score import DEVIATIONS, EXTENTS, RimTray, score_rims, score_shared, worst_bias_um

OUTSIDE = Path(__file__).parents[2] / ".." / "shared" / "trays" / "outline-rims"


@pytest.mark.parametrize(
    ("tray", "bound_um"),
    [
        (RimTray(half_angle_deg=20.0), 5.0),
        (RimTray(half_angle_deg=60.0, perspective=True), 10.0),
        (RimTray(half_angle_deg=10.0, flare=0.05, coma_px=0.3), 2.0),
    ],
)
def test_own_trays(tray: RimTray, bound_um: float) -> None:
    score = score_rims(tray, seeds=(7,), pieces=1)
    assert score.found == 1
    assert worst_bias_um(score) < bound_um
    assert score.within_two_u(*DEVIATIONS, *EXTENTS) >= 0.85


@pytest.mark.skipif(not OUTSIDE.exists(), reason="the trays rendered outside the project are absent")
@pytest.mark.parametrize(("folder", "half_angle_deg", "bound_um"), [("rim10", 10.0, 2.0), ("rim40", 40.0, 10.0)])
def test_trays_rendered_outside_the_project(folder: str, half_angle_deg: float, bound_um: float) -> None:
    score = score_shared(OUTSIDE / folder, half_angle_deg)
    assert score.missed == []
    assert score.extra == []
    assert worst_bias_um(score) < bound_um
    assert score.loose == 0
    assert score.within_two_u(*DEVIATIONS, *EXTENTS) >= 0.85
    assert all(told == truth for truth, told in score.told)
