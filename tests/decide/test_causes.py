"""What a reason rests on, and which reason is worse; the cases are worked out by hand beside them."""

from dataclasses import replace

import pytest

from tests.store.made import LIMITS, made_piece
from vision.decide.badness import badness
from vision.decide.verdicts import rejudge
from vision.records.inputs import CountRule, Limit, Limits
from vision.records.judged import JudgedPiece, Reason
from vision.records.measured import EdgeFinding, Opening, Pit, Scratch, SeenMap

EVERYTHING = CountRule()
BLIND = SeenMap(1.0, (0.0, 10.0), (0.0,), (("99", "19"),), ("99", "19"), ("99", "09"))


def limits(*some: Limit, count: CountRule = EVERYTHING) -> Limits:
    return Limits("TS-135", 1, "released", 0.95, some, count)


def scratch(length_mm: float, snr: float = 30.0) -> Scratch:
    ends = ((10.0, 1.0), (10.0 + length_mm, 1.0))
    return Scratch(ends, ends, length_mm, 0.1, snr)


def burr(x_mm: float, deviation_mm: float, zone: str = "bowl", extent_mm: float = 1.0) -> EdgeFinding:
    return EdgeFinding("burr", zone, (0.0, 0.0), (x_mm, 15.0), abs(deviation_mm), deviation_mm, extent_mm)


def judged(piece: JudgedPiece, *some: Limit, count: CountRule = EVERYTHING) -> dict[str, Reason]:
    return {one.measure: one for one in rejudge(piece, limits(*some, count=count)).reasons}


def test_a_largest_deviation_names_what_alone_does_not_keep_the_limit_the_farthest_first() -> None:
    findings = (burr(10.0, 0.20), burr(20.0, 0.31), burr(30.0, 0.05), burr(90.0, 0.25, "handle"))
    piece = replace(made_piece(1), findings=findings, counted=(False,) * 4)
    found = judged(piece, Limit("outline_out_mm", "major", "bowl", max=0.15))
    assert found["outline_out_mm"].findings == (1, 0)  # 0.05 keeps 0.15; the handle's is of another zone


def test_an_outline_reason_has_the_place_where_its_value_was_taken() -> None:
    piece = replace(made_piece(1), places={"outline_out_mm": {"bowl": ((12.0, 14.9),)}})
    assert judged(piece, Limit("outline_out_mm", "major", max=0.15))["outline_out_mm"].place_mm == ((12.0, 14.9),)


def test_a_burr_over_a_zones_bound_is_found_by_its_place() -> None:
    across = burr(46.2, 0.31, "handle", extent_mm=2.0)
    places = {"outline_out_mm": {"bowl": ((45.8, 15.0),)}}
    piece = replace(made_piece(1), findings=(across,), counted=(False,), places=places)
    assert judged(piece, Limit("outline_out_mm", "major", "bowl", max=0.15))["outline_out_mm"].findings == (0,)


def test_a_length_names_what_stands_at_its_ends() -> None:
    findings = (burr(134.8, 0.3, "handle"), burr(20.0, 0.3))
    places = {"length_mm": {"": ((135.3, 15.0), (0.0, 0.0))}}
    piece = replace(made_piece(1), findings=findings, counted=(False, False), places=places)
    found = judged(piece, Limit("length_mm", "major", max=134.0))["length_mm"]
    assert found.findings == (0,)
    assert found.place_mm == places["length_mm"][""]


def test_a_count_names_what_adds_to_it_and_a_longest_what_may_exceed_it() -> None:
    marks = (scratch(0.8), Pit((0.0, 0.0), (5.0, 5.0), 0.4, 30.0), scratch(4.0), scratch(1.0))
    piece = replace(made_piece(1), findings=marks, counted=(True,) * 4)
    found = judged(piece, Limit("scratch_count", "minor", max=0.0), Limit("scratch_longest_mm", "minor", max=2.0))
    assert set(found["scratch_count"].findings) == {0, 2, 3}
    assert found["scratch_longest_mm"].findings == (2,)  # 1.0 and 0.8 mm are many uncertainties below 2


