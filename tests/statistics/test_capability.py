"""Capability indices: the handbook's example, and intervals by simulation."""

import numpy as np
import pytest

from app.statistics.capability import capability


def test_the_handbooks_process() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6 (from memory): limits 8 and 20, mean 16, deviation 2: Cp 1.0, Cpk 0.6667."""
    values = np.tile([14.0, 18.0], 500) * 1.0
    found = capability(values, np.arange(1000) // 2, 8.0, 20.0)
    assert found is not None
    assert found.pp.value == pytest.approx(1.0, rel=1e-3)
    assert found.ppk.value == pytest.approx(0.6667, rel=1e-3)


def test_intervals_hold() -> None:
    """300 processes of 100 pieces, Cp 1.33, Cpk 1.0, and one limit: 95 % +- 1.3 %; fewer than 91 % is 1 in 1000."""
    rng = np.random.default_rng(9)
    held = {"cp": 0, "cpk": 0, "pp": 0, "ppk": 0, "one": 0}
    group = np.arange(100) // 4
    for _ in range(300):
        values = rng.normal(1.0, 1.0, 100)
        both, one = capability(values, group, -4.0, 4.0), capability(values, group, None, 4.0)
        assert both is not None
        assert one is not None
        for name, truth, found in (
            ("cp", 4 / 3, both.cp),
            ("cpk", 1.0, both.cpk),
            ("pp", 4 / 3, both.pp),
            ("ppk", 1.0, both.ppk),
            ("one", 1.0, one.ppk),
        ):
            assert found.ci is not None
            held[name] += found.ci[0] <= truth <= found.ci[1]
        assert one.pp.value is None
    assert min(held.values()) >= 273, held


def test_trays_that_wander_are_told() -> None:
    rng = np.random.default_rng(10)
    group = np.arange(160) // 4
    wander = np.cumsum(rng.normal(0.0, 0.5, 40))[group]
    found = capability(wander + rng.normal(0.0, 0.3, 160), group, -6.0, 6.0)
    assert found is not None
    assert not found.steady
    assert found.likeness is not None
    assert found.likeness > 0.5
    assert found.cp.value is not None
    assert found.pp.value is not None
    assert found.cp.value > found.pp.value
    assert capability(np.ones(8), np.arange(8) // 2, 0.0, 2.0) is None
