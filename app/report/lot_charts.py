"""Charts of a lot: shares with their intervals, and the course over its trays."""

from collections.abc import Sequence

import numpy as np

from app.report.charts import LEFT, SMALL, Axis, Entry, Frame, axis_of_names, chart, dots, legend, line, whiskers
from app.report.style import ACCENT, MUTED
from app.report.svg import text
from app.studies import OverTime, Share

NAME_LETTERS = 26
PERCENT = 100.0


def shares_chart(shares: Sequence[Share], title: str) -> str:
    """Shares in percent with their 95 % intervals, the first on top; names stand beside their numbers.

    Parameters
    ----------
    shares
        Counts with the share's interval.
    title
        What the chart shows.

    Returns
    -------
    str
        SVG.
    """
    names = [f"{one.name[:NAME_LETTERS]} ({one.count} of {one.of})" for one in shares][::-1]
    ends = [one.share.ci[1] for one in shares if one.share.ci is not None]
    frame = Frame(
        Axis(0.0, PERCENT * max([*ends, 0.01]) * 1.08, "% of pieces, with 95 % interval"),
        axis_of_names([""] * len(names), ""),
        (720.0, 110.0 + 46.0 * len(names)),
    )
    marks: list[str] = []
    for k, (one, name) in enumerate(zip(shares[::-1], names, strict=True)):
        if one.share.value is None or one.share.ci is None:
            continue
        low, high = (PERCENT * end for end in one.share.ci)
        marks.append(whiskers(frame, float(k), low, high, flat=True))
        marks.append(dots(frame, np.array([PERCENT * one.share.value]), np.array([float(k)]), radius=5.0))
        marks.append(_name(frame, k, name))
    return chart(frame, marks, title)


def _name(frame: Frame, k: int, words: str) -> str:
    return text((LEFT + 4.0, frame.y(float(k)) - 12.0), words, fill=MUTED, font_size=SMALL)


def over_time_chart(found: OverTime) -> str:
    """Shares not passed in trays that follow each other, with the p chart's limits; the axis names what a point is.

    Parameters
    ----------
    found
        Groups of trays in order of time.

    Returns
    -------
    str
        SVG.
    """
    points, number = PERCENT * found.chart.points, np.arange(1.0, len(found.chart.points) + 1.0)
    lower, upper = PERCENT * found.chart.lower, PERCENT * found.chart.upper
    most = float(max(upper.max(), points.max(), 1.0))
    frame = Frame(
        Axis(0.5, len(points) + 0.5, f"{point_words(found)}, in the order they were taken", integer=True),
        Axis(0.0, min(1.08 * most, 102.0), "not passed by the camera, %"),
    )
    outside = found.chart.outside
    marks = [
        line(frame, number, PERCENT * found.chart.center, colour=MUTED),
        line(frame, number, upper, dash="8 4", colour=ACCENT),
        line(frame, number, lower, dash="8 4", colour=ACCENT),
        line(frame, number, points),
        dots(frame, number[~outside], points[~outside]),
        dots(frame, number[outside], points[outside], shape="square", colour=ACCENT, radius=5.5),
        legend(
            frame,
            [Entry("share", "disc"), Entry("beyond a limit", "square", colour=ACCENT),
             Entry("limits: outside by chance 1 in 370 at most", dash="8 4", colour=ACCENT)],
        ),
    ]  # fmt: skip
    return chart(frame, marks, f"Share of pieces not passed; {point_words(found)}, as they were taken")


def point_words(found: OverTime) -> str:
    """What a point of the chart over time is: a tray, or how many."""
    least, most = min(found.trays_each), max(found.trays_each)
    if most == 1:
        return "one point a tray"
    return f"one point for {most if least == most else f'{least} or {most}'} trays"
