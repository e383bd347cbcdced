"""The report of one setting tuned on a sample lot: what it catches, what it scraps, what it promises."""

from collections.abc import Sequence

import numpy as np

from app.report.charts import (
    Axis,
    Entry,
    Frame,
    axis_of,
    band,
    chart,
    dots,
    legend,
    level,
    line,
    steps,
    upright,
)
from app.report.risk_charts import risks_html
from app.report.study_page import Pictured, ReportFolders, pictured, render
from app.report.style import ACCENT, INK, MUTED
from app.report.words import measure_words
from app.statistics import Estimate, RocCurve
from app.studies import Change, Changes, LotRisks, Rates, Sample, Target, TuningStudy
from vision.records import Array, TrayResult

CHANGED_AT_MOST, PICTURES_AT_MOST = 60, 20
"""Changed pieces that the page names, and of which it shows pictures; `tuning.json` names all."""

JITTER = 0.32
"""Half the height over which points of one verdict are spread so that they don't hide each other."""


def tuning_page(
    study: TuningStudy,
    samples: Sequence[Sample],
    trays: Sequence[TrayResult],
    report_folders: ReportFolders,
    risks: LotRisks,
) -> str:
    """The report as HTML that stands alone, with pictures of the pieces that change.

    Parameters
    ----------
    study
        What the study found.
    samples
        What people said, by round.
    trays
        Results of the trays that were studied.
    report_folders
        Where pictures lie and what links to them.
    risks
        Of the limits now.

    Returns
    -------
    str
        HTML.
    """
    tuning = study.tuning
    points = (("recommended", tuning.at_recommended), ("now", tuning.now))
    return render(
        "study_tuning.html",
        {
            "study": study,
            "samples": samples,
            "tuning": tuning,
            "target": study.target,
            "task": study.task,
            "trays": trays,
            "lots": sorted({tray.lot for tray in trays if tray.lot}),
            "rows": [(name, one) for name, one in points if one is not None],
            "area": study.area,
            "changes": study.changes,
            "changed": [] if study.changes is None else _changed(study.changes, report_folders),
            "distribution_chart": distribution_chart(study),
            "roc_chart": "" if study.roc is None else _roc(study.roc),
            "rates_chart": setting_rates_chart(study) if tuning.curve else "",
            "risks": risks_html(risks),
            "cost_chart": _cost(study) if study.task.costs and tuning.curve else "",
        },
    )


def _changed(changes: Changes, report_folders: ReportFolders) -> list[tuple[Change, Pictured]]:
    shown = changes.changed[:CHANGED_AT_MOST]
    return [(one, pictured(report_folders, one.key, embed=k < PICTURES_AT_MOST)) for k, one in enumerate(shown)]


def _axis_title(target: Target) -> str:
    words = measure_words(target.name)
    place = f", {target.zone}" if target.zone else ""
    return f"{words.title}{place}{f', {words.unit}' if words.unit else ''}"


def _marked(study: TuningStudy, frame: Frame, here: float | None = None) -> list[str]:
    """Rules at the settings of interest; `here`, the one being tried, has its words at the foot, clear of theirs."""
    marks: list[str] = []
    setting = study.tuning.recommended.setting
    now = study.tuning.now
    if now is not None and now.rates.setting != setting:
        left = setting is not None and now.rates.setting < setting
        words = f"now {now.rates.setting:g}"
        marks.append(upright(frame, now.rates.setting, words, dash="6 4", colour=MUTED, to_left=left))
    if setting is not None:
        marks.append(upright(frame, setting, f"recommended {setting:g}"))
    if here is not None and here not in _settings_of(study, None):
        marks.append(upright(frame, here, f"slider {here:g}", dash="2 3", colour=INK, at_foot=True))
    return marks


def _shown(study: TuningStudy, here: float | None = None) -> list[float]:
    """Numbers that an axis of settings must hold."""
    return [rates.setting for rates in study.tuning.curve] + _settings_of(study, here)


def _settings_of(study: TuningStudy, here: float | None) -> list[float]:
    found = [one.rates.setting for one in (study.tuning.now, study.tuning.at_recommended) if one is not None]
    return found if here is None else [*found, here]


