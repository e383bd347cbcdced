"""The report of a gauge study: how much of what is seen comes from measuring."""

from math import sqrt

import numpy as np

from app.report.charts import (
    DASHES,
    SHAPES,
    Axis,
    Entry,
    Frame,
    axis_of,
    axis_of_names,
    chart,
    dots,
    legend,
    line,
    whiskers,
)
from app.report.study_page import render
from app.report.style import INK, MUTED
from app.statistics import Line, OneWay, TwoWay
from app.studies import GaugeStudy, GaugeTable, Source
from vision.records import Array

NAMES: dict[Source, str] = {
    "repeatability": "repeatability (the same again)",
    "operator": "operator",
    "interaction": "operator by part",
    "reproducibility": "reproducibility (operator and operator by part)",
    "gauge": "gauge, all together",
    "part": "part to part",
    "total": "total",
}


def gauge_page(table: GaugeTable, study: GaugeStudy, tolerance: float | None, source: str) -> str:
    """The report as HTML that stands alone.

    Parameters
    ----------
    table
        The values.
    study
        What the study found.
    tolerance
        Width in the values' unit; none where none was named.
    source
        Names the table.

    Returns
    -------
    str
        HTML.
    """
    several = len(table.operators) > 1
    return render(
        "study_gauge.html",
        {
            "table": table,
            "study": study,
            "tolerance": tolerance,
            "source": source,
            "several": several,
            "rows": [(name, words) for name, words in NAMES.items() if study.variance[name] is not None],
            "analyses": [
                (title, _lines(one))
                for title, one in (
                    ("With the interaction", study.table),
                    ("With the interaction pooled into repeatability", study.table_pooled),
                )
                if one is not None
            ],
            "spread": {name: None if v is None else sqrt(v) for name, v in study.variance.items()},
            "by_part": part_chart(table),
            "by_operator": _by_operator(table) if several else "",
            "interaction": interaction_chart(table) if several else "",
            "components": components_chart(study) if study.study_percent else "",
        },
    )


def _lines(table: TwoWay | OneWay) -> list[tuple[str, Line]]:
    lines = [("part", table.part)]
    if isinstance(table, TwoWay):
        lines.append(("operator", table.operator))
        if table.interaction is not None:
            lines.append(("operator by part", table.interaction))
    return [*lines, ("repeatability", table.repeatability), ("total", table.total)]


def _flat(values: Array) -> list[float]:
    return [float(value) for value in values.ravel()]


def _entries(table: GaugeTable) -> list[Entry]:
    return [Entry(name, SHAPES[k % len(SHAPES)]) for k, name in enumerate(table.operators)]


def part_chart(table: GaugeTable) -> str:
    """Every value over its part, operators by shape; the parts' means joined.

    Parameters
    ----------
    table
        The values.

    Returns
    -------
    str
        SVG.
    """
    parts, operators, trials = table.values.shape
    frame = Frame(axis_of_names(table.parts, "part"), axis_of(_flat(table.values), "value"))
    marks = [line(frame, np.arange(parts, dtype=np.float64), table.values.mean(axis=(1, 2)), colour=MUTED)]
    for j in range(operators):
        x = np.repeat(np.arange(parts, dtype=np.float64), trials) + (j - (operators - 1) / 2) * 0.2
        marks.append(dots(frame, x, table.values[:, j, :].ravel(), shape=SHAPES[j % len(SHAPES)], radius=3.2))
    return chart(
        frame, [*marks, legend(frame, _entries(table))], "Every value by part; the line joins the parts' means"
    )


def _by_operator(table: GaugeTable) -> str:
    """Each operator's deviations from the parts' means, so that the parts' own spread does not hide them."""
    residual = table.values - table.values.mean(axis=(1, 2), keepdims=True)
    parts, operators, trials = residual.shape
    frame = Frame(axis_of_names(table.operators, "operator"), axis_of(_flat(residual), "value − mean of its part"))
    marks = [line(frame, np.arange(operators, dtype=np.float64), residual.mean(axis=(0, 2)), colour=MUTED)]
    for j in range(operators):
        x = j + np.repeat(np.linspace(-0.25, 0.25, parts), trials)
        marks.append(dots(frame, x, residual[:, j, :].ravel(), shape=SHAPES[j % len(SHAPES)], radius=3.2))
    return chart(frame, marks, "Deviations from the parts' means by operator; the line joins the operators' means")


def interaction_chart(table: GaugeTable) -> str:
    """Each operator's mean of each part, the part's mean taken off: lines that cross show an interaction.

    Parameters
    ----------
    table
        The values.

    Returns
    -------
    str
        SVG.
    """
    means = table.values.mean(axis=2)
    apart = means - means.mean(axis=1, keepdims=True)
    x = np.arange(len(table.parts), dtype=np.float64)
    frame = Frame(axis_of_names(table.parts, "part"), axis_of(_flat(apart), "operator's mean − part's mean"))
    marks: list[str] = []
    for j in range(len(table.operators)):
        marks.append(line(frame, x, apart[:, j], dash=DASHES[j % len(DASHES)]))
        marks.append(dots(frame, x, apart[:, j], shape=SHAPES[j % len(SHAPES)]))
    return chart(
        frame, [*marks, legend(frame, _entries(table))], "Operators' means by part, the parts' means taken off"
    )


def components_chart(study: GaugeStudy) -> str:
    """Standard deviations with their intervals, in percent of the total's.

    Parameters
    ----------
    study
        What the study found.

    Returns
    -------
    str
        SVG.
    """
    total = sqrt(study.variance["total"] or 0.0)
    names = [name for name in NAMES if name != "total" and study.components[name] is not None]
    shares: list[tuple[float, float, float]] = []
    for name in names:
        found = study.components[name]
        assert found is not None
        value, (low, high) = max(found.value, 0.0), found.ci
        shares.append((100 * sqrt(value) / total, 100 * sqrt(low) / total, 100 * sqrt(high) / total))
    # The intervals of few operators are endless; the axis shows what is of use and lets them run out.
    most = max(120.0, *(1.2 * value for value, _, _ in shares))
    frame = Frame(
        Axis(0.0, most, "% of the total standard deviation, with 95 % interval"),
        axis_of_names([_short(name) for name in names[::-1]], ""),
        (720.0, 110.0 + 34.0 * len(names)),
    )
    marks: list[str] = []
    for k, (value, low, high) in enumerate(shares[::-1]):
        marks.append(whiskers(frame, float(k), low, high, flat=True, colour=INK))
        marks.append(dots(frame, np.array([value]), np.array([float(k)]), radius=5.0))
    return chart(frame, marks, "Standard deviations by source, with 95 % intervals")


def _short(name: Source) -> str:
    return {"repeatability": "repeat", "reproducibility": "reproduce"}.get(name, name)
