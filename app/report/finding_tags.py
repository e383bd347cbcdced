"""Tags that name findings in a drawing, each led to where there is room for it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from app.report.finding_words import finding_tag
from app.report.style import INK, PAPER
from app.report.svg import element, group, path, text
from vision.decide import MEASURES
from vision.records import Array, BendFinding, EdgeFinding, Finding, JudgedPiece, Limits, Pair

LETTERS = "ABCDEFGH"  # findings that get a tag of their own; the rest stands in the list of results
HEIGHT = 26.0
LETTER_PX = 8.2  # mean width of a letter at 14 px; a little too much, so that words never overflow
CLEAR_PX = 7.0  # kept free around what is named
REACHES = (44.0, -48.0, 74.0, -78.0, 104.0, 134.0)  # px along the outward normal that are tried, the nearest first
_OUTLINE = tuple(name for name, one in MEASURES.items() if one.station_part == "deviation")
ASIDE = (0.0, 0.7, -0.7, 1.4, -1.4)  # widths of the tag to either side


@dataclass(frozen=True, slots=True, eq=False)
class Anchor:
    """Whose tag: the outline's point `foot`, the drawn deviation's `tip`, and `away`, outward from it; px."""

    finding: Finding
    foot: Array
    tip: Array
    away: Array


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle, px."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        """Whether two rectangles share room."""
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom


def worth_drawing(judged: JudgedPiece, limits: Limits) -> tuple[Finding, ...]:
    """A piece's findings without outline findings too small to matter for any limit, which would crowd a picture.

    One on which a reason rests is drawn, however small; results list all.
    """
    outline = [one.max for one in limits.limits if one.measure in _OUTLINE and one.max is not None]
    half = min(map(abs, outline), default=0.0) / 2.0
    least_mm = half if limits.drawn_from_mm is None else limits.drawn_from_mm
    named = {index for reason in judged.reasons for index in reason.findings}
    return tuple(
        one
        for index, one in enumerate(judged.findings)
        if index in named
        or not isinstance(one, EdgeFinding)
        or max(abs(one.height_mm), abs(one.deviation_mm)) >= least_mm
    )


def tagged(findings: Iterable[Finding]) -> list[EdgeFinding | BendFinding]:
    """The outline findings that get a tag: a bend before all others, then the highest or deepest first."""

    def size(finding: EdgeFinding | BendFinding) -> float:
        return abs(finding.height_mm) if isinstance(finding, EdgeFinding) else float("inf")

    outline = (f for f in findings if isinstance(f, EdgeFinding | BendFinding))
    return list(islice(sorted(outline, key=size, reverse=True), len(LETTERS)))


def draw_tags(anchors: Sequence[Anchor], within: tuple[int, int]) -> list[str]:
    """A lettered tag with its value for each anchor, inside a picture of the size `within`."""
    taken = [_around(anchor) for anchor in anchors]
    parts: list[str] = []
    for letter, anchor in zip(LETTERS, anchors, strict=False):
        words = f"{letter}  {finding_tag(anchor.finding)}"
        box = _room_for((LETTER_PX * len(words) + 12.0, HEIGHT), anchor, taken, within)
        taken.append(box)
        parts.append(_tag(words, anchor, box))
    return parts


def _tag(words: str, anchor: Anchor, box: Box) -> str:
    x, y = float(anchor.foot[0]), float(anchor.foot[1])
    middle = ((box.left + box.right) / 2, (box.top + box.bottom) / 2)
    place = {"x": f"{box.left:.1f}", "y": f"{box.top:.1f}", "width": f"{box.right - box.left:.1f}", "height": HEIGHT}
    return group(
        [
            element("path", d=path([(x, y), middle]), stroke=INK, stroke_width=1.2),
            element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=3.5, fill=INK),
            element("rect", **place, rx=5, fill=PAPER, stroke=INK, stroke_width=1.2),
            text((middle[0], middle[1] + 5.0), words, text_anchor="middle", font_size=14, font_weight=600),
        ]
    )


def _around(anchor: Anchor) -> Box:
    """The room that a drawn deviation takes itself."""
    low = np.minimum(anchor.foot, anchor.tip) - CLEAR_PX
    high = np.maximum(anchor.foot, anchor.tip) + CLEAR_PX
    return Box(float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _room_for(size: Pair, anchor: Anchor, taken: Sequence[Box], within: tuple[int, int]) -> Box:
    """The first free place along the normal, then to its sides; the middle of the picture where none is free."""
    along = np.array([-anchor.away[1], anchor.away[0]])
    boxes = [
        _box(anchor.foot + reach * anchor.away + aside * size[0] * along, size) for reach in REACHES for aside in ASIDE
    ]
    inside = (
        box for box in boxes if box.left >= 0 and box.top >= 0 and box.right <= within[0] and box.bottom <= within[1]
    )
    middle = np.array([within[0] / 2, within[1] / 2])
    return next((box for box in inside if not any(box.meets(other) for other in taken)), _box(middle, size))


def _box(center: Array, size: Pair) -> Box:
    x, y = float(center[0]), float(center[1])
    return Box(x - size[0] / 2, y - size[1] / 2, x + size[0] / 2, y + size[1] / 2)
