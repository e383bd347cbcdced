"""What changed between two revisions of limits."""

from dataclasses import replace

from vision.decide.revisions import Change, changes, next_draft
from vision.records.inputs import CountRule, Limit, Limits

BEFORE = Limits("TS-135", 3, "released", 0.95, (Limit("outline_out_mm", "major", "bowl", max=0.15),))


def test_a_draft_replaces_one_limit_and_keeps_the_rest() -> None:
    draft = next_draft(BEFORE, Limit("outline_out_mm", "major", "bowl", max=0.12))
    assert (draft.revision, draft.status) == (4, "draft")
    assert changes(BEFORE, draft) == (Change("outline_out_mm.bowl max", 0.15, 0.12, True),)


def test_a_new_limit_is_tighter_and_one_less_is_looser() -> None:
    draft = next_draft(BEFORE, Limit("bend_deg", "minor", min=-0.5))
    added = changes(BEFORE, draft)
    assert Change("bend_deg min", None, -0.5, True) in added
    assert Change("bend_deg min", -0.5, None, False) in changes(draft, BEFORE)


def test_counting_rules_and_guard_are_compared_too() -> None:
    draft = replace(next_draft(BEFORE, count=CountRule(pit_min_snr=8.0)), coverage=0.99)
    assert changes(BEFORE, draft) == (
        Change("guard coverage", 0.95, 0.99, True),
        Change("count pit_min_snr", 0.0, 8.0, False),
    )


def test_equal_revisions_differ_in_nothing() -> None:
    assert changes(BEFORE, replace(BEFORE, revision=4)) == ()
