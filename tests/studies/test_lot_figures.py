"""A lot's figures: fates, yield, reasons, groups, the p chart, and what gets through."""

from dataclasses import dataclass, replace
from typing import Literal

import pytest
from scipy.stats import hypergeom
from statsmodels.stats.proportion import proportion_confint

from app.report.lot_charts import over_time_chart, point_words
from app.report.lot_words import escapes_words, yield_words
from app.statistics.intervals import predicted_count
from app.studies.camera_and_people import PieceKey
from app.studies.escapes import PassedBlind, escapes_of
from app.studies.fates import fates_of
from app.studies.lot_sampling import SampledLot, accept_series
from app.studies.lot_summary import LotPiece, LotTray, lot_figures
from vision.errors import Unusable
from vision.records.judged import Verdict


@dataclass(frozen=True)
class VerdictWord:
    tray: str
    piece: int
    verdict: Literal["accept", "reject"]
    inspector: str = "R. Hale"
    round: int = 1
    defects: tuple[str, ...] = ()


def tray(name: str, die: str = "D1", strokes: float = 0.0) -> LotTray:
    return LotTray(
        name, "ST-1", f"2026-11-02T06:{name[-2:]}:00+00:00", 3, "brightbowl", "", {"die": die, "strokes": strokes}
    )


def piece(name: str, number: int, verdict: Verdict, reason: str | None = None) -> LotPiece:
    return LotPiece(0, name, number, verdict, reason, "d")


def test_a_persons_newest_word_outweighs_the_cameras() -> None:
    pieces = [
        piece("T-00", k, verdict) for k, verdict in enumerate(("pass", "pass", "review", "review", "reject", "reject"))
    ]
    said = [
        VerdictWord("T-00", 1, "reject"),
        VerdictWord("T-00", 3, "reject"),
        VerdictWord("T-00", 3, "accept"),
        VerdictWord("T-00", 5, "accept"),
    ]
    fates = fates_of(pieces, said)
    assert [fates[PieceKey("T-00", k)] for k in range(6)] == [
        "passed", "rejected", "waiting", "accepted", "sorted out", "accepted",
    ]  # fmt: skip


def test_what_people_named_on_pieces_that_they_rejected_is_counted_by_the_newest_word() -> None:
    pieces = [piece("T-00", k, "reject", "scratch_count") for k in range(4)]
    said = [
        VerdictWord("T-00", 0, "reject", defects=("scratch", "pit")),
        VerdictWord("T-00", 1, "reject", defects=("burr",)),
        VerdictWord("T-00", 1, "reject", defects=("scratch",)),
        VerdictWord("T-00", 2, "accept"),
    ]
    figures = lot_figures([tray("T-00")], pieces, fates_of(pieces, said), said=said)
    assert [(one.name, one.count, one.of) for one in figures.named] == [("scratch", 2, 4), ("pit", 1, 4)]
    assert figures.named[0].share.ci == pytest.approx(proportion_confint(2, 4, method="wilson"))


def test_yield_and_reasons_with_wilsons_intervals() -> None:
    trays = [tray(f"T-{k:02}", "D1" if k % 2 else "D2", 1000.0 * k) for k in range(10)]
    pieces = []
    for k, one in enumerate(trays):
        for number in range(10):
            bad = one.process["die"] == "D2" and number < 3
            reason = "length_mm" if k == 0 else "outline_out_mm.bowl"
            pieces.append(piece(one.tray, number, "reject" if bad else "pass", reason if bad else None))
    figures = lot_figures(trays, pieces, fates_of(pieces, ()))
    assert (figures.to_packing, figures.fates["sorted out"]) == (85, 15)
    assert figures.yielded is not None
    assert (figures.yielded.least, figures.yielded.most) == (0.85, 0.85)
    assert figures.yielded.ci == pytest.approx(proportion_confint(85, 100, method="wilson"))
    assert [(one.name, one.count) for one in figures.reasons] == [("outline_out_mm.bowl", 12), ("length_mm", 3)]
    assert figures.reasons[0].share.ci == pytest.approx(proportion_confint(12, 100, method="wilson"))
    by = {one.name: one.groups for one in figures.groupings}
    # strokes are counted on one die: those of two are never put together
    assert set(by) == {"die", "strokes, die D1", "strokes, die D2"}
    assert [(g.name, g.count, g.of) for g in by["die"]] == [("D1", 0, 50), ("D2", 15, 50)]
    for die, bad in (("D1", 0), ("D2", 15)):
        groups = by[f"strokes, die {die}"]
        assert [g.of for g in groups] == [10] * 5
        assert sum(g.count for g in groups) == bad
    without_die = [replace(one, process={"strokes": one.process["strokes"]}) for one in trays]
    (strokes,) = lot_figures(without_die, pieces, fates_of(pieces, ())).groupings
    assert (strokes.name, [g.of for g in strokes.groups]) == ("strokes", [20] * 5)
    assert [g.name for g in strokes.groups][:2] == ["0 to 1800", "1800 to 3600"]
    assert figures.over_time is not None
    assert figures.over_time.trays_each == (1,) * 10
    assert figures.over_time.chart.center[0] == pytest.approx(0.15)
    # Given 15 bad of 100, those of one tray of ten are hypergeometric: more than five are rarer than a point of
    # a normal chart above three standard deviations (0.00135), more than four are not.
    of_ten = hypergeom(100, 15, 10)
    assert of_ten.sf(5) <= 0.00135 < of_ten.sf(4)
    assert figures.over_time.chart.upper[0] == 0.5
    assert figures.over_time.chart.lower[0] == 0.0


