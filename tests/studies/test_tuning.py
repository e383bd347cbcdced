"""Tuning: sweeps equal to judging, promises kept, and edges."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from app.statistics.intervals import wilson
from app.studies.changes import compare_revisions
from app.studies.columns import PieceColumns, columns_of
from app.studies.lot import Lot
from app.studies.rejudge import rejudge_all
from app.studies.settings import Target, setting_now, target_of, with_setting
from app.studies.sweeps import Sweep, sweep
from app.studies.tuning import Costs, Task, cross_validate, rates_at, recommend
from app.studies.tuning_sample import Promise, Sample
from app.studies.tuning_study import Question, Truth, tune_columns
from tests.studies.lots import LIMITS, sample
from vision.decide import PASS, REJECT
from vision.errors import Unusable
from vision.records.inputs import Limit, Limits

ACCEPTED, REJECTED, TIED = 0, 1, -1


def _lot(trays: int = 40) -> tuple[PieceColumns, np.ndarray]:
    drawn = sample(np.random.default_rng(17), trays)
    return columns_of(Lot(drawn.trays).pieces()), np.array(drawn.bad)


def _truth(said: np.ndarray) -> Truth:
    """What people say of every piece of a lot, taken for a random sample."""
    return Truth(np.arange(len(said)), said, None, ())


TARGETS = [
    ("outline_out_mm", None, None),
    ("outline_out_mm", "bowl", None),
    ("outline_in_mm", "bowl", None),
    ("length_mm", None, "max"),
    ("length_mm", None, "min"),
    ("scratch_longest_mm", None, None),
    ("scored_area_cm2", None, "min"),
    ("scratch_min_snr", None, None),
    ("scratch_min_length_mm", None, None),
]


@pytest.mark.parametrize(("name", "zone", "side"), TARGETS)
def test_sweep_says_at_every_setting_what_judging_says(name: str, zone: str | None, side: str | None) -> None:
    pieces, _ = _lot()
    target = target_of(LIMITS, name, zone, side)  # type: ignore[arg-type]
    found = sweep(pieces, LIMITS, target)
    if found.steps is not None:
        settings = found.steps[::10].tolist()
    else:
        seen = found.value[np.isfinite(found.value)]
        settings = np.linspace(seen.min() - 0.02, seen.max() + 0.02, 13).tolist() if len(seen) else [0.1]
    for setting in settings:
        draft = with_setting(LIMITS, target, setting, pieces.zones(name))
        looseness = target.sign * setting
        codes = rejudge_all(pieces, draft)
        if target.is_rule:
            # A rule's sweep may call a piece passing a step early where uncertainty is not monotone; never late.
            assert not ((codes == PASS) & (found.passes_from > looseness)).any()
            assert ((codes == PASS) == (found.passes_from <= looseness)).mean() > 0.98
        else:
            assert np.array_equal(codes == PASS, found.passes_from <= looseness)
            assert np.array_equal(codes == REJECT, looseness < found.rejected_below)


def test_one_zone_of_a_limit_for_every_zone_is_told_apart() -> None:
    target = target_of(LIMITS, "outline_out_mm", "bowl")
    assert setting_now(LIMITS, target) == 0.15
    draft = with_setting(LIMITS, target, 0.2, ("bowl", "handle"))
    bounds = {one.zone: one.max for one in draft.limits if one.measure == "outline_out_mm"}
    assert bounds == {"bowl": 0.2, "handle": 0.15}
    assert (draft.revision, draft.status) == (LIMITS.revision + 1, "draft")


def test_a_new_limit_takes_the_class_given() -> None:
    pieces, bad = _lot(10)
    question = Question("outline_in_mm", None, None, "minor", Task(Promise()))
    with pytest.raises(Unusable, match="missing in every piece"):
        tune_columns(pieces, _truth(bad.astype(np.int8)), LIMITS, question)
    draft = with_setting(LIMITS, Target("bend_deg", None, "min", "minor"), -0.5)
    assert draft.limits[-1] == Limit("bend_deg", "minor", None, -0.5, None)


def test_other_side_of_a_two_sided_limit_stays() -> None:
    draft = with_setting(LIMITS, target_of(LIMITS, "length_mm", None, "min"), 134.8)
    assert [(one.min, one.max) for one in draft.limits if one.measure == "length_mm"] == [(134.8, 135.1)]


@pytest.mark.parametrize(
    ("name", "zone", "said"),
    [
        ("outline_big_mm", None, "one of outline_out_mm"),
        ("length_mm", "bowl", "not taken per zone"),
        ("pit_min_snr", "bowl", "stands alone"),
    ],
)
def test_unknown_targets_are_refused(name: str, zone: str | None, said: str) -> None:
    with pytest.raises(Unusable, match=said):
        target_of(LIMITS, name, zone)


def _plain(passes_from: list[float] | np.ndarray, bad: list[bool] | np.ndarray) -> Sample:
    values = np.asarray(passes_from, dtype=np.float64)
    target = Target("outline_out_mm", None, "max")
    return Sample(Sweep(target, values, np.full(len(values), -np.inf), values), np.asarray(bad, dtype=np.bool_))


def test_lot_too_small_says_how_many_would_do() -> None:
    found = recommend(_plain(np.arange(40.0), [True] * 20 + [False] * 20), Task(Promise(0.10)))
    assert found.setting is None
    assert found.pieces_needed == 29
    assert "too small" in found.words
    assert "29 would do" in found.words


def test_no_bad_or_no_good_piece() -> None:
    nothing = recommend(_plain(np.arange(40.0), [False] * 40), Task(Promise(0.10)))
    assert nothing.setting is None
    assert "people reject 0 of its pieces" in nothing.words
    all_bad = recommend(_plain(np.arange(40.0), [True] * 40), Task(Promise(0.10)))
    assert all_bad.setting is None
    assert "Add good pieces" in all_bad.words


def test_bad_pieces_that_look_better_than_good_ones_allow_nothing() -> None:
    found = recommend(_plain(np.arange(80.0), [True] * 40 + [False] * 40), Task(Promise(0.10)))
    assert found.setting is None
    assert "Another measure" in found.words


def test_one_miss_is_allowed_with_46_bad_pieces() -> None:
    bad = np.linspace(1.0, 2.0, 46)
    good = np.linspace(0.0, 1.5, 100)
    lot = _plain(np.concatenate([bad, good]), [True] * 46 + [False] * 100)
    found = recommend(lot, Task(Promise(0.10)))
    assert found.misses_allowed == 1
    assert found.setting is not None
    assert bad[0] <= found.setting < bad[1]
    assert rates_at(lot, found.setting, None).missed.value == pytest.approx(1 / 46)


def test_costs_can_only_tighten_the_promised_limit() -> None:
    bad = np.linspace(1.0, 2.0, 46)
    good = np.linspace(0.0, 1.5, 100)
    lot = _plain(np.concatenate([bad, good]), [True] * 46 + [False] * 100)
    loose = recommend(lot, Task(Promise(0.10))).setting
    dear_misses = recommend(lot, Task(Promise(0.10), Costs(1000.0, 1.0, 0.2))).setting
    dear_scrap = recommend(lot, Task(Promise(0.10), Costs(1.0, 1000.0, 0.2))).setting
    assert loose is not None
    assert dear_misses is not None
    assert dear_misses < bad[0]
    assert dear_scrap is not None
    assert dear_scrap < bad[1]


def test_expected_cost_by_hand() -> None:
    # bad pass from 1 and 3, good from 0, 2, 4, 6: at 2.5 half the bad are missed, half the good scrapped
    lot = _plain([1.0, 3.0, 0.0, 2.0, 4.0, 6.0], [True, True, False, False, False, False])
    rates = rates_at(lot, 2.5, Costs(missed=40.0, scrapped=2.0, bad_share=0.1))
    assert rates.cost == pytest.approx(0.1 * 0.5 * 40 + 0.9 * 0.5 * 2)
    assert rates.bad_among_passed == pytest.approx(0.05 / (0.05 + 0.45))


@pytest.mark.parametrize(("bad_pieces", "bound"), [(93, 0.05), (60, 0.10)])
def test_recommended_limit_keeps_its_promise_in_95_of_100_lots(bad_pieces: int, bound: float) -> None:
    # Bad pieces pass from a gamma value on, some never; the limit is chosen on each of 200 lots, and what it truly
    # misses is the distribution's own. The promise is exact (95.0 % or more); in 200 lots fewer than 90 % keep it by
    # chance less than once in 400 were the true share 95.0 %, and it is above that.
    from scipy.stats import gamma

    rng = np.random.default_rng(23)
    kept = 0
    for _ in range(200):
        bad = np.where(rng.random(bad_pieces) < 0.2, np.inf, rng.gamma(3.0, 0.1, bad_pieces))
        good = rng.gamma(2.0, 0.03, 150)
        lot = _plain(np.concatenate([bad, good]), [True] * bad_pieces + [False] * 150)
        found = recommend(lot, Task(Promise(bound)))
        # a lot in which no setting can be recommended makes no promise, and so breaks none
        kept += found.setting is None or 0.8 * gamma.cdf(found.setting, 3.0, scale=0.1) <= bound
    assert kept / 200 >= 0.90


def test_cross_validation_judges_only_what_it_did_not_choose_on() -> None:
    rng = np.random.default_rng(5)
    bad = rng.gamma(6.0, 0.1, 100)
    good = rng.gamma(2.0, 0.05, 200)
    lot = _plain(np.concatenate([bad, good]), [True] * 100 + [False] * 200)
    trays = [f"T-{i % 30}" for i in range(300)]
    found = cross_validate(lot, trays, Task(Promise(0.10)))
    assert len(found.settings) == 5
    assert found.missed.value is not None
    assert 0.0 < found.missed.value < 0.15
    few_trays = cross_validate(lot, ["T-1"] * 300, Task(Promise(0.10)))
    assert few_trays.false_alarm.value is not None


def test_ties_break_no_promise() -> None:
    """100 lots whose faint bad pieces are the ones that two people differ on; 5 % of promises may be broken.

    12 of 100 or more by a chance of 0.4 %. Ties thrown away, as before, the promise was broken in most.
    """
    rng = np.random.default_rng(19)
    bad = np.arange(400) < 120
    broken = {"kept": 0, "thrown away": 0}
    for _ in range(100):
        value = rng.normal(0.0, 1.0, 400) + 2.5 * bad
        faint = 1 / (1 + np.exp(3 * (np.abs(value - 1.0) - 0.6)))
        tied = rng.random(400) < np.where(bad, faint, 0.3 * faint)
        whole = replace(_plain(value, bad & ~tied), tied=tied)
        for way, lot in (("kept", whole), ("thrown away", _plain(value[~tied], bad[~tied]))):
            setting = recommend(lot, Task(Promise(0.10))).setting
            broken[way] += setting is not None and norm.cdf(setting - 2.5) > 0.10
    assert broken["kept"] <= 11
    assert broken["thrown away"] > 30


def test_rates_hold_whichever_way_ties_are_settled() -> None:
    lot = replace(_plain([0.1, 0.2, 0.3, 0.4], [False, False, True, False]), tied=np.array([False, True, False, True]))
    missed = rates_at(lot, 0.25, None).missed
    # of the two ties one passes: half a miss of two bad ones at the most, none at the least
    assert missed.value == pytest.approx(0.25)
    assert missed.ci is not None
    assert missed.ci[0] == wilson(0, 2).ci[0]  # type: ignore[index]
    assert missed.ci[1] == wilson(1, 2).ci[1]  # type: ignore[index]


def test_lot_of_three_pieces_and_constant_measure() -> None:
    lot = _plain([0.2, 0.2, 0.2], [True, False, False])
    assert recommend(lot, Task(Promise())).setting is None
    constant = _plain([0.2] * 100, [True] * 60 + [False] * 40)
    assert recommend(constant, Task(Promise())).setting is None
    assert cross_validate(constant, ["T-1"] * 100, Task(Promise())).missed.value is None


def test_whole_study_and_what_changes() -> None:
    pieces, bad = _lot(60)
    truth = np.where(bad, REJECTED, ACCEPTED).astype(np.int8)
    truth[::17] = TIED
    study = tune_columns(
        pieces, _truth(truth), LIMITS, Question("outline_out_mm", None, None, "major", Task(Promise(0.10)))
    )
    assert study.tuning.bad_pieces + study.tuning.good_pieces == int((truth != TIED).sum())
    assert study.tuning.tied_pieces == int((truth == TIED).sum())
    assert study.area.value is not None
    assert study.changes is not None
    setting = study.tuning.recommended.setting
    assert setting is not None
    draft = with_setting(LIMITS, study.target, setting)
    assert compare_revisions(pieces, LIMITS, draft) == study.changes
    assert study.tuning.at_recommended is not None
    passed = rejudge_all(pieces, draft) == PASS
    known_bad = truth == REJECTED
    # of the ties half count, on whichever side they are
    tied = truth == TIED
    missed = (passed & known_bad).sum() + 0.5 * (passed & tied).sum()
    whole = known_bad.sum() + 0.5 * tied.sum()
    assert study.tuning.at_recommended.rates.missed.value == pytest.approx(missed / whole)
    curve = [one.missed.value for one in study.tuning.curve]
    assert curve == sorted(curve)


def test_guard_bands_only_turn_passes_into_reviews_or_rejects() -> None:
    pieces, _ = _lot()
    target = target_of(LIMITS, "outline_out_mm")
    guarded, bare = sweep(pieces, LIMITS, target), sweep(pieces, replace(LIMITS, coverage=0.5), target)
    assert (guarded.passes_from >= bare.passes_from).all()


def test_no_truth_and_unknown_zone_are_refused() -> None:
    pieces, bad = _lot(5)
    task = Task(Promise())
    unknown = np.full(len(pieces), TIED, dtype=np.int8)
    with pytest.raises(Unusable, match="at least one piece"):
        tune_columns(pieces, _truth(unknown), LIMITS, Question("length_mm", None, None, "major", task))
    with pytest.raises(Unusable, match="bowl, handle"):
        tune_columns(
            pieces, _truth(bad.astype(np.int8)), LIMITS, Question("outline_out_mm", "neck", None, "major", task)
        )


def test_changes_count_every_verdict() -> None:
    pieces, _ = _lot(20)
    none = Limits("TS-135", 4, "draft", 0.95, ())
    found = compare_revisions(pieces, LIMITS, none)
    assert found.counts_after == {"pass": 80, "review": 0, "reject": 0}
    assert sum(found.counts_before.values()) == 80
    assert len(found.changed) == 80 - found.counts_before["pass"]
    assert found.yield_after.value == 1.0
