"""A share of the bench of altered trays: every third alteration, at its last strength, on one good piece.

The rest is run by hand: `.venv/bin/python -m tests.altered.table`; its table stands in docs/benchmarks/altered.md.
"""

import pytest

from tests.altered.backlit import BACKLIT
from tests.altered.bench import Alteration, own_tray, tried

# Slow ones, and those that a symmetric part's outline can't show, are left to the table.
_BY_HAND = {"all turned over", "frame torn", "lines lost", "lines repeated", "stripe of the lamp dark"}
QUICK = [one for one in BACKLIT if one.name not in _BY_HAND][::3]


def test_a_good_tray_passes() -> None:
    assert [one.verdict for one in own_tray(0).judged] == ["pass"]
    assert [one.findings for one in own_tray(0).judged] == [()]


@pytest.mark.parametrize("alteration", QUICK, ids=lambda one: one.name)
def test_no_piece_that_is_bad_or_was_not_seen_passes(alteration: Alteration) -> None:
    found = tried(alteration, own_tray(0), alteration.strengths[-1], seed=5)
    assert found is not None
    assert found.passed == 0