def test_over_time_is_one_point_a_tray_or_says_of_how_many() -> None:
    for count, words in (
        (100, "one point a tray"),
        (150, "one point for 1 or 2 trays"),
        (200, "one point for 2 trays"),
    ):
        trays = [tray(f"T-{k:03}") for k in range(count)]
        pieces = [piece(one.tray, 1, "pass" if k % 7 else "reject") for k, one in enumerate(trays)]
        found = lot_figures(trays, pieces, fates_of(pieces, ())).over_time
        assert found is not None
        assert (len(found.sizes), sum(found.trays_each), point_words(found)) == (100, count, words)
        assert words in over_time_chart(found)


def test_waiting_pieces_make_the_yield_a_range() -> None:
    pieces = [piece("T-00", 1, "pass"), piece("T-00", 2, "review", "touching")]
    figures = lot_figures([tray("T-00")], pieces, fates_of(pieces, ()))
    assert figures.yielded is not None
    assert (figures.yielded.least, figures.yielded.most, figures.yielded.waiting) == (0.5, 1.0, 1)
    low, high = proportion_confint(1, 2, method="wilson")[0], 1.0
    assert figures.yielded.ci == pytest.approx((low, high))
    assert "50.0 to 100.0 %" in yield_words(figures.yielded)
    assert figures.fates["waiting"] == 1
    assert figures.over_time is None


def test_what_gets_through_follows_from_the_share_of_bad_among_passed_pieces() -> None:
    pieces = [piece("T-00", k, "pass" if k < 900 else "review") for k in range(1000)]
    fates = fates_of(pieces, [VerdictWord("T-00", k, "accept") for k in range(900, 960)])
    assert lot_figures([tray("T-00")], pieces, fates).escapes is None
    found = lot_figures([tray("T-00")], pieces, fates, passed_blind=PassedBlind(2, 100)).escapes
    assert found is not None
    # Two in a hundred passed ones are bad: 18 of this lot's 900, of 960 packed.
    assert (found.bad, found.seen, found.escaped.value, found.own) == (2, 100, pytest.approx(18.0), False)
    assert found.per_million is not None
    assert found.per_million.value == pytest.approx(18.0 / 960 * 1e6)
    assert found.escaped.ci is not None
    # A prediction of one lot's number is wider than the interval of the mean.
    low, high = proportion_confint(2, 100, method="beta")
    assert found.escaped.ci[0] <= 900 * low
    assert found.escaped.ci[1] >= 900 * high


def test_where_the_camera_passes_none_there_is_no_share_of_what_is_packed() -> None:
    found = escapes_of(0, 0, PassedBlind(1, 2))
    assert found is not None
    assert found.per_million is None
    assert "passes no piece of this lot" in escapes_words(found)
    assert escapes_of(0, 3, PassedBlind(1, 2)) == found  # those that people accepted


def test_the_number_that_gets_through_is_this_lots_own_where_people_judged_it() -> None:
    pieces = [piece("T-00", k, "pass") for k in range(200)]
    fates = fates_of(pieces, ())
    found = lot_figures([tray("T-00")], pieces, fates, passed_blind=PassedBlind(9, 400, 2, 100)).escapes
    assert found is not None
    assert (found.own, found.bad, found.seen, found.escaped.value) == (True, 2, 100, pytest.approx(4.0))
    assert found.escaped.ci is not None
    assert found.escaped.ci[0] >= 2  # two were found
    whole = lot_figures([tray("T-00")], pieces, fates, passed_blind=PassedBlind(9, 400, 3, 200)).escapes
    assert whole is not None
    assert whole.escaped.ci == (3.0, 3.0)  # all were looked at


def test_ties_count_half_and_the_interval_holds_either_way() -> None:
    found = escapes_of(200, 200, PassedBlind(2, 100, 2, 100, 4, 4))
    assert found is not None
    assert (found.bad, found.tied) == (2, 4)
    # of the 100 not seen as many as of those seen: 2 and half of 4 in a hundred, on top of these themselves
    assert found.escaped.value == pytest.approx(4 + 4)
    assert found.escaped.ci == (2 + predicted_count(2, 100, 100)[0], 6 + predicted_count(6, 100, 100)[1])


