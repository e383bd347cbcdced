"""Charts of studies as SVG: axes, and marks placed in the data's own units."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import floor, inf, log10
from typing import Literal

import numpy as np

from app.report.style import ACCENT, INK, MUTED, PAPER, RULE
from app.report.svg import document, element, path, text
from vision.records import Array, Pair

SIZE: Pair = (720.0, 400.0)
LEFT, RIGHT, TOP, BOTTOM = 84.0, 22.0, 26.0, 72.0  # margins, px: room for ticks, their numbers and the axes' names
SMALL = 14  # font size, px
TICKS_AT_MOST = 7
DASHES = ("", "8 4", "2 3", "10 3 2 3")
Shape = Literal["disc", "ring", "cross", "square"]
SHAPES: tuple[Shape, ...] = ("disc", "ring", "square", "cross")


@dataclass(frozen=True, slots=True)
class Axis:
    """A stretch of numbers and its name; with `names` the whole numbers 0, 1, ... carry these instead of ticks.

    Of things counted one by one (`integer`) only whole numbers have ticks.
    """

    low: float
    high: float
    title: str
    names: tuple[str, ...] = ()
    integer: bool = False


def axis_of(values: Iterable[float], title: str, *, low: float | None = None, high: float | None = None) -> Axis:
    """An axis with a little room about the finite ones of some values; `low` and `high` fix an end."""
    finite = [value for value in values if np.isfinite(value)]
    least, most = (min(finite), max(finite)) if finite else (0.0, 1.0)
    room = 0.06 * (most - least) or 0.5 * (abs(most) or 1.0)  # where all are 0, an axis of ones: any other has no unit
    return Axis(least - room if low is None else low, most + room if high is None else high, title)


def axis_of_names(names: Sequence[str], title: str) -> Axis:
    """An axis of things by name, at 0, 1, ..."""
    return Axis(-0.6, len(names) - 0.4, title, tuple(names))


@dataclass(frozen=True, slots=True)
class Frame:
    """Two axes, and where a point of the data lies between them, in px."""

    x_axis: Axis
    y_axis: Axis
    size: Pair = SIZE

    def x(self, value: float) -> float:
        """Px from the left, kept within the frame."""
        return LEFT + (self.size[0] - LEFT - RIGHT) * _share(self.x_axis, value)

    def y(self, value: float) -> float:
        """Px from the top, kept within the frame."""
        return TOP + (self.size[1] - TOP - BOTTOM) * (1 - _share(self.y_axis, value))

    def points(self, x: Array, y: Array) -> Array:
        """(n, 2) px of points given by (n,) and (n,)."""
        return np.array([[self.x(a), self.y(b)] for a, b in zip(x, y, strict=True)]).reshape(-1, 2)


def _share(axis: Axis, value: float) -> float:
    return min(max((value - axis.low) / (axis.high - axis.low), 0.0), 1.0)


def chart(frame: Frame, marks: Iterable[str], title: str) -> str:
    """A whole chart; `title` says what it shows, for readers who can't see it."""
    return document(frame.size, [*_scales(frame), *marks], title)


def line(frame: Frame, x: Array, y: Array, *, dash: str = "", colour: str = INK) -> str:
    """A polyline, broken where a value is not finite."""
    seen = np.isfinite(x) & np.isfinite(y)
    placed = np.where(seen[:, None], frame.points(np.where(seen, x, 0.0), np.where(seen, y, 0.0)), np.nan)
    style = {"stroke_dasharray": dash} if dash else {}
    return element("path", d=path(placed), fill="none", stroke=colour, stroke_width=2, stroke_linejoin="round", **style)


def steps(x: Array, y: Array) -> tuple[Array, Array]:
    """Points of a step curve that keeps each value up to the next place."""
    return np.repeat(x, 2)[1:], np.repeat(y, 2)[:-1]


def band(frame: Frame, x: Array, low: Array, high: Array, *, colour: str = MUTED) -> str:
    """The area between two curves."""
    outline = np.vstack([frame.points(x, high), frame.points(x, low)[::-1]])
    return element("path", d=path(outline, closed=True), fill=colour, fill_opacity=0.18, stroke="none")


def dots(frame: Frame, x: Array, y: Array, *, shape: Shape = "disc", colour: str = INK, radius: float = 4.0) -> str:
    """One mark a point."""
    return "".join(_mark((a, b), shape, colour, radius) for a, b in frame.points(x, y))


def _mark(at: Pair, shape: Shape, colour: str, radius: float) -> str:
    x, y, r = at[0], at[1], radius
    match shape:
        case "disc":
            return element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=r, fill=colour)
        case "ring":
            return element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=r, fill=PAPER, stroke=colour, stroke_width=1.6)
        case "square":
            return element("rect", x=f"{x - r:.1f}", y=f"{y - r:.1f}", width=2 * r, height=2 * r, fill=colour)
        case "cross":
            strokes = f"M{x - r:.1f} {y - r:.1f}l{2 * r} {2 * r}m0 {-2 * r}l{-2 * r} {2 * r}"
            return element("path", d=strokes, stroke=colour, stroke_width=1.8, fill="none")


def upright(
    frame: Frame,
    x: float,
    words: str,
    *,
    dash: str = "",
    colour: str = ACCENT,
    to_left: bool = False,
    at_foot: bool = False,
) -> str:
    """A rule across the frame at an abscissa, its words at the top, right of it or left, or at the foot."""
    at = frame.x(x)
    foot = frame.size[1] - BOTTOM
    style = {"stroke_dasharray": dash} if dash else {}
    anchor, shift = ("end", -5.0) if to_left or at > 0.72 * frame.size[0] else ("start", 5.0)
    rule = element("path", d=f"M{at:.1f} {TOP}V{foot}", stroke=colour, stroke_width=1.8, **style)
    return rule + _words((at + shift, foot - 7.0 if at_foot else TOP - 8.0), words, colour, anchor)


