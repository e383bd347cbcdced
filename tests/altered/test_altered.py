"""A share of the bench of altered trays: some alterations, at their last strength, on one good piece.

The rest is run by hand: `.venv/bin/python -m tests.altered.table`; its table stands in docs/benchmarks/altered.md.
"""

import pytest

from tests.altered.backlit import BACKLIT
from tests.altered.bench import Alteration, own_face_tray, own_tray, tried
from tests.altered.faces import FACES

# Slow ones, and those that a symmetric part's outline can't show, are left to the table.
_BY_HAND = {"all turned over", "frame torn", "lines lost", "lines repeated", "stripe of the lamp dark"}
QUICK = [one for one in BACKLIT if one.name not in _BY_HAND][::4]
_ON_FACES = ("dark disc", "low lamps dead", "one low frame twice", "lamps passed on round the tray")
QUICK_FACES = [one for one in FACES if one.name in _ON_FACES]


def test_a_good_tray_passes() -> None:
    assert [one.verdict for one in own_tray(0).judged] == ["pass"]
    assert [one.findings for one in own_tray(0).judged] == [()]


@pytest.mark.parametrize("alteration", QUICK, ids=lambda one: one.name)
def test_no_piece_that_is_bad_or_was_not_seen_passes(alteration: Alteration) -> None:
    found = tried(alteration, own_tray(0), alteration.strengths[-1], seed=5)
    assert found is not None
    assert found.passed == 0


def test_a_good_face_passes() -> None:
    assert [one.verdict for one in own_face_tray(0, marked=False).judged] == ["pass"]


@pytest.mark.parametrize("alteration", QUICK_FACES, ids=lambda one: one.name)
def test_no_face_that_is_bad_or_was_not_seen_passes(alteration: Alteration) -> None:
    found = tried(alteration, own_face_tray(0, marked=False), alteration.strengths[-1], seed=5)
    assert found is not None
    assert found.passed == 0