def test_limits_of_further_pieces_hold_their_number() -> None:
    """Every lot of 60 with k bad ones, 25 of them seen: exact coverage by summing over the samples."""
    for bad in range(61):
        held = 0.0
        for seen in range(26):
            chance = float(hypergeom.pmf(seen, 60, bad, 25))
            if chance > 0:
                low, high = predicted_count(seen, 25, 35)
                held += chance * (low <= bad - seen <= high)
        assert held >= 0.95


def lot(name: str, bad: int, size: int = 1000, sample: int = 80) -> SampledLot:
    return SampledLot(name, size, ("sorted out",) * bad + ("passed",) * (sample - bad))


def test_two_rejected_lots_of_five_tighten_and_five_good_ones_loosen() -> None:
    # ISO 2859-1, lot of 1000, level II: letter J, 80 pieces; AQL 1.0: accept 2 normal, 1 tightened (tables 2-A, 2-B).
    series = accept_series(
        [lot("A", 0), lot("B", 3), lot("C", 2), lot("D", 3), *(lot(f"E{k}", 1) for k in range(6))], 1.0
    )
    assert [(one.plan.size, one.plan.accept) for one in series[:5]] == [(80, 2)] * 4 + [(80, 1)]
    assert [one.outcome for one in series[:4]] == ["accepted", "not accepted", "accepted", "not accepted"]
    assert [one.severity for one in series] == ["normal"] * 4 + ["tightened"] * 5 + ["normal"]


def test_five_rejected_lots_on_tightened_inspection_stop_the_series() -> None:
    series = accept_series([lot(str(k), 5) for k in range(9)], 1.0)
    assert [one.outcome for one in series] == ["not accepted"] * 7 + ["stopped"] * 2


def test_a_sample_too_small_or_undecided_leaves_the_series_where_it_stands() -> None:
    small = lot("A", 0, sample=79)
    undecided = SampledLot("B", 1000, ("waiting",) * 3 + ("passed",) * 77)
    settled = SampledLot("C", 1000, ("waiting",) * 2 + ("passed",) * 78)
    found = accept_series([small, undecided, settled], 1.0)
    assert [one.outcome for one in found] == ["sample too small", "undecided", "accepted"]
    assert [len(one.course.recent) for one in found] == [0, 0, 1]
    # MIL-STD-105E, table X-J (n 80, c 2, from memory): 95 % accepted near 1.0 % bad, 10 % near 6.5 %.
    assert found[2].producers_quality == pytest.approx(0.0103, abs=0.0005)
    assert found[2].consumers_quality == pytest.approx(0.0652, abs=0.0015)


def test_those_responsible_begin_what_the_rules_leave_to_them() -> None:
    good = [lot(str(k), 1) for k in range(10)]
    assert accept_series(good[:9], 1.0)[-1].may_begin == ()
    assert accept_series(good, 1.0)[-1].may_begin == ("reduced",)
    reduced = [*good[:9], replace(good[9], then=("reduced",)), lot("R", 0)]
    found = accept_series(reduced, 1.0)
    assert (found[10].severity, found[10].plan.size, found[10].may_begin) == ("reduced", 32, ("normal",))
    taken_back = [*good[:9], replace(good[9], then=("reduced", "normal")), lot("N", 1)]
    assert accept_series(taken_back, 1.0)[-1].severity == "normal"
    stopped = [lot(str(k), 5) for k in range(7)]
    assert accept_series(stopped, 1.0)[-1].may_begin == ("tightened",)
    mended = [*stopped[:6], replace(stopped[6], then=("tightened",)), lot("M", 0)]
    assert accept_series(mended, 1.0)[-1].outcome == "accepted"


def test_a_word_that_the_rules_do_not_leave_to_anybody_is_named_and_changes_nothing() -> None:
    found = accept_series([replace(lot("A", 0), then=("reduced",)), lot("B", 0)], 1.0)
    assert found[0].unheeded == ("reduced",)
    assert found[1].severity == "normal"


def test_nothing_is_begun_after_a_lot_that_another_one_followed() -> None:
    stopped = [lot(str(k), 5) for k in range(7)]
    found = accept_series([*stopped[:6], replace(stopped[6], follower="L-9")], 1.0)[-1]
    assert found.may_begin == ()
    assert "lot L-9 was inspected after it" in (found.why_not_begin("tightened") or "")


def test_an_aql_that_the_standard_lacks_is_named() -> None:
    with pytest.raises(Unusable, match="AQL"):
        accept_series([lot("A", 0)], 1.2)
