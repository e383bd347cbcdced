"""Limits that can't judge are named: empty, impossible, or against the drawing, the station or each other."""

import dataclasses
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from tests.store.made import PART, STATION
from vision.decide.first_draft import first_draft, wanted_limits
from vision.decide.general_tolerances import GeneralClass, angular_tolerance, linear_tolerance
from vision.decide.limits_fit import check_limits, limit_faults
from vision.decide.measures import MEASURES
from vision.decide.possible import Possible, possible
from vision.errors import Unusable
from vision.records.inputs import Limit, Limits, Part

HOLED = dataclasses.replace(
    PART, holes=(np.array([[120.0, -2.0], [124.0, -2.0], [124.0, 2.0], [120.0, 2.0]]),), surface=None
)


def limits(*rows: Limit) -> Limits:
    return Limits("TS-135", 1, "draft", 0.95, rows)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ((), "without any every piece would pass"),
        ((Limit("outline_out_mm", "major", max=-0.15),), "its values lie from 0 to any size"),
        ((Limit("scratch_count", "major", max=-1.0),), "its values lie from 0"),
        ((Limit("length_mm", "minor", min=120.0, max=121.0),), "the drawing's own is 134.972"),
        ((Limit("width_mm", "minor", zone="bowl", max=29.0),), "the drawing's own is 2"),
        ((Limit("bend_deg", "minor", min=0.2, max=0.5),), "the drawing's own is 0"),
        ((Limit("outline_in_mm", "minor", min=0.05, max=0.15),), "the drawing's own is 0"),
        ((Limit("hole_offset_mm", "major", max=0.2),), "a punched hole"),
        ((Limit("scored_area_cm2", "minor", min=40.0),), "its values lie from 0 to 1"),
        ((Limit("outline_out_mm", "major", max=0.012),), "an acceptance zone"),
        (
            (Limit("width_mm", "minor", min=29.0), Limit("width_mm", "minor", zone="handle", max=9.0)),
            "the drawing's own is",
        ),
    ],
)
def test_what_can_not_judge_is_refused(rows: tuple[Limit, ...], said: str) -> None:
    with pytest.raises(Unusable, match=said):
        check_limits(limits(*rows), PART, STATION, Path("limits.toml"))


def test_a_limit_for_every_zone_and_another_for_one_must_agree() -> None:
    rows = (Limit("bend_deg", "minor", max=0.5), Limit("outline_out_mm", "major", max=0.1))
    assert limit_faults(limits(*rows, Limit("outline_out_mm", "major", "bowl", max=0.05)), PART) == ()
    # A least deviation is against the drawing already; joined with the general one nothing is left at all.
    faults = limit_faults(limits(*rows, Limit("outline_out_mm", "major", "bowl", min=0.2)), PART)
    assert [fault.what for fault in faults] == ["limit[3] outline_out_mm.bowl"] * 2
    assert "for every zone" in faults[1].found


def test_what_judges_otherwise_than_meant_is_told_and_does_not_stop() -> None:
    rows = (Limit("outline_out_mm", "major", min=0.0), Limit("length_mm", "minor", min=134.95, max=135.3))
    says_nothing, near = limit_faults(limits(*rows), PART, STATION)
    assert (says_nothing.stops, "every value keeps these" in says_nothing.expected + says_nothing.found) == (
        False,
        True,
    )
    assert (near.what, near.stops, "is reviewed" in near.found) == ("limit[2] length_mm", False, True)


def test_parts_without_a_bend_zone_or_a_face_have_no_such_measures() -> None:
    assert possible("scratch_count", None, HOLED) == "a scored area, [surface]"
    assert possible("hole_offset_mm", None, HOLED) == Possible(0.0, np.inf, 0.0)
    straight = dataclasses.replace(PART, zones=tuple(dataclasses.replace(zone, bend=False) for zone in PART.zones))
    assert possible("bend_deg", None, straight) == "a zone with bend = true"


@pytest.mark.parametrize("measure", MEASURES)
def test_a_piece_as_drawn_is_possible_for_every_measure(measure: str) -> None:
    for zone in ["bowl", "handle"] if MEASURES[measure].per_zone else [None]:
        one = possible(measure, zone, PART)
        assert isinstance(one, Possible) != measure.startswith("hole_")
        if isinstance(one, Possible) and one.as_drawn is not None:
            assert one.least <= one.as_drawn <= one.most


# ISO 2768-1:1989, tables 1 and 3, from memory; the medium row agrees with copies of the table in public handbooks.
@pytest.mark.parametrize(
    ("size_mm", "grade", "tolerance"),
    [
        (0.4, "m", None),
        (3.0, "f", 0.05),
        (3.0, "v", None),
        (3.1, "c", 0.3),
        (30.0, "m", 0.2),
        (30.1, "m", 0.3),
        (135.0, "f", 0.2),
        (135.0, "m", 0.5),
        (135.0, "c", 1.2),
        (135.0, "v", 2.5),
        (5000.0, "m", None),
    ],
)
def test_general_tolerances_of_sizes(size_mm: float, grade: GeneralClass, tolerance: float | None) -> None:
    assert linear_tolerance(size_mm, grade) == tolerance


def test_general_tolerances_of_angles() -> None:
    assert angular_tolerance(10.0, "m") == 1.0
    assert angular_tolerance(89.0, "m") == pytest.approx(20 / 60)
    assert angular_tolerance(121.0, "c") == 0.25
    assert angular_tolerance(500.0, "m") is None


@pytest.mark.parametrize("part", [PART, HOLED], ids=["plain", "holed"])
@pytest.mark.parametrize("grade", get_args(GeneralClass))
def test_a_first_draft_by_a_general_class_holds_and_judges(part: Part, grade: GeneralClass) -> None:
    wanted = wanted_limits(part, grade)
    general = {one.name: one.general for one in wanted if one.general is not None}
    draft = first_draft(part, 4, wanted, general)
    assert (draft.status, draft.revision, draft.part) == ("draft", 4, "TS-135")
    assert {"outline_out_mm.bowl", "outline_in_mm.handle", "length_mm", "width_mm.bowl", "bend_deg"} <= set(general)
    assert [fault for fault in limit_faults(draft, part, STATION) if fault.stops] == []
    length = next(one for one in draft.limits if one.measure == "length_mm")
    assert length.min is not None
    assert length.max is not None
    assert (length.min + length.max) / 2 == pytest.approx(np.ptp(part.outline[:, 0]), abs=1e-3)


def test_every_measure_that_the_drawing_allows_is_asked_for() -> None:
    names = {one.name for one in wanted_limits(PART)}
    assert names >= {"scratch_longest_mm", "scratch_count", "pit_largest_mm", "pit_area_ppm"}
    assert not {one for one in names if one.startswith("hole")}
    assert {"hole_offset_mm", "hole_diameter_error_mm"} <= {one.name for one in wanted_limits(HOLED)}
    assert not {one.name for one in wanted_limits(HOLED) if one.name.startswith(("scratch", "pit"))}