def distribution_chart(study: TuningStudy, here: float | None = None) -> str:
    """Values of the pieces that people accept and of those that they reject, with the settings of interest.

    Parameters
    ----------
    study
        What the study found.
    here
        A setting being tried, in the measure's own unit; none: nothing is.

    Returns
    -------
    str
        SVG.
    """
    value, bad = study.sample.sweep.value, study.sample.bad
    seen = np.isfinite(value)
    frame = Frame(
        axis_of([*value[seen].tolist(), *_settings_of(study, here)], _axis_title(study.target)),
        Axis(-0.6, 1.6, "", ("accepted", "rejected")),
        (720.0, 260.0),
    )
    # The golden ratio's multiples spread evenly and always the same way.
    spread = JITTER * (2 * np.mod(np.arange(len(value)) * 0.6180339887, 1.0) - 1)
    marks = []
    for row, these in ((0.0, seen & study.sample.good), (1.0, seen & bad)):
        colour = ACCENT if row else INK
        marks.append(dots(frame, value[these], row + spread[these], shape="ring", radius=2.6, colour=colour))
    title = "Values of the pieces that people accept and of those that they reject"
    return chart(frame, [*marks, *_marked(study, frame, here)], title)


def _roc(curve: RocCurve) -> str:
    frame = Frame(
        Axis(0.0, 100.0, "% of accepted pieces called bad"),
        Axis(0.0, 100.0, "% of rejected pieces called bad"),
        (460.0, 440.0),
    )
    marks = [
        line(frame, np.array([0.0, 100.0]), np.array([0.0, 100.0]), dash="2 4", colour=MUTED),
        line(frame, 100 * curve.false_alarm, 100 * curve.detected),
    ]
    return chart(frame, marks, "ROC curve of the measure alone")


def _column(rates: Sequence[Rates], name: str) -> tuple[Array, Array, Array]:
    found: list[Estimate] = [getattr(one, name) for one in rates]
    value = [np.nan if one.value is None else 100 * one.value for one in found]
    ends = [(np.nan, np.nan) if one.ci is None else (100 * one.ci[0], 100 * one.ci[1]) for one in found]
    low, high = np.array(ends, dtype=np.float64).T
    return np.array(value), low, high


def setting_rates_chart(study: TuningStudy, here: float | None = None) -> str:
    """Missed, false alarms and reviews against the setting.

    Parameters
    ----------
    study
        What the study found.
    here
        A setting being tried, in the measure's own unit; none: nothing is.

    Returns
    -------
    str
        SVG.
    """
    curve = sorted(study.tuning.curve, key=lambda one: one.setting)
    settings = np.array([one.setting for one in curve])
    settings_axis = axis_of(_shown(study, here), f"limit on {_axis_title(study.target)}")
    frame = Frame(settings_axis, Axis(0.0, 100.0, "% of that class"))
    marks: list[str] = []
    for name, dash, colour in (("missed", "", ACCENT), ("false_alarm", "8 4", INK)):
        value, low, high = _column(curve, name)
        if np.isnan(value).all():
            continue
        x, y = steps(settings, value)
        _, y_low = steps(settings, low)
        _, y_high = steps(settings, high)
        marks += [band(frame, x, y_low, y_high, colour=colour), line(frame, x, y, dash=dash, colour=colour)]
    reviewed = np.array([100 * one.reviewed for one in curve])
    marks.append(line(frame, *steps(settings, reviewed), dash="2 3", colour=MUTED))
    bound = 100 * study.task.promise.max_missed
    marks.append(level(frame, bound, f"bound on missed {bound:g} %"))
    entries = [
        Entry("missed", None, "", ACCENT),
        Entry("false alarm", None, "8 4"),
        Entry("in review", None, "2 3", MUTED),
    ]
    title = "Missed, false alarms and reviews against the limit, with 95 % intervals"
    return chart(frame, [*marks, *_marked(study, frame, here), legend(frame, entries)], title)


def _cost(study: TuningStudy) -> str:
    curve = sorted(study.tuning.curve, key=lambda one: one.setting)
    settings = np.array([one.setting for one in curve])
    cost = np.array([np.nan if one.cost is None else one.cost for one in curve])
    frame = Frame(
        axis_of(_shown(study), f"limit on {_axis_title(study.target)}"),
        axis_of(cost.tolist(), "expected cost a piece", low=0.0),
        (720.0, 320.0),
    )
    title = "Expected cost a piece of production against the limit"
    return chart(frame, [line(frame, *steps(settings, cost)), *_marked(study, frame)], title)
