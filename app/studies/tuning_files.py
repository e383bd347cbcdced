"""What a tuning study leaves behind as JSON: `tuning.json`; see `study_files`."""

from collections.abc import Iterable, Mapping

from app.studies.changes import Changes
from app.studies.samples import Sample, design_table
from app.studies.study_files import Table, figure
from app.studies.tuning import Guarded, Rates
from app.studies.tuning_study import TuningStudy
from vision.records import Verdict


def tuning_table(whole: TuningStudy, samples: Iterable[Sample]) -> Table:
    """`tuning.json`.

    `measure`, `zone`, `side`: what was tuned (for a counting rule its key as `measure`). `bad_pieces`, `good_pieces`,
    `tied_pieces`: as people say. `roc_area` with DeLong's interval. `promise`: what was asked. `recommended`: `setting`
    (null with the reason in `words`), `misses_allowed`, `pieces_needed`, and RATES there, with guard bands (`rates`)
    and without (`without_guard`). `now`: the same for the limits given, null where they bound nothing there.
    `curve`: rates at many settings from tight to loose, `unguarded` the same without guard bands. RATES are `setting`,
    `missed`, `false_alarm` (with 95 % intervals), `reviewed`, and with costs `cost` a piece of production and
    `bad_among_passed`. `cross_validation`: `settings` that each fold chose, `missed` and `false_alarm` on pieces not
    chosen on. `changes`: verdicts and yields before and after, over all pieces of the results, and each that changes.

    Parameters
    ----------
    whole
        What `tune` found.
    samples
        What people said of the lot's pieces, by round.

    Returns
    -------
    Table
        The table, ready for `json_text`.
    """
    target, study, costs = whole.target, whole.tuning, whole.task.costs
    recommended, promise = study.recommended, whole.task.promise
    return {
        "format": 1,
        "measure": target.name,
        "zone": target.zone,
        "side": target.side,
        "bad_pieces": study.bad_pieces,
        "good_pieces": study.good_pieces,
        "tied_pieces": study.tied_pieces,
        "design": design_table(samples),
        "roc_area": figure(whole.area, se=True),
        "promise": {"max_missed": promise.max_missed, "confidence": promise.confidence, "looks": promise.looks},
        "costs": None
        if costs is None
        else {"missed": costs.missed, "scrapped": costs.scrapped, "bad_share": costs.bad_share},
        "recommended": {
            "setting": recommended.setting,
            "words": recommended.words,
            "misses_allowed": recommended.misses_allowed,
            "pieces_needed": recommended.pieces_needed,
            **_guarded(study.at_recommended),
        },
        "now": _guarded(study.now),
        "cross_validation": {
            "settings": list(study.cross_validation.settings),
            "missed": figure(study.cross_validation.missed),
            "false_alarm": figure(study.cross_validation.false_alarm),
        },
        "curve": [_rates(one) for one in study.curve],
        "unguarded": [_rates(one) for one in study.unguarded],
        "changes": None if whole.changes is None else _changes(whole.changes),
    }


def _rates(rates: Rates) -> Table:
    return {
        "setting": rates.setting,
        "missed": figure(rates.missed),
        "false_alarm": figure(rates.false_alarm),
        "reviewed": rates.reviewed,
        "cost": rates.cost,
        "bad_among_passed": rates.bad_among_passed,
    }


def _guarded(found: Guarded | None) -> Table:
    return {
        "rates": None if found is None else _rates(found.rates),
        "without_guard": None if found is None else _rates(found.unguarded),
    }


def _changes(changes: Changes) -> Table:
    return {
        "before": {**_counts(changes.counts_before), "yield": figure(changes.yield_before)},
        "after": {**_counts(changes.counts_after), "yield": figure(changes.yield_after)},
        "pieces": [
            {"tray": one.key.tray, "piece": one.key.piece, "before": one.before, "after": one.after}
            for one in changes.changed
        ],
    }


def _counts(counts: Mapping[Verdict, int]) -> Table:
    return {str(verdict): count for verdict, count in counts.items()}
