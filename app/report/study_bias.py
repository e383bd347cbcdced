"""The report of a measuring system against reference pieces: bias over their range and over time."""

import numpy as np

from app.report.charts import Frame, axis_of, band, chart, dots, level, line, whiskers
from app.report.study_page import render
from app.report.style import ACCENT, INK
from app.studies import BiasStudy, MeasuringSystem, Stability
from vision.records import Array


def bias_page(study: BiasStudy, held: MeasuringSystem | None, source: str) -> str:
    """The report as HTML that stands alone.

    Parameters
    ----------
    study
        What the study found.
    held
        The system against a tolerance; none where no tolerance was named.
    source
        Names the table.

    Returns
    -------
    str
        HTML.
    """
    return render(
        "study_bias.html",
        {
            "study": study,
            "held": held,
            "source": source,
            "range_chart": range_chart(study),
            "time_chart": "" if study.stability is None else time_chart(study.stability),
        },
    )


def range_chart(study: BiasStudy) -> str:
    """Bias of each reference piece with its interval, and the line with its band.

    Parameters
    ----------
    study
        What the study found.

    Returns
    -------
    str
        SVG.
    """
    reference = study.readings.reference
    value = np.array([one.bias.value for one in study.pieces], dtype=np.float64)
    ends = np.array([one.bias.ci for one in study.pieces], dtype=np.float64)
    x = np.linspace(float(reference.min()), float(reference.max()), 61)
    shown = [0.0, *ends.ravel().tolist()]
    marks: list[str] = []
    frame = Frame(axis_of(reference.tolist(), "reference value"), axis_of(shown, "bias, same units"))
    if study.linearity is not None:
        y, reach = study.linearity.line.value(x), study.linearity.reach(x)
        marks += [band(frame, x, y - reach, y + reach), line(frame, x, y)]
    marks.append(level(frame, 0.0, "no bias"))
    for at, one, (low, high) in zip(reference.tolist(), study.pieces, ends.tolist(), strict=True):
        marks.append(whiskers(frame, at, low, high, colour=ACCENT if one.significant else INK))
    marks.append(dots(frame, reference, value))
    return chart(frame, marks, "Bias over the reference values, with 95 % intervals")


def time_chart(found: Stability) -> str:
    """Means of the sittings over the days, the drift's line and where a sitting lies off it.

    Parameters
    ----------
    found
        Means of the sittings and their drift, in the unit of the readings.

    Returns
    -------
    str
        SVG.
    """
    shown: list[Array] = [found.mean]
    x = np.linspace(float(found.days.min()), float(found.days.max()), 61)
    if found.found is not None:
        y, reach = found.found.value(x), found.found.reach(x)
        shown += [y - reach, y + reach]
    frame = Frame(
        axis_of(found.days.tolist(), "days since the first sitting"),
        axis_of(np.concatenate(shown).tolist(), "mean of the sitting, pieces' bias off"),
    )
    marks: list[str] = []
    if found.found is not None:
        marks += [band(frame, x, y - reach, y + reach), line(frame, x, y)]
    marks.append(dots(frame, found.days[~found.outside], found.mean[~found.outside]))
    marks.append(dots(frame, found.days[found.outside], found.mean[found.outside], shape="cross", colour=ACCENT))
    return chart(frame, marks, "Sittings over time, with the band of 95 % of one more sitting")
