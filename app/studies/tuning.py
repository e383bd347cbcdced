"""Choosing one setting on a sample lot with people's verdicts: what it misses, what it scraps, what can be promised."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from app.statistics import UNDEFINED, Cells, Estimate, pieces_for_promise, roundest, weighted_share, wilson
from app.studies.columns import Array, Mask
from app.studies.tuning_costs import Costs, bad_among_passed, cost_of
from app.studies.tuning_sample import Promise, Sample, ceiling_of, curve_settings, promised

FOLDS = 5
"""Parts of a cross-validation (common practice)."""


@dataclass(frozen=True, slots=True)
class Task:
    """What a study of one setting is to answer; without `costs` false alarms alone are kept low."""

    promise: Promise
    costs: Costs | None = None


@dataclass(frozen=True, slots=True)
class Rates:
    """What one setting does to the sample.

    `missed` of the pieces that people reject, those that pass; `false_alarm` of the pieces that people accept, those
    that don't; `reviewed` share of all pieces of the sample that go to review; `cost` expected per piece of production,
    and `bad_among_passed` the expected share of bad pieces among those that pass (both None without costs).
    """

    setting: float
    missed: Estimate
    false_alarm: Estimate
    reviewed: float
    cost: float | None
    bad_among_passed: float | None


@dataclass(frozen=True, slots=True)
class Guarded:
    """One setting's rates with guard bands and without."""

    rates: Rates
    unguarded: Rates


@dataclass(frozen=True, slots=True)
class Recommendation:
    """The setting to use and what it promises.

    `setting` None where no setting can be recommended; `words` say why, or what is promised. `misses_allowed` among the
    lot's bad pieces; `pieces_needed`: bad pieces with which the promise can be made if none of them is missed.
    """

    setting: float | None
    words: str
    misses_allowed: int | None
    pieces_needed: int


@dataclass(frozen=True, slots=True)
class CrossValidation:
    """The rule for choosing, tried on pieces that it had not seen: each fold judged by the limit chosen on the others.

    `settings`: what each fold's training chose; None where it could choose none (the fold is left out then).
    """

    settings: tuple[float | None, ...]
    missed: Estimate
    false_alarm: Estimate


@dataclass(frozen=True, slots=True, eq=False)
class Tuning:
    """A study of one setting.

    `tied_pieces`: those on which as many people accept as reject. `curve` runs from tight to loose; `unguarded` is the
    same without guard bands. `now`: the limits as they are, None where they bound nothing there; `at_recommended` None
    without a recommendation.
    """

    bad_pieces: int
    good_pieces: int
    tied_pieces: int
    curve: tuple[Rates, ...]
    unguarded: tuple[Rates, ...]
    now: Guarded | None
    recommended: Recommendation
    at_recommended: Guarded | None
    cross_validation: CrossValidation


def study_setting(
    sample: Sample, unguarded: Sample, groups: Sequence[str], task: Task, setting_now: float | None
) -> Tuning:
    """Study one setting on a sample lot.

    Parameters
    ----------
    sample, unguarded
        With the limits' guard bands, and with none.
    groups
        (pieces,) the tray of each piece: cross-validation keeps a tray's pieces together where there are enough trays.
    """
    settings = curve_settings(sample)
    recommended = recommend(sample, task)

    def both(setting: float | None) -> Guarded | None:
        if setting is None:
            return None
        return Guarded(rates_at(sample, setting, task.costs), rates_at(unguarded, setting, task.costs))

    return Tuning(
        bad_pieces=int(sample.bad.sum()),
        good_pieces=int(sample.good.sum()),
        tied_pieces=int(sample.ties.sum()),
        curve=tuple(rates_at(sample, setting, task.costs) for setting in settings),
        unguarded=tuple(rates_at(unguarded, setting, task.costs) for setting in settings),
        now=both(setting_now),
        recommended=recommended,
        at_recommended=both(recommended.setting),
        cross_validation=cross_validate(sample, groups, task),
    )


