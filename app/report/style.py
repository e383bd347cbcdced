"""The look of every picture and report: few colours, and a sign for each verdict so that no colour stands alone.

One accent colour marks what a person must look at; everything else is ink on paper. A sign is a frame (closed) and
strokes (open), polylines in a box from -1 to 1, x to the right, y down: a raster picture and an SVG draw the same.
"""

import math
from dataclasses import dataclass

from vision.records import Pair, Verdict

INK = "#1d2730"
MUTED = "#5a6670"
RULE = "#c9d0d6"
WASH = "#f2f4f5"
PAPER = "#ffffff"
ACCENT = "#c2410c"  # 5.2 to 1 against paper (WCAG 2 asks 4.5 for text)


@dataclass(frozen=True, slots=True)
class Sign:
    """A verdict's mark: its word, its frame and the strokes inside it."""

    word: str
    frame: tuple[Pair, ...]
    strokes: tuple[tuple[Pair, ...], ...]
    flagged: bool


def _ring(corners: int, turn_deg: float) -> tuple[Pair, ...]:
    angles = (math.radians(turn_deg + 360.0 * k / corners) for k in range(corners))
    return tuple((math.cos(a), math.sin(a)) for a in angles)


def _hook() -> tuple[Pair, ...]:
    """The bow of a question mark: three quarters of a circle, then down."""
    bow = ((0.30 * math.cos(a), -0.14 + 0.30 * math.sin(a)) for a in (math.radians(d) for d in range(-180, 91, 15)))
    return (*bow, (0.0, 0.32))


SIGNS: dict[Verdict, Sign] = {
    "pass": Sign("pass", _ring(36, 0.0), (((-0.42, 0.02), (-0.10, 0.34), (0.44, -0.32)),), flagged=False),
    "review": Sign("review", _ring(4, 0.0), (_hook(), ((0.0, 0.50), (0.0, 0.52))), flagged=True),
    "reject": Sign(
        "reject",
        _ring(8, 22.5),
        (((-0.36, -0.36), (0.36, 0.36)), ((-0.36, 0.36), (0.36, -0.36))),
        flagged=True,
    ),
}


def bgr(colour: str) -> tuple[int, int, int]:
    """A colour written `#rrggbb`, as OpenCV takes it."""
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    return blue, green, red
