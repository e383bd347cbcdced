"""Charts of a die: where it wears, the trend with its band, and the places where marks come back."""

import numpy as np

from app.report.charts import Entry, Frame, axis_of, band as shaded, chart, dots, legend, level, line, upright
from app.report.deviation_outline import Style, draw_outline, hatching, magnification
from app.report.style import ACCENT, INK, MUTED, PAPER, RULE
from app.report.svg import document, element, path, text
from app.report.upright import outward_normals, window_around
from app.statistics import Chart, Cusum, Place
from app.studies import PER_STROKES, DieCharts, DieWear
from vision.geometry import points_at
from vision.records import Array, DeviationProfile, Part

WIDTH_PX, MARGIN_MM = 1000.0, 6.0
THOUSAND = 1000.0
MICRONS = 1000.0  # in a millimetre
AHEAD = 0.35  # of the strokes seen, that the trend is drawn further


def wear_map_picture(wear: DieWear, part: Part) -> str:
    """The outline upright with the rate of wear drawn large; only what is no chance is drawn.

    Parameters
    ----------
    wear
        Of one die.
    part
        The part, its outline in mm.

    Returns
    -------
    str
        SVG.
    """
    assert wear.map is not None
    rate = np.where(wear.map.worn, wear.map.rate_mm, 0.0)
    nominal = points_at(part.outline, wear.history.s_mm)
    profile = DeviationProfile(wear.history.s_mm, nominal, nominal, np.where(np.isfinite(rate), rate, np.nan))
    window = window_around(part.outline, MARGIN_MM, WIDTH_PX)
    times = magnification(profile.deviation_mm)
    name = f"hatch-{wear.history.die}"
    parts = [
        hatching(name),
        *draw_outline(profile, part, (), window, Style(times, name)),
        *_largest(rate, nominal, window.to_px(nominal), times * window.px_per_mm),
    ]
    width, height = window.size_px
    words = f"Wear of die {wear.history.die} along the outline, drawn {times} times larger"
    return document((float(width), float(height)), parts, words)


def _largest(rate: Array, nominal: Array, drawn: Array, px_per_mm: float) -> list[str]:
    """The largest rate outward and inward, in figures beside the place."""
    normals = outward_normals(nominal) * np.array([1.0, -1.0])
    parts = []
    for k, side in ((int(np.nanargmax(rate)), 1.0), (int(np.nanargmin(rate)), -1.0)):
        if side * rate[k] > 0.0:
            # Its baseline half a letter below the place, so that the words clear the band above and below alike.
            at = drawn[k] + normals[k] * (px_per_mm * max(rate[k], 0.0) + 22.0) + np.array([0.0, 5.0])
            words = f"{rate[k]:+.3f} mm".replace("-", "−")
            parts.append(text((at[0], at[1]), words, text_anchor="middle", fill=ACCENT, font_size=15, font_weight=700))
    return parts


def trend_chart(wear: DieWear) -> str:
    """The zone's mean deviation tray by tray, breaks, the trend since the last one, its band, and the limit.

    Parameters
    ----------
    wear
        Of one die.

    Returns
    -------
    str
        SVG.
    """
    strokes, values = wear.history.strokes / THOUSAND, wear.values
    ahead = float(strokes.max() + AHEAD * max(np.ptp(strokes), 1.0))
    seen = np.isfinite(values)
    since = np.arange(len(values)) >= wear.since
    shown = [*values[seen], 0.0] + ([] if wear.limit_mm is None else [wear.limit_mm])
    frame = Frame(
        axis_of([float(strokes.min()), ahead], "strokes, thousands"),
        axis_of(shown, f"mean deviation of the {wear.zone}, mm"),
    )
    marks = [level(frame, 0.0, "as drawn", dash="", colour=MUTED)]
    if wear.limit_mm is not None:
        marks.append(level(frame, wear.limit_mm, "limit"))
    if wear.trend is not None:
        x = np.linspace(float(strokes[wear.since]), ahead, 60)
        line_at, reach = wear.trend.value(x * THOUSAND), wear.trend.reach(x * THOUSAND)
        within = (line_at + reach <= frame.y_axis.high) & (line_at - reach >= frame.y_axis.low)
        x, line_at, reach = x[within], line_at[within], reach[within]
        marks += [shaded(frame, x, line_at - reach, line_at + reach), line(frame, x, line_at, colour=ACCENT)]
    marks.append(dots(frame, strokes[seen & ~since], values[seen & ~since], shape="ring"))
    marks.append(dots(frame, strokes[seen & since], values[seen & since]))
    marks += [upright(frame, at / THOUSAND, words, dash="2 4") for at, words in _steps(wear)]
    marks += [upright(frame, at / THOUSAND, "regrind or change", dash="4 4") for at in wear.breaks]
    entries = [Entry("a tray", "disc")]
    if wear.since:
        entries.append(Entry("before the change", "ring"))
    if wear.trend is not None:
        entries.append(Entry("trend and 95 % band of one more tray", colour=ACCENT))
    return chart(frame, [*marks, legend(frame, entries)], f"Deviation of die {wear.history.die} against strokes")


def _steps(wear: DieWear) -> list[tuple[float, str]]:
    """Strokes at which another station or calibration begins, since the last change, and its name."""
    names, strokes = wear.history.factors, wear.history.strokes
    begins = [k for k in range(wear.since + 1, len(names)) if names[k] != names[k - 1]]
    return [((strokes[k - 1] + strokes[k]) / 2, names[k]) for k in begins]


