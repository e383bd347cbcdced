"""Measures, limits and findings in words."""

from typing import get_args

import pytest

from app.report.finding_words import finding_tag, finding_words, with_because
from app.report.words import (
    FAULTS,
    measure_words,
    number_words,
    per_zone,
    reason_words,
    unseen_words,
)
from vision.decide.measures import MEASURES
from vision.records.judged import Reason
from vision.records.measured import (
    BendFinding,
    EdgeFinding,
    Fault,
    Finding,
    Mark,
    Opening,
    Pit,
    Scratch,
    Speck,
    Stain,
    Stray,
)


def test_every_measure_and_every_fault_has_words() -> None:
    assert all(measure_words(name).title == one.title for name, one in MEASURES.items())
    assert set(FAULTS) == set(get_args(Fault))


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("length_mm", 134.99996, "135.000 mm"),
        ("bend_deg", -0.4812, "−0.481°"),
        ("bend_deg", -0.00001, "0.000°"),  # no minus before nothing
        ("scratch_count", 2.0, "2"),
        ("pit_largest_mm", None, "not measured"),
        ("new_measure_mm", 0.5, "0.500"),
    ],
)
def test_numbers(name: str, value: float | None, words: str) -> None:
    assert number_words(name, value) == words


def test_a_reason_says_value_limit_and_how_sure() -> None:
    reason = Reason("outline_out_mm", "bowl", 0.31, 0.011, None, 0.15, "major", "reject")
    expected = "outward deviation, bowl: 0.310 mm; limit at most 0.150 mm; major: sure to 0.018 mm"
    assert reason_words(reason, 0.018) == expected


@pytest.mark.parametrize(
    ("guard", "sure"),
    [
        (0.651, "give or take 0.7 for faint and borderline marks"),
        (0.04, "give or take less than 0.1 for faint and borderline marks"),
        (0.0, "sure"),
    ],
)
def test_a_reason_says_of_a_count_what_makes_it_unsure(guard: float, sure: str) -> None:
    reason = Reason("pit_count", None, 1, 0.4, None, 0.0, "minor", "reject")
    assert reason_words(reason, guard) == f"pits: 1; limit at most 0; minor: {sure}"


def test_a_reason_says_that_a_limit_is_the_default() -> None:
    reason = Reason("outline_unseen_mm", "bowl", 0.9, 0.05, None, 0.5, "major", "review")
    expected = "longest stretch not seen, bowl: 0.90 mm; default limit at most 0.50 mm; major: sure to 0.08 mm"
    assert reason_words(reason, 0.08) == expected


@pytest.mark.parametrize(("chance", "words"), [(0.4, "0.40"), (0.003, "less than 0.01"), (0.0, "0.00")])
def test_a_reason_says_of_a_count_with_which_chance_it_keeps_the_limit(chance: float, words: str) -> None:
    reason = Reason("pit_count", None, 1, 0.4, None, 0.0, "minor", "reject", chance)
    assert reason_words(reason, 0.7) == f"pits: 1; limit at most 0; minor: chance that it is kept {words}"


def test_a_largest_deviation_says_what_it_did_not_see() -> None:
    reason = Reason("outline_out_mm", "bowl", 0.31, 0.011, None, 0.15, "major", "reject")
    assert unseen_words(reason, {"outline_unseen_mm": {"bowl": 0.7}}) == "; up to 0.70 mm in one stretch not seen"
    assert unseen_words(reason, {"outline_unseen_mm": {"bowl": 0.0}}) == unseen_words(reason, {}) == ""
    assert "0.044 mm further out, as nobody knows how wide" in unseen_words(reason, {"rim_unknown_mm": 0.044})
    assert unseen_words(reason, {"rim_unknown_mm": 0.0}) == ""


def test_a_reason_names_both_limits_and_a_missing_value() -> None:
    reason = Reason("bend_deg", None, None, None, -0.4, 0.4, "critical", "review")
    expected = "bend: not measured; limit at least −0.400° and at most 0.400°; critical"
    assert reason_words(reason, None) == expected


@pytest.mark.parametrize(
    ("finding", "words", "tag"),
    [
        (
            EdgeFinding("nick", "bowl", (0, 0), (0, 0), -0.31, -0.305, 1.94),
            "nick, bowl: 0.310 mm inward of the edge around it, −0.305 mm from the drawing, 1.9 mm long",
            "nick −0.31 mm",
        ),
        (BendFinding("handle", 0.512), "bend, handle: +0.512°", "bend +0.51°"),
        (
            Scratch(((0, 0), (1, 1)), ((0, 0), (1, 1)), 2.4, 0.11, 9.3),
            "scratch, 2.40 mm long, 0.11 mm wide, 9.3 times stronger than the finish around it",
            "scratch 2.4 mm",
        ),
        (
            Pit((0, 0), (0, 0), 0.32, 12.0),
            "pit, 0.32 mm across, 12.0 times stronger than the finish around it",
            "pit 0.32 mm",
        ),
        (
            Speck((0, 0), (0, 0), 0.1, 8.0),
            "speck, 0.10 mm across, 8.0 times stronger than the finish around it",
            "speck 0.10 mm",
        ),
        (
            Opening((0, 0), (0, 0), 0.3, 0.1, 3.0),
            "light through the metal, 3.00 mm long, 0.100 mm wide, 0.300 mm²",
            "opening 0.300 mm²",
        ),
        (
            Stray("bowl", (0, 0), (0, 0), 1.5, 0.2, 0.24, True),
            "something stands on the rim like a burr, bowl: reaches 1.50 mm out, hides 0.20 mm of the outline",
            "stray 1.50 mm",
        ),
        (Mark((0, 0), (0, 0), 4.0, (), ()), "mark, 4.00 mm²", "mark 4.0 mm²"),
        (Stain((0, 0), (0, 0), 4.0, (), ()), "stain, 4.00 mm²", "stain 4.0 mm²"),
    ],
)
def test_findings(finding: Finding, words: str, tag: str) -> None:
    assert finding_words(finding) == words
    assert finding_tag(finding) == tag


def test_values_by_zone() -> None:
    assert per_zone({"bowl": 0.1, "neck": None}) == {"bowl": 0.1, "neck": None}
    assert per_zone(135.0) == {None: 135.0}
    assert per_zone(None) == {None: None}


def test_a_finding_says_how_likely_it_is_and_why() -> None:
    pit = Pit((0, 0), (0, 0), 0.3, 12.0, 0.97, ("for: how far it stands out", "against: its diameter"))
    assert finding_words(pit).endswith("around it, 97 % sure to be a pit")
    assert with_because(pit).endswith("97 % sure to be a pit (for: how far it stands out; against: its diameter)")
    dust = Speck((0, 0), (0, 0), 0.08, 12.0, 0.01)
    assert finding_words(dust).endswith("1 % sure to be a pit")