def test_marks_that_the_rules_leave_out_are_nobodys_cause() -> None:
    piece = replace(made_piece(1), findings=(scratch(0.2), scratch(3.0)), counted=(False, True))
    found = judged(piece, Limit("scratch_count", "minor", max=0.0), count=CountRule(scratch_min_length_mm=1.0))
    assert found["scratch_count"].findings == (1,)


def test_an_area_names_all_that_make_it_the_largest_first() -> None:
    openings = tuple(Opening((0.0, 0.0), (x, 0.0), area, 0.1, 1.0) for x, area in ((1.0, 0.03), (2.0, 0.2)))
    base = made_piece(1)
    piece = replace(
        base,
        findings=openings,
        counted=(False, False),
        measures={**base.measures, "opening_area_mm2": 0.23},
        uncertainties={**base.uncertainties, "opening_area_mm2": 0.01},
    )
    assert judged(piece)["opening_area_mm2"].findings == (1, 0)


def test_what_was_not_seen_has_its_place() -> None:
    base = made_piece(1)
    piece = replace(
        base,
        seen=BLIND,
        measures={**base.measures, "face_seen": 0.5},
        uncertainties={**base.uncertainties, "face_seen": 0.01},
    )
    found = judged(piece, Limit("scratch_count", "minor", max=9.0))["face_seen"]
    assert found.place_mm == ((0.0, 9.0), (1.0, 8.0))  # the cell of the second row, first column


def test_a_missing_value_is_looked_for_where_its_zone_was_not_seen() -> None:
    base = made_piece(1)
    stretch = ((1.0, 1.0), (2.0, 1.0), (3.0, 1.0))
    piece = replace(
        base,
        measures={**base.measures, "outline_out_mm": {"bowl": None, "handle": 0.02}},
        places={"outline_unseen_mm": {"bowl": stretch}},
    )
    assert judged(piece, *LIMITS.limits)["outline_out_mm"].place_mm == stretch


def reason(value: float, u: float = 0.01, **bounds: float) -> Reason:
    name = str(bounds.pop("measure", "outline_out_mm"))
    return Reason(name, None, value, u, bounds.get("min"), bounds.get("max"), "major", "reject")


@pytest.mark.parametrize(
    ("better", "worse"),
    [
        (Reason("scratch_count", None, 1, 0.1, None, 0.0, "major", "reject"),
         Reason("scratch_count", None, 30, 0.1, None, 0.0, "major", "reject")),
        # 0.16 beyond 0.15 is more of its tolerance than 0.4 beyond 0.8
        (reason(1.2, max=0.8), reason(0.31, max=0.15)),
        # 0.5 mm beyond a tolerance of 0.2 mm is worse than 0.04 beyond 0.15, though little of 135 mm
        (reason(0.19, max=0.15), Reason("length_mm", None, 135.7, 0.01, 134.8, 135.2, "major", "reject")),
        (Reason("length_mm", None, 135.2, 0.01, 134.8, 135.2, "major", "review", 0.5),
         Reason("length_mm", None, None, None, 134.8, 135.2, "major", "review")),
    ],
)  # fmt: skip
def test_worse_is_farther_beyond_in_tolerances(better: Reason, worse: Reason) -> None:
    assert 0.0 <= badness(better) < badness(worse) <= 1.0


def test_reasons_stand_worst_first() -> None:
    base = made_piece(1)
    piece = replace(base, measures={**base.measures, "outline_out_mm": {"bowl": 0.2, "handle": 0.4}})
    zones = [one.zone for one in rejudge(piece, limits(Limit("outline_out_mm", "major", max=0.15))).reasons]
    assert zones[:2] == ["handle", "bowl"]