def rates_at(sample: Sample, setting: float, costs: Costs | None) -> Rates:
    """What one setting does to the sample.

    Parameters
    ----------
    sample
        Pieces that people judged, with what they said.
    setting
        In the measure's unit, or the counting rule's.
    costs
        Of a miss and of a good piece scrapped; none: not reckoned.

    Returns
    -------
    Rates
        Shares missed, falsely alarmed and reviewed, with 95 % intervals; the cost a piece.
    """
    looseness = sample.sweep.target.sign * setting
    passed = sample.sweep.passes_from <= looseness
    rejected = looseness < sample.sweep.rejected_below
    missed, false_alarm = _rate(sample, sample.bad, passed), _rate(sample, sample.good, ~passed)
    return Rates(
        setting=setting,
        missed=missed,
        false_alarm=false_alarm,
        reviewed=float((sample.weights * (~passed & ~rejected)).mean()) if len(passed) else 0.0,
        cost=cost_of(missed.value, false_alarm.value, costs),
        bad_among_passed=bad_among_passed(missed.value, false_alarm.value, costs),
    )


def recommend(sample: Sample, task: Task) -> Recommendation:
    """The setting of least cost among those that keep the promise.

    The promise rests on the order of the bad pieces alone: with n of them and k misses allowed (exact binomial), any
    setting tighter than the one from which the (k + 1)-th of them passes misses at most `max_missed` of all bad
    pieces of the same kind with the stated confidence, however it was chosen (Wilks 1941, Ann. Math. Stat. 12:91:
    a distribution-free tolerance limit). The bad pieces must be a fair sample of the bad ones in production, and
    people's verdicts right.
    """
    promise = task.promise
    bad = int(sample.bad.sum())
    ceiling, allowed = promised(sample, promise)
    needed = pieces_for_promise(promise.max_missed, promise.confidence_of_one)
    what = promise.words
    if allowed is None:
        few = (
            f"people reject {bad} of its pieces, and {needed} would do if the limit let none of them pass "
            f"({pieces_for_promise(promise.max_missed, promise.confidence_of_one, 1)} with one passing)"
        )
        if sample.drawn is not None and len(sample.drawn.sizes) > 1:
            shown = sample.least_shown_missed(promise.confidence_of_one)
            few = (
                f"even of a setting that passes none of the {bad} bad pieces drawn, all that is shown is that at most "
                f"{shown:.1%} of bad pieces are missed, since each piece drawn from the largest stratum stands for "
                "many others. Draw more of those that the camera passes"
            )
        return Recommendation(None, f"This lot is too small to promise {what}: {few}.", None, needed)
    if not sample.good.any():
        return Recommendation(
            None,
            "People accept no piece of this lot: a setting can't be weighed against false alarms. Add good pieces.",
            allowed,
            needed,
        )
    setting = _choose(sample, ceiling, task.costs)
    if setting is None:
        return Recommendation(
            None,
            f"No setting keeps the promise ({what}) and passes any good piece: bad pieces would pass as soon as good "
            "ones do. Another measure must tell them apart.",
            allowed,
            needed,
        )
    upper = sample.missed_at_most(float(np.nextafter(ceiling, -inf)), promise.confidence_of_one)
    fair = (
        f"the {bad} pieces that people reject are a fair sample of bad pieces"
        if sample.drawn is None
        else f"bad pieces to come are like this lot's, of which {bad} were drawn"
    )
    return Recommendation(
        setting,
        f"{sample.sweep.target.set_to(setting)} keeps the promise: {what}, if {fair} and people are right. At most "
        f"{allowed} of them may pass; the exact upper bound is then {upper:.2%}.",
        allowed,
        needed,
    )


