"""Colours that can be read, and signs that need no colour."""

from itertools import combinations
from typing import get_args

import pytest

from app.report.style import ACCENT, INK, MUTED, PAPER, SIGNS, WASH, bgr
from vision.records.judged import Verdict


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in bgr(colour))]
    return 0.0722 * linear[0] + 0.7152 * linear[1] + 0.2126 * linear[2]


@pytest.mark.parametrize("ground", [PAPER, WASH])
@pytest.mark.parametrize("colour", [INK, MUTED, ACCENT])
def test_text_contrast_is_at_least_4_5_to_1(colour: str, ground: str) -> None:
    """WCAG 2.2, success criterion 1.4.3."""
    assert (luminance(ground) + 0.05) / (luminance(colour) + 0.05) >= 4.5


def test_every_verdict_has_a_sign_that_differs_in_frame_and_strokes() -> None:
    assert set(SIGNS) == set(get_args(Verdict))
    for one, other in combinations(SIGNS.values(), 2):
        assert len(one.frame) != len(other.frame)
        assert one.strokes != other.strokes
        assert one.word != other.word


def test_signs_stay_in_their_box() -> None:
    for sign in SIGNS.values():
        for x, y in (*sign.frame, *(point for stroke in sign.strokes for point in stroke)):
            assert max(abs(x), abs(y)) <= 1.0 + 1e-12