def step_words(wear: DieWear) -> str:
    """What other stations and calibrations read higher than the newest, in words; empty where there is one alone."""
    steps = () if wear.trend is None else wear.trend.steps
    said = [f"{one.name} reads {one.height:+.4f} mm ({one.ci[0]:+.4f} to {one.ci[1]:+.4f})" for one in steps]
    return f"; against {wear.history.factors[-1]} {', '.join(said)}".replace("-", "−") if said else ""


def control_charts(found: DieCharts) -> tuple[tuple[str, str], ...]:
    """All control charts of a die, each with what it shows in words.

    Parameters
    ----------
    found
        Of one die.

    Returns
    -------
    tuple[tuple[str, str], ...]
        SVG and words of each.
    """
    return (
        (control_chart(_in_microns(found.single), "Single trays", "off the trend, µm"), "Single trays about the trend"),
        (control_chart(_in_microns(found.mean), "Weighted mean", "weighted mean, µm"), "Weighted mean about the trend"),
        (cusum_chart(found.sums), "Cumulative sums about the trend"),
        (control_chart(found.marks, "Burrs and nicks a piece", "burrs and nicks a piece"), "Burrs and nicks a piece"),
        (control_chart(found.marked, "Pieces marked", "share of pieces with a mark"), "Share of pieces with a mark"),
    )


def _in_microns(found: Chart) -> Chart:
    return Chart(*(MICRONS * part for part in (found.points, found.center, found.lower, found.upper)))


def cusum_chart(found: Cusum) -> str:
    """Cumulative sums over trays: what lies above the trend upwards, what lies below it downwards."""
    number = np.arange(1.0, len(found.high) + 1.0)
    high, low, limit = MICRONS * found.high, MICRONS * found.low, MICRONS * found.limit
    frame = Frame(
        axis_of([0.5, len(number) + 0.5], "trays in order of strokes"),
        axis_of([*high, *-low, limit, -limit], "cumulative sum, µm"),
    )
    marks = [line(frame, number, np.zeros(len(number)), colour=MUTED)]
    for side, sums in ((1.0, high), (-1.0, low)):
        out = sums > limit
        marks += [
            line(frame, number, np.full(len(number), side * limit), dash="8 4", colour=ACCENT),
            line(frame, number, side * sums),
            dots(frame, number[~out], side * sums[~out], radius=3.2),
            dots(frame, number[out], side * sums[out], shape="square", colour=ACCENT, radius=5.0),
        ]
    marks.append(_control_legend(frame))
    return chart(frame, marks, "Cumulative sums")


def _control_legend(frame: Frame) -> str:
    return legend(frame, [Entry("beyond a limit", "square", colour=ACCENT), Entry("limits", dash="8 4", colour=ACCENT)])


def control_chart(found: Chart, title: str, axis: str) -> str:
    """A control chart over trays: points, centre, limits, and points outside as squares."""
    number = np.arange(1.0, len(found.points) + 1.0)
    seen = [*found.points, *found.lower, *found.upper]
    frame = Frame(axis_of([0.5, len(number) + 0.5], "trays in order of strokes"), axis_of(seen, axis))
    out = found.outside
    marks = [
        line(frame, number, found.center, colour=MUTED),
        line(frame, number, found.upper, dash="8 4", colour=ACCENT),
        line(frame, number, found.lower, dash="8 4", colour=ACCENT),
        line(frame, number, found.points),
        dots(frame, number[~out], found.points[~out], radius=3.2),
        dots(frame, number[out], found.points[out], shape="square", colour=ACCENT, radius=5.0),
        _control_legend(frame),
    ]
    return chart(frame, marks, title)


def places_picture(places: list[Place], part: Part) -> str:
    """The outline with the places where marks come back, lettered as in the table.

    Parameters
    ----------
    places
        Centres in mm on the drawing.
    part
        The part, its outline in mm.

    Returns
    -------
    str
        SVG.
    """
    window = window_around(part.outline, MARGIN_MM, WIDTH_PX)
    width, height = window.size_px
    rings = "".join(path(window.to_px(ring), closed=True) for ring in (part.outline, *part.holes))
    parts = [element("path", d=rings, fill=PAPER, stroke=INK, stroke_width=1.4)]
    for k, place in enumerate(places):
        x, y = window.to_px(np.array([[place.x_mm, place.y_mm]]))[0]
        parts.append(element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=9, fill="none", stroke=ACCENT, stroke_width=2.4))
        parts.append(text((x + 13.0, y + 5.0), letter(k), fill=ACCENT, font_size=17, font_weight=700))
    parts.append(element("rect", x=0.5, y=0.5, width=width - 1, height=height - 1, fill="none", stroke=RULE))
    return document((float(width), float(height)), parts, "Places where marks come back, lettered as in the table")


def letter(k: int) -> str:
    """A, B, ..., Z, then AA, AB, ...

    Parameters
    ----------
    k
        From 0.

    Returns
    -------
    str
        One letter or more.
    """
    return (letter(k // 26 - 1) if k >= 26 else "") + chr(ord("A") + k % 26)


def rate_words(wear: DieWear) -> str:
    """The trend's rate in `PER_STROKES` with its interval, in words.

    Parameters
    ----------
    wear
        Of one die.

    Returns
    -------
    str
        A sentence, in mm.
    """
    if wear.trend is None:
        return "too few trays for a trend"
    low, high = (PER_STROKES * end for end in wear.trend.slope_ci)
    said = f"{PER_STROKES * wear.trend.slope:+.4f} mm in {PER_STROKES:,.0f} strokes ({low:+.4f} to {high:+.4f})"
    return said.replace("-", "−").replace(",", " ") + step_words(wear)