def _choose(sample: Sample, ceiling: float, costs: Costs | None) -> float | None:
    """The roundest setting of least cost below `ceiling` at which some good piece passes."""
    passes_from, steps = sample.sweep.passes_from, sample.sweep.steps
    of_good = np.sort(passes_from[sample.good])
    # Between two neighbours nothing changes; above the last of them a tenth of their span is left as a margin.
    edges = np.unique(passes_from[np.isfinite(passes_from)]) if steps is None else steps
    usable = edges[(edges < ceiling) & (np.searchsorted(of_good, edges, side="right") > 0)]
    if len(usable) == 0:
        return None
    missed = _passing(sample, sample.bad, usable)
    false_alarm = 1 - _passing(sample, sample.good, usable)
    if costs is None:
        # false alarms first; among equals the fewest missed
        best = int(np.lexsort((missed, false_alarm))[0])
    else:
        cost = costs.bad_share * missed * costs.missed + (1 - costs.bad_share) * false_alarm * costs.scrapped
        best = int(np.argmin(cost))
    low = float(usable[best])
    sign = sample.sweep.target.sign
    if steps is not None:
        return sign * low
    later = edges[edges > low]
    high = float(later[0]) if len(later) else low + max(0.1 * float(edges[-1] - edges[0]), 0.01 * abs(low), 1e-3)
    high = min(high, float(ceiling))
    return roundest(low, high) if sign > 0 else roundest(-high, -low)


def _passing(sample: Sample, these: Mask, settings: Array) -> Array:
    """(settings,) the share of some pieces that passes, each piece by its weight."""
    order = np.argsort(sample.sweep.passes_from[these], kind="stable")
    summed = np.concatenate([[0.0], np.cumsum(sample.weights[these][order])])
    at = np.searchsorted(sample.sweep.passes_from[these][order], settings, side="right")
    found: Array = summed[at] / max(float(summed[-1]), 1e-300)
    return found


def cross_validate(sample: Sample, groups: Sequence[str], task: Task) -> CrossValidation:
    """Choose on four fifths of the lot, judge the fifth that was left out, for each fifth in turn.

    A training part too small for the promise chooses as if no miss were allowed.
    """
    names = list(dict.fromkeys(groups))
    if len(names) >= FOLDS:
        place = {name: k for k, name in enumerate(names)}
        fold = np.array([place[name] % FOLDS for name in groups])
    else:
        fold = np.arange(len(groups)) % FOLDS
    settings: list[float | None] = []
    passed, tried = np.zeros(len(groups), dtype=np.bool_), np.zeros(len(groups), dtype=np.bool_)
    for k in range(FOLDS):
        training = sample.part(fold != k)
        setting = _choose(training, ceiling_of(training, task.promise), task.costs) if training.bad.any() else None
        settings.append(setting)
        if setting is not None:
            tried |= fold == k
            passed |= (fold == k) & (sample.sweep.passes_from <= sample.sweep.target.sign * setting)
    held = sample.part(tried)
    missed, false_alarm = _rate(held, held.bad, passed[tried]), _rate(held, held.good, ~passed[tried])
    return CrossValidation(tuple(settings), missed, false_alarm)


def _rate(sample: Sample, of: Mask, hits: Mask) -> Estimate:
    """A share of the lot: Wilson's interval for a random sample, else weighted by the design.

    Of the tied pieces half count; the interval holds whichever way they would be settled.
    """
    designed = sample.drawn is not None
    if not sample.ties.any():
        return _settled(sample.rate(of, hits), designed)
    most, least = (sample.rate(of | (sample.ties & side), hits) for side in (hits, ~hits))
    high, low = _settled(most, designed), _settled(least, designed)
    hit, miss, _ = replace(most, counts=(most.counts + least.counts) / 2).shares.tolist()
    if high.ci is None or low.ci is None:
        return UNDEFINED
    return Estimate(hit / (hit + miss), (low.ci[0], high.ci[1]))


def _settled(cells: Cells, designed: bool) -> Estimate:
    if designed:
        return weighted_share(cells)
    hit, miss, _ = cells.counts[0].astype(np.int64).tolist()
    return wilson(hit, hit + miss)
