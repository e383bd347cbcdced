"""The judge of whole lots says what the judge of one piece says."""

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from app.studies import columns
from app.studies.camera_and_people import PieceKey
from app.studies.columns import VERDICTS, columns_of
from app.studies.rejudge import rejudge_all
from vision.decide import counts as counting
from vision.decide.verdicts import rejudge
from vision.records.inputs import CountRule, Limit, Limits
from vision.records.judged import JudgedPiece
from vision.records.measured import Finding, Pit, Scratch

ZONES = ("bowl", "handle")
PER_ZONE = ("outline_out_mm", "width_mm")
WHOLE = ("length_mm", "bend_deg", "scored_area_cm2", "pit_count")
LATER = ("outline_unseen_mm", "opening_area_mm2", "face_seen")

sizes = st.floats(0.05, 3.0)
snrs = st.floats(2.0, 15.0)
values = st.none() | st.floats(-2.0, 2.0) | st.sampled_from([0.0, 0.5, 1.0])
areas = st.none() | st.floats(0.01, 20.0) | st.just(0.0)
spreads = st.none() | st.sampled_from([0.0, 0.01]) | st.floats(0.001, 1.5)
scratches = st.builds(lambda size, snr: Scratch(((0.0, 0.0),), ((0.0, 0.0),), size, 0.1, snr), sizes, snrs)
pits = st.builds(lambda size, snr: Pit((0.0, 0.0), (0.0, 0.0), size, snr), sizes, snrs)


@st.composite
def pieces(draw: st.DrawFn) -> JudgedPiece:
    """A stored piece: some measures by zone, some whole, some missing in one way or another."""
    measures: dict[str, object] = {}
    uncertainties: dict[str, object] = {}
    for name in (*PER_ZONE, *(["outline_unseen_mm"] if draw(st.booleans()) else [])):
        zones = draw(st.none() | st.lists(st.sampled_from(ZONES), unique=True))
        measures[name] = None if zones is None else {zone: draw(values) for zone in zones}
        uncertainties[name] = None if zones is None else {zone: draw(spreads) for zone in zones}
    for name in (*WHOLE, "opening_area_mm2", "face_seen"):
        if draw(st.booleans()):
            measures[name] = draw(areas if name == "scored_area_cm2" else values)
            uncertainties[name] = draw(spreads)
    found: tuple[Finding, ...] = tuple(draw(st.lists(scratches | pits, max_size=6)))
    fault = draw(st.none() | st.just("touching"))
    return JudgedPiece(1, "pass", (), fault, None, measures, uncertainties, found, ())  # type: ignore[arg-type]


@st.composite
def limits(draw: st.DrawFn) -> Limits:
    """Some limits, one-sided or two-sided, with or without a zone, and counting rules."""
    names = (*PER_ZONE, *WHOLE, *LATER, *counting.COUNTED_MEASURES)

    def one() -> Limit:
        low = draw(st.none() | st.floats(-2.0, 1.0))
        high = draw(st.none() | st.floats(0.0, 3.0)) if low is not None else draw(st.floats(0.0, 3.0))
        if low is not None and high is not None and high < low:
            low, high = high, low
        return Limit(draw(st.sampled_from(names)), "major", draw(st.none() | st.sampled_from(ZONES)), low, high)

    rule = CountRule(*(draw(st.just(0.0) | st.floats(0.1, 8.0)) for _ in range(4)))
    coverage = draw(st.sampled_from([0.5, 0.9, 0.95, 0.999]))
    return Limits("TS-135", 1, "draft", coverage, tuple(one() for _ in range(draw(st.integers(0, 4)))), rule)


@given(st.lists(pieces(), max_size=8), limits())
@settings(max_examples=60, deadline=None)
def test_every_piece_gets_the_verdict_that_it_gets_alone(lot: list[JudgedPiece], given_limits: Limits) -> None:
    table = columns_of((PieceKey("T-1", i), piece) for i, piece in enumerate(lot))
    assert [VERDICTS[code] for code in rejudge_all(table, given_limits)] == [
        rejudge(piece, given_limits).verdict for piece in lot
    ]


def test_a_long_lot_makes_no_more_columns_than_a_short_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """A column made anew for every piece, and thrown away, cost minutes for a lot of 100,000."""
    made = []
    empty = columns._empty
    monkeypatch.setattr(columns, "_empty", lambda count: made.append(count) or empty(count))
    one = JudgedPiece(1, "pass", (), None, None, {"width_mm": {"bowl": 40.0}}, {"width_mm": {"bowl": 0.01}}, (), ())
    columns_of([(PieceKey("T-1", 1), one)])
    short = len(made)
    columns_of([(PieceKey("T-1", i), one) for i in range(20)])
    assert len(made) == 2 * short


def test_an_empty_lot_has_no_verdicts() -> None:
    nothing = columns_of([])
    released = Limits("TS-135", 1, "released", 0.95, (Limit("pit_largest_mm", "major", max=0.2),))
    assert rejudge_all(nothing, released).shape == (0,)
    assert np.array_equal(nothing.verdict, [])
