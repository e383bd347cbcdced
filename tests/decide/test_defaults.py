"""Limits that hold where a works sets none."""

from pathlib import Path

import pytest

from vision.decide.defaults import not_measured_then
from vision.decide.verdicts import judge, rejudge
from vision.formats.result import read_result, write_result
from vision.records.inputs import Limit, Limits
from vision.records.judged import JudgedPiece, TrayResult
from vision.records.measured import MeasuredPiece, Pose, Value

U = 0.01
POSE = Pose((0.0, 0.0), 0.0, 0.01)


def limits(*rows: Limit) -> Limits:
    return Limits("TS-135", 1, "released", 0.95, rows)


def piece(**measures: Value) -> MeasuredPiece:
    uncertainty_components: dict[str, Value] = {
        name: dict.fromkeys(value, U) if isinstance(value, dict) else U for name, value in measures.items()
    }
    return MeasuredPiece(1, None, POSE, measures, uncertainty_components)


def said(judged: JudgedPiece) -> list[tuple[str, str | None, str]]:
    return [(one.measure, one.zone, one.outcome) for one in judged.reasons]


@pytest.mark.parametrize(("unseen", "verdict"), [(0.0, "pass"), (0.4, "pass"), (0.5, "review"), (9.0, "review")])
def test_a_stretch_that_was_not_seen_is_judged_where_the_limits_are_silent(unseen: float, verdict: str) -> None:
    judged = judge(piece(outline_unseen_mm={"bowl": unseen, "handle": 0.0}), limits())
    assert judged.verdict == verdict
    assert said(judged) == ([] if verdict == "pass" else [("outline_unseen_mm", "bowl", verdict)])


def test_a_works_own_limit_takes_the_place_of_the_default_in_its_zone_only() -> None:
    seen = piece(outline_unseen_mm={"bowl": 2.0, "handle": 2.0})
    assert said(judge(seen, limits(Limit("outline_unseen_mm", "minor", "bowl", max=3.0)))) == [
        ("outline_unseen_mm", "handle", "review")
    ]
    assert judge(seen, limits(Limit("outline_unseen_mm", "minor", max=3.0))).verdict == "pass"


def test_light_through_the_metal_rejects() -> None:
    assert judge(piece(opening_area_mm2=7.0), limits()).verdict == "reject"
    assert judge(piece(opening_area_mm2=0.0), limits()).verdict == "pass"


def test_defaults_for_the_face_hold_only_where_the_limits_name_the_face() -> None:
    seen = piece(face_seen=0.2, mark_area_mm2=30.0, stain_area_mm2=None)
    assert judge(seen, limits(Limit("length_mm", "major", max=200.0))).reasons[0].measure == "length_mm"
    asked = judge(seen, limits(Limit("buffing_line_level", "minor", max=9.0)))
    assert {one.measure for one in asked.reasons} == {
        "buffing_line_level",
        "face_seen",
        "mark_area_mm2",
        "stain_area_mm2",
    }


def test_a_result_of_before_is_not_judged_on_what_was_not_measured_then(tmp_path: Path) -> None:
    judged = judge(piece(length_mm=135.0), limits())
    for _ in range(2):  # filed and judged again, and once more
        assert judged.verdict == "pass"
        assert not_measured_then(judged, limits()) == ("outline_unseen_mm", "opening_area_mm2")
        tray = TrayResult("brightbowl", "T-1", None, "TS-135", "ST-1", None, 1, (judged,), ())
        write_result(tray, tmp_path / "result.json")
        judged = rejudge(read_result(tmp_path / "result.json").pieces[0], limits())
    own = rejudge(judged, limits(Limit("opening_area_mm2", "major", max=0.1)))
    assert said(own) == [("opening_area_mm2", None, "review")]
