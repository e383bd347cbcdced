"""Drift of people's verdicts: none is told where there is none, and one that is there is."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy import stats

from app.studies.agreement_study import agree
from app.studies.fitness_words import Thresholds
from app.studies.lot import Lot
from app.studies.over_time import drifts, trend_p
from app.studies.samples import Sample
from tests.studies.lots import sample
from vision.formats.verdicts import PersonsVerdict


@dataclass(frozen=True)
class Said:
    inspector: str
    verdict: str
    given_at: str


def sitting(rng: np.random.Generator, rates: np.ndarray, inspector: str = "Ada") -> list[Said]:
    """Verdicts a minute apart from seven o'clock on, each rejecting at its own rate."""
    begin = datetime(2026, 11, 2, 7, 0, tzinfo=UTC)
    return [
        Said(inspector, "reject" if rng.random() < rate else "accept", (begin + timedelta(minutes=k)).isoformat())
        for k, rate in enumerate(rates.tolist())
    ]


def test_trend_of_one_stratum_is_the_correlations() -> None:
    """Mantel's statistic of one stratum is (n - 1) r^2, with one degree of freedom."""
    rng = np.random.default_rng(3)
    x, y = rng.random(60), rng.random(60) < 0.4
    r = float(np.corrcoef(x, y)[0, 1])
    expected = float(stats.chi2.sf(59 * r * r, 1))
    assert trend_p([x.tolist()], [y.tolist()]) == pytest.approx(expected, rel=1e-9)


def test_no_drift_is_told_of_steady_people() -> None:
    """200 sittings of two people who differ, but do not drift; any axis below 5 % in at most 18.

    The mean is 10 at most; chance of failing 1 % (binomial).
    """
    rng = np.random.default_rng(7)
    told = 0
    for _ in range(200):
        said = sitting(rng, np.full(80, 0.3)) + sitting(rng, np.full(120, 0.6), "Ben")
        told += any(one.p < 0.05 for one in drifts(said))
    assert told <= 18


def test_a_drift_within_the_sitting_is_told() -> None:
    """From 40 down to 10 % rejected over 300 verdicts: p below 0.01 in nearly all sittings (power above 0.99)."""
    said = sitting(np.random.default_rng(11), np.linspace(0.4, 0.1, 300))
    found = {one.axis: one for one in drifts(said)}
    assert found["place in the sitting"].p < 0.01
    assert found["place in the sitting"].shares[0] > found["place in the sitting"].shares[-1]
    assert "day" not in found


def test_verdicts_without_a_time_tell_nothing() -> None:
    assert drifts([Said("Ada", "reject", ""), Said("Ada", "accept", "")]) == ()


def test_one_persons_drift_is_told_to_no_other() -> None:
    """A study tells drift of two people or more together, and none of verdicts in sight of the camera's."""
    lot = sample(np.random.default_rng(4), 30)
    given = tuple(
        PersonsVerdict(tray.tray, piece.piece, who, 1, "accept", (), "", f"2026-11-02T0{hour}:{k:02}:00+00:00", k)
        for who, hour in (("Ada", 7), ("Ben", 8))
        for k, tray in enumerate(lot.trays)
        for piece in tray.pieces[:1]
    )
    for how, said, told in (("table", given, True), ("table", given[:30], False), ("in sight", given, False)):
        study = agree(Lot(lot.trays), [Sample("", how, said)], Thresholds())  # type: ignore[arg-type]
        assert bool(study.drifts) == told, how
