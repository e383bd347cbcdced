"""From measures and limits to a verdict with reasons, and the same again from a stored result."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from tests.store.made import PART
from vision.decide.limits_fit import check_limits
from vision.decide.verdicts import judge, rejudge, undecidable
from vision.errors import Unusable
from vision.formats.result import read_result, write_result
from vision.records.inputs import CountRule, Limit, Limits, Station
from vision.records.judged import TrayResult
from vision.records.measured import MeasuredPiece, Pit, Scratch

ORDER = ("pass", "review", "reject")
U = 0.01


def limits(*rows: Limit, coverage: float = 0.95, count: CountRule | None = None) -> Limits:
    return Limits("TS-135", 1, "released", coverage, rows, count or CountRule())


def piece(out_mm: float | None = 0.0, fault: Any = None, **more: Any) -> MeasuredPiece:
    measures = {"outline_out_mm": {"bowl": out_mm, "handle": 0.0}, "length_mm": 135.0, **more}
    uncertainties = {"outline_out_mm": {"bowl": None if out_mm is None else U, "handle": U}, "length_mm": U}
    return MeasuredPiece(1, fault, None, measures, {**uncertainties, **dict.fromkeys(more, U)})


@pytest.mark.parametrize(
    ("out_mm", "verdict"),
    [(0.133, "pass"), (0.134, "review"), (0.15, "review"), (0.166, "review"), (0.167, "reject")],
)
def test_three_zones_of_one_limit(out_mm: float, verdict: str) -> None:
    """ISO 14253-1: conformity, uncertainty and nonconformity, 1.645 u to either side of the limit 0.15."""
    judged = judge(piece(out_mm), limits(Limit("outline_out_mm", "major", max=0.15)))
    assert judged.verdict == verdict
    assert [(one.measure, one.zone) for one in judged.reasons] == (
        [] if verdict == "pass" else [("outline_out_mm", "bowl")]
    )


def test_worst_reason_decides_and_stands_first() -> None:
    rows = (
        Limit("length_mm", "critical", max=135.0),  # review: on the limit
        Limit("outline_out_mm", "minor", max=0.15),  # reject
        Limit("bend_deg", "major", max=0.1),  # reject
    )
    judged = judge(piece(0.3, bend_deg=0.5), limits(*rows))
    assert judged.verdict == "reject"
    assert [(one.measure, one.outcome) for one in judged.reasons] == [
        ("bend_deg", "reject"),
        ("outline_out_mm", "reject"),
        ("length_mm", "review"),
    ]


@pytest.mark.parametrize("measure", ["bend_deg", "scratch_count", "hole_offset_mm"])
def test_a_limit_on_a_missing_measure_asks_for_review(measure: str) -> None:
    judged = judge(piece(), limits(Limit(measure, "minor", max=9.0)))
    assert judged.verdict == "review"
    assert judged.reasons[0].value is None


def test_one_zone_not_seen_asks_for_review_only_where_it_is_limited() -> None:
    unseen = piece(None)
    assert judge(unseen, limits(Limit("outline_out_mm", "minor", zone="bowl", max=0.1))).verdict == "review"
    assert judge(unseen, limits(Limit("outline_out_mm", "minor", max=0.1))).verdict == "review"
    assert judge(unseen, limits(Limit("outline_out_mm", "minor", zone="handle", max=0.1))).verdict == "pass"


def test_a_fault_is_at_best_reviewed_also_when_judged_again() -> None:
    judged = judge(piece(fault="touching"), limits())
    assert judged.verdict == "review"
    assert rejudge(judged, limits()).verdict == "review"
    assert judge(piece(0.5, "touching"), limits(Limit("outline_out_mm", "major", max=0.1))).verdict == "reject"


def test_a_piece_not_measured_is_listed_with_missing_measures() -> None:
    judged = judge(MeasuredPiece(3, "cut_off", None, {}, {}), limits(Limit("length_mm", "major", min=1.0)))
    assert (judged.piece, judged.verdict, judged.fault) == (3, "review", "cut_off")
    assert set(judged.measures.values()) == {None}


def test_counting_rules_can_be_changed_from_the_result_alone() -> None:
    faint = Scratch(((0.0, 0.0), (1.0, 0.0)), ((0.0, 0.0), (1.0, 0.0)), 2.0, 0.1, 12.0)
    measured = MeasuredPiece(1, None, None, {"scored_area_cm2": 8.0}, {"scored_area_cm2": 0.1}, (faint,))
    row = Limit("scratch_count", "major", max=0.0)
    first = judge(measured, limits(row))
    assert (first.verdict, first.counted) == ("reject", (True,))
    again = rejudge(first, limits(row, count=CountRule(scratch_min_snr=20.0)))
    assert (again.verdict, again.counted, again.measures["scratch_count"]) == ("pass", (False,), 0)


def test_limits_too_close_for_a_piece_are_told_from_its_reason() -> None:
    judged = judge(piece(), limits(Limit("length_mm", "minor", min=134.99, max=135.01)))
    assert judged.verdict == "review"
    assert undecidable(judged.reasons[0], 0.95)
    wide = judge(piece(length_mm=134.9), limits(Limit("length_mm", "minor", min=134.9, max=135.1)))
    assert not undecidable(wide.reasons[0], 0.95)


def test_limits_too_close_for_a_station_are_refused() -> None:
    station = Station("ST-1", np.diag([0.05, -0.05, 1.0]), None, None, U, 0.0)
    judging = (PART, station, Path("limits.toml"))
    check_limits(limits(Limit("outline_out_mm", "minor", min=0.0, max=0.04)), *judging)
    with pytest.raises(Unusable, match=r"^limits\.toml: limit\[1\] outline_out_mm\.bowl: an .*found none"):
        check_limits(limits(Limit("outline_out_mm", "minor", min=0.0, max=0.03)), *judging)


values = st.none() | st.floats(-2.0, 2.0)
spreads = st.floats(0.0, 1.0)
scratches = st.builds(
    lambda size, snr: Scratch(((0.0, 0.0), (1.0, 1.0)), ((0.0, 0.0), (1.0, 1.0)), size, 0.1, snr),
    st.floats(0.1, 5.0),
    st.floats(3.0, 30.0),
)
pits = st.builds(lambda size, snr: Pit((0.0, 0.0), (0.0, 0.0), size, snr), st.floats(0.1, 1.0), st.floats(3.0, 30.0))


@st.composite
def pieces(draw: st.DrawFn) -> MeasuredPiece:
    """A measured piece with any values, some missing."""
    bowl, handle, length = draw(values), draw(values), draw(values)
    measures = {"outline_out_mm": {"bowl": bowl, "handle": handle}, "length_mm": length}
    uncertainties = {
        "outline_out_mm": {"bowl": draw(spreads), "handle": draw(spreads)},
        "length_mm": None if length is None else draw(spreads),
    }
    area = draw(st.none() | st.floats(1.0, 9.0))
    found = tuple(draw(st.lists(scratches | pits, max_size=4)))
    fault = draw(st.none() | st.sampled_from(["touching", "unlike"]))
    area_u = None if area is None else 0.1
    return MeasuredPiece(
        1, fault, None, {**measures, "scored_area_cm2": area}, {**uncertainties, "scored_area_cm2": area_u}, found
    )


rows = st.builds(
    lambda measure, low, width: Limit(measure, "major", None, low, low + width),
    st.sampled_from(["outline_out_mm", "length_mm", "scratch_count", "pit_largest_mm"]),
    st.floats(-2.0, 1.0),
    st.floats(0.0, 3.0),
)
any_limits = st.builds(
    lambda several, coverage, snr: limits(*several, coverage=coverage, count=CountRule(scratch_min_snr=snr)),
    st.lists(rows, max_size=4),
    st.floats(0.5, 0.999),
    st.floats(0.0, 20.0),
)


@settings(deadline=None)
@given(pieces(), any_limits)
def test_judging_again_by_the_same_limits_changes_nothing(measured: MeasuredPiece, given_limits: Limits) -> None:
    judged = judge(measured, given_limits)
    assert rejudge(judged, given_limits) == judged


@settings(deadline=None)
@given(pieces(), any_limits, any_limits)
def test_what_was_judged_before_does_not_matter(measured: MeasuredPiece, first: Limits, second: Limits) -> None:
    assert rejudge(judge(measured, first), second) == judge(measured, second)


@settings(deadline=None)
@given(pieces(), any_limits)
def test_verdict_is_its_worst_reason(measured: MeasuredPiece, given_limits: Limits) -> None:
    judged = judge(measured, given_limits)
    told = [one.outcome for one in judged.reasons] + (["review"] if judged.fault else [])
    assert judged.verdict == max(told, key=ORDER.index, default="pass")


@settings(deadline=None)
@given(pieces(), any_limits, rows)
def test_one_more_limit_never_helps(measured: MeasuredPiece, given_limits: Limits, extra: Limit) -> None:
    more = limits(*given_limits.limits, extra, coverage=given_limits.coverage, count=given_limits.count)
    assert ORDER.index(judge(measured, more).verdict) >= ORDER.index(judge(measured, given_limits).verdict)


@settings(deadline=None)
@given(pieces(), any_limits, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_wider_limits_never_hurt(measured: MeasuredPiece, given_limits: Limits, lower: float, higher: float) -> None:
    wider = tuple(
        replace(
            row, min=None if row.min is None else row.min - lower, max=None if row.max is None else row.max + higher
        )
        for row in given_limits.limits
    )
    before, after = judge(measured, given_limits), judge(measured, replace(given_limits, limits=wider))
    assert ORDER.index(after.verdict) <= ORDER.index(before.verdict)


@settings(deadline=None)
@given(measured=pieces(), given_limits=any_limits)
def test_a_result_read_back_is_judged_the_same(
    measured: MeasuredPiece, given_limits: Limits, tmp_path_factory: pytest.TempPathFactory
) -> None:
    judged = judge(measured, given_limits)
    path = tmp_path_factory.getbasetemp() / "result.json"
    result = TrayResult("brightbowl", "T-1", None, "TS-135", "ST-1", None, 1, (judged,), ())
    write_result(result, path)
    assert read_result(path) == result
    assert rejudge(read_result(path).pieces[0], given_limits) == judged
