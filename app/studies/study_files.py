"""What studies leave behind as JSON: `agreement.json`, `gauge.json`, as plain tables ready to write.

Each begins with `"format": 1`. Intervals are `[low, high]`, 95 % unless a key says otherwise; a figure that is not
defined is null.
"""

import json
from collections.abc import Iterable
from typing import Any

from app.statistics import Estimate, Line, OneWay, TwoWay
from app.studies.agreement_study import AgreementStudy
from app.studies.camera_and_people import LeftOut
from app.studies.gauge import GaugeStudy, GaugeTable
from app.studies.pairs import Pair
from app.studies.samples import design_table

Table = dict[str, Any]


def json_text(table: Table) -> str:
    """A table as the text of its file: the same input gives the same bytes.

    Parameters
    ----------
    table
        Of texts, numbers, lists and tables.

    Returns
    -------
    str
        JSON, UTF-8, ended by a line break.
    """
    return json.dumps(table, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def figure(found: Estimate, *, se: bool = False) -> Table:
    """A figure with its interval, and its standard error where asked for.

    Parameters
    ----------
    found
        Value with its interval.
    se
        Whether its standard error comes with it.

    Returns
    -------
    Table
        A table; null where undefined.
    """
    table: Table = {"value": found.value}
    if se:
        table["se"] = found.se
    return {**table, "ci": None if found.ci is None else list(found.ci)}


def agreement_table(result: AgreementStudy) -> Table:
    """`agreement.json` as agreed, with more beside it.

    `design`: how the pieces came to be judged (`given`: blind, table or in sight; `words`; `rounds` with their strata);
    where it has rounds every figure but `table` and `ties` is weighted by them. `by_limit`: for each limit that the
    camera's reasons name, `stopped` pieces, those that it alone stopped, its `false_alarm`, and as a PAIR the camera's
    finding by it against most people naming a kind of defect that it looks for (null where they name none).
    `corrected`: the camera's rates without people's own misses (null with fewer than three judges). `over_time`: of two
    inspectors or more, none told apart, shares rejected in the first to the last quarter of an axis, with a trend's p.

    In every PAIR also `ac1` (Gwet), `pabak`, `prevalence_index`, `bias_index`. At the top also `gwet_ac1` of all
    inspectors, `within_rounds` (Fleiss' kappa over all rounds of an inspector who gave more than two),
    `camera_minus_person` (differences of the miss and false-alarm rates, both against the majority of the other
    inspectors, with Newcombe's paired interval, or weighted by the design), `by_kind` of defect, `without_verdict`
    (pieces that nobody judged) and `fitness` with the thresholds used.

    Parameters
    ----------
    result
        What `agree` found.

    Returns
    -------
    Table
        The table, ready for `json_text`.
    """
    study, judged, thresholds = result.agreement, result.fitness, result.thresholds
    overall = study.fleiss_kappa
    return {
        "format": 1,
        "pieces": study.pieces,
        "design": design_table(result.samples),
        "left_out": _left_out(study.left_out),
        "camera_vs": {name: _pair(pair) for name, pair in study.camera_vs.items()},
        "between": {f"{a}|{b}": _pair(pair) for (a, b), pair in study.between.items()},
        "within": {name: _pair(pair) for name, pair in study.within.items()},
        "all_inspectors": {
            "fleiss_kappa": overall.value,
            "se": overall.se,
            "ci": None if overall.ci is None else list(overall.ci),
        },
        "gwet_ac1": figure(study.gwet_ac1, se=True),
        "within_rounds": {name: figure(found, se=True) for name, found in study.within_rounds.items()},
        "camera_minus_person": {
            name: {
                "rejected_by_others": one.rejected,
                "accepted_by_others": one.accepted,
                "missed": figure(one.missed),
                "false_alarm": figure(one.false_alarm),
            }
            for name, one in study.camera_minus_person.items()
        },
        "by_kind": {
            kind: {
                "pieces": one.pieces,
                "missed": figure(one.missed),
                "fleiss_kappa": figure(one.fleiss_kappa, se=True),
            }
            for kind, one in study.by_kind.items()
        },
        "by_limit": {
            one.name: {
                "stopped": one.stopped,
                "stopped_alone": one.alone,
                "false_alarm": figure(one.false_alarm),
                "pair": None if one.pair is None else _pair(one.pair),
            }
            for one in result.by_limit
        },
        "corrected": None
        if result.corrected is None
        else {
            "judges": result.corrected.judges,
            "bad": figure(result.corrected.bad),
            "missed": figure(result.corrected.missed),
            "false_alarm": figure(result.corrected.false_alarm),
            "people_missed": figure(result.corrected.people_missed),
            "words": result.corrected.words,
        },
        "over_time": [{"axis": one.axis, "rejected": list(one.shares), "p": one.p} for one in result.drifts],
        "without_verdict": study.without_verdict,
        "fitness": None
        if judged is None
        else {
            "outcome": judged.outcome,
            "words": judged.words,
            "findings": [{"outcome": one.outcome, "words": one.words} for one in judged.findings],
            "thresholds": {
                "max_missed": thresholds.max_missed,
                "max_false_alarm": thresholds.max_false_alarm,
                "min_kappa": thresholds.min_kappa,
            },
        },
    }


def _left_out(pieces: Iterable[LeftOut]) -> list[Table]:
    return [{"tray": one.tray, "piece": one.piece, "reason": one.reason} for one in pieces]


def _pair(pair: Pair) -> Table:
    indices = pair.indices
    table: Table = {
        "table": [list(row) for row in pair.table],
        "agreement": figure(pair.agreement),
        "kappa": figure(pair.kappa, se=True),
        "missed": figure(pair.missed),
        "false_alarm": figure(pair.false_alarm),
        "mcnemar_p": pair.mcnemar_p,
        "ac1": figure(pair.ac1, se=True),
        "pabak": indices.pabak if indices else None,
        "prevalence_index": indices.prevalence_index if indices else None,
        "bias_index": indices.bias_index if indices else None,
    }
    if pair.ties != (0, 0):
        table["ties"] = {"first_accepts": pair.ties[0], "first_rejects": pair.ties[1]}
    return table if pair.review is None else {**table, "review": pair.review}


def gauge_table(table: GaugeTable, study: GaugeStudy, tolerance: float | None) -> Table:
    """`gauge.json` as agreed, with more beside it.

    `components`: each variance as estimated, negative ones as they are, with its large-sample standard error and 95 %
    interval; `anova_pooled`: the analysis with the interaction pooled, null where it was kept; `tolerance`: as given.
    With one operator what needs several is null.

    Parameters
    ----------
    table
        The values.
    study
        What `study_gauge` found of them.
    tolerance
        Width in the values' unit; none where none was named.

    Returns
    -------
    Table
        The table, ready for `json_text`.
    """
    p, o, r = table.values.shape
    return {
        "format": 1,
        "method": "anova",
        "parts": p,
        "operators": o,
        "trials": r,
        "variance": dict(study.variance),
        "anova": _anova(study.table),
        "study_percent": None if study.study_percent is None else dict(study.study_percent),
        "tolerance_percent": None if study.tolerance_percent is None else dict(study.tolerance_percent),
        "distinct_categories": study.distinct_categories,
        "interaction_pooled": study.interaction_pooled,
        "components": {
            name: None if one is None else {"value": one.value, "se": one.se, "ci": list(one.ci)}
            for name, one in study.components.items()
        },
        "anova_pooled": None if study.table_pooled is None else _anova(study.table_pooled),
        "tolerance": tolerance,
    }


def _anova(table: TwoWay | OneWay) -> Table:
    lines: dict[str, Line | None] = {"part": table.part}
    if isinstance(table, TwoWay):
        lines |= {"operator": table.operator, "interaction": table.interaction}
    else:
        lines |= {"operator": None, "interaction": None}
    lines |= {"repeatability": table.repeatability, "total": table.total}
    return {
        name: None if one is None else {"ss": one.ss, "df": one.df, "ms": one.ms, "f": one.f, "p": one.p}
        for name, one in lines.items()
    }
