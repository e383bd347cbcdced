"""Rates corrected for people's own misses: the truth of drawn lots, and what does not follow from the verdicts."""

import numpy as np
import pytest

from app.statistics.latent_class import latent_classes
from app.studies.camera_and_people import Answers, PieceKey
from app.studies.corrected import corrected

MISSES, ALARMS = np.array([0.2, 0.1, 0.12]), np.array([0.02, 0.02, 0.01])
"""Of the camera and two people."""


def drawn(rng: np.random.Generator, pieces: int, judges: int = 3) -> Answers:
    """A random sample, a tenth of it bad, judged by the camera and people whose errors are independent."""
    bad = rng.random(pieces) < 0.1
    rejects = rng.random((pieces, judges)) < np.where(bad[:, None], 1 - MISSES[:judges], ALARMS[:judges])
    return Answers(
        pieces=tuple(PieceKey("T-1", k) for k in range(pieces)),
        camera=tuple("reject" if one else "pass" for one in rejects[:, 0]),
        inspectors=("Ada", "Ben")[: judges - 1],
        rounds=rejects[:, 1:, None].astype(np.int8),
        defects={},
        unknown=(),
        without_verdict=0,
    )


def test_rates_follow_from_the_true_shares_of_three_judges() -> None:
    patterns = np.array([[a, b, c] for a in (0, 1) for b in (0, 1) for c in (0, 1)], dtype=np.int8)
    of_bad = np.where(patterns == 1, 1 - MISSES, MISSES).prod(axis=1)
    of_good = np.where(patterns == 1, ALARMS, 1 - ALARMS).prod(axis=1)
    found = latent_classes(patterns, (0.1 * of_bad + 0.9 * of_good)[None])
    assert found.bad[0] == pytest.approx(0.1, abs=1e-4)
    assert found.missed[0] == pytest.approx(MISSES, abs=1e-3)
    assert found.false_alarm[0] == pytest.approx(ALARMS, abs=1e-4)


def test_the_cameras_misses_are_found_though_people_miss_a_tenth_themselves() -> None:
    """Eight lots of 3000: intervals of 95 % hold the truth in six at least (chance of failing 0.6 %, if exact)."""
    held = 0
    for seed in range(8):
        found = corrected(drawn(np.random.default_rng(seed), 3000))
        assert found is not None
        assert found.missed.ci is not None
        held += found.missed.ci[0] <= 0.2 <= found.missed.ci[1]
        assert found.people_missed.value == pytest.approx(0.11, abs=0.05)
    assert held >= 6


def test_two_judges_are_too_few() -> None:
    assert corrected(drawn(np.random.default_rng(1), 500, judges=2)) is None