def level(frame: Frame, y: float, words: str, *, dash: str = "8 4", colour: str = ACCENT) -> str:
    """A rule across the frame at an ordinate, its words at the right end above it."""
    at = frame.y(y)
    right = frame.size[0] - RIGHT
    style = {"stroke_dasharray": dash} if dash else {}
    rule = element("path", d=f"M{LEFT} {at:.1f}H{right}", stroke=colour, stroke_width=1.6, **style)
    return rule + _words((right - 2.0, at - 6.0), words, colour, "end")


def _words(at: Pair, words: str, colour: str, anchor: str) -> str:
    """Words that may stand over marks: on a rim of paper, so that they stay readable."""
    if not words:
        return ""
    rim = text(
        at, words, fill=PAPER, stroke=PAPER, stroke_width=5, font_size=SMALL, text_anchor=anchor, aria_hidden="true"
    )
    return rim + text(at, words, fill=colour, font_size=SMALL, text_anchor=anchor)


def whiskers(frame: Frame, x: float, low: float, high: float, *, flat: bool = False, colour: str = INK) -> str:
    """An interval at an abscissa; `flat` lays it along x at an ordinate instead. An end beyond the axis has no cap."""
    axis = frame.x_axis if flat else frame.y_axis
    caps = [end for end in (low, high) if axis.low <= end <= axis.high]
    if flat:
        y = frame.y(x)
        strokes = f"M{frame.x(low):.1f} {y:.1f}H{frame.x(high):.1f}"
        strokes += "".join(f"M{frame.x(end):.1f} {y - 5:.1f}v10" for end in caps)
    else:
        at = frame.x(x)
        strokes = f"M{at:.1f} {frame.y(low):.1f}V{frame.y(high):.1f}"
        strokes += "".join(f"M{at - 5:.1f} {frame.y(end):.1f}h10" for end in caps)
    return element("path", d=strokes, stroke=colour, stroke_width=1.8, fill="none")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a legend: words with a mark, or with a stroke (dashed or not)."""

    words: str
    shape: Shape | None = None
    dash: str = ""
    colour: str = INK


def legend(frame: Frame, entries: Sequence[Entry]) -> str:
    """What the marks mean, below the axis' name."""
    parts: list[str] = []
    x, y = LEFT, frame.size[1] - 5.0
    for entry in entries:
        if entry.shape:
            parts.append(_mark((x + 8.0, y - 5.0), entry.shape, entry.colour, 4.0))
        else:
            style = {"stroke_dasharray": entry.dash} if entry.dash else {}
            stroke = f"M{x:.1f} {y - 5:.1f}h26"
            parts.append(element("path", d=stroke, stroke=entry.colour, stroke_width=2, **style))
        lead = 18.0 if entry.shape else 32.0
        parts.append(text((x + lead, y), entry.words, fill=MUTED, font_size=SMALL))
        # 7.4 px: mean width of a letter at this size, generous
        x += lead + 7.4 * len(entry.words) + 18.0
    return "".join(parts)


def ticks(low: float, high: float, at_most: int = TICKS_AT_MOST) -> tuple[list[float], int]:
    """Round numbers between two ends, at steps of 1, 2 or 5 times a power of ten, and their decimals."""
    span = high - low
    power = 10.0 ** floor(log10(span / at_most))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0, inf) if span / (factor * power) <= at_most)
    first, last = int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9))
    return [k * step for k in range(first, last + 1)], max(0, -floor(log10(step) + 1e-9))


def _scales(frame: Frame) -> list[str]:
    width, height = frame.size
    foot = height - BOTTOM
    parts: list[str] = []
    for value, words in _labels(frame.y_axis):
        y = frame.y(value)
        parts.append(element("path", d=f"M{LEFT} {y:.1f}H{width - RIGHT}", stroke=RULE, stroke_width=1))
        parts.append(text((LEFT - 8.0, y + 5.0), words, text_anchor="end", fill=MUTED, font_size=SMALL))
    for value, words in _labels(frame.x_axis):
        x = frame.x(value)
        parts.append(element("path", d=f"M{x:.1f} {foot}v6", stroke=MUTED, stroke_width=1))
        parts.append(text((x, foot + 20.0), words, text_anchor="middle", fill=MUTED, font_size=SMALL))
    parts.append(element("path", d=f"M{LEFT} {foot}H{width - RIGHT}", stroke=MUTED, stroke_width=1))
    middle = (TOP + foot) / 2
    parts.append(
        text(((LEFT + width - RIGHT) / 2, foot + 38.0), frame.x_axis.title, text_anchor="middle", font_size=SMALL)
    )
    parts.append(
        text((16.0, middle), frame.y_axis.title, text_anchor="middle", font_size=SMALL,
             transform=f"rotate(-90 16 {middle:.1f})")
    )  # fmt: skip
    return parts


def _labels(axis: Axis) -> list[tuple[float, str]]:
    if axis.names:
        # Where names are many only some fit; the first always stands.
        every = max(1, -(-len(axis.names) // 24))
        return [(float(k), name[:12]) for k, name in enumerate(axis.names) if k % every == 0]
    places, decimals = ticks(axis.low, axis.high)
    if axis.integer:
        places, decimals = [value for value in places if float(value).is_integer()], 0
    return [(value, f"{value:.{decimals}f}".replace("-", "−")) for value in places]
