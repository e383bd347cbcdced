"""Pieces of SVG as text: just what our drawings need."""

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from app.report.style import ACCENT, INK, MUTED, PAPER, Sign
from vision.records import Array, Pair

FONT = "system-ui, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif"


def attributes(values: dict[str, object]) -> str:
    """Attributes of an element; an underscore in a name stands for a hyphen."""
    return "".join(f' {name.rstrip("_").replace("_", "-")}="{escape(str(value))}"' for name, value in values.items())


def element(name: str, **values: object) -> str:
    """An element without content."""
    return f"<{name}{attributes(values)}/>"


def group(parts: Iterable[str], **values: object) -> str:
    """Elements that share their attributes."""
    return f"<g{attributes(values)}>{''.join(parts)}</g>"


def text(at: Pair, words: str, **values: object) -> str:
    """Words whose baseline begins at a point (or is centred there, with `text_anchor`)."""
    return f'<text x="{at[0]:.1f}" y="{at[1]:.1f}"{attributes(values)}>{escape(words)}</text>'


def path(points: Array | Sequence[Pair], closed: bool = False) -> str:
    """Path data of one polyline, (n, 2); it breaks where a point is not finite.

    Parameters
    ----------
    points
        (n, 2), x to the right and y down, in the picture's units.
    closed
        Whether the last point is joined to the first.

    Returns
    -------
    str
        The value of `d`.
    """
    places = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    finite = np.isfinite(places).all(axis=1)
    ends = np.flatnonzero(np.diff(finite, prepend=False, append=False))  # first and past the last of each stretch
    # One format for a stretch: the bench asks for many of these, and a format for each point takes ten times as long.
    stretches = [
        "M" + "L".join(["%.1f %.1f"] * (end - start)) % tuple(places[start:end].ravel().tolist())
        for start, end in ends.reshape(-1, 2)
    ]
    return "".join(stretches) + ("Z" if closed and stretches else "")


def sign(mark: Sign, center: Pair, radius: float) -> str:
    """A verdict's sign: filled with the accent where a person must look, else drawn in ink.

    Parameters
    ----------
    mark
        Of a verdict.
    center, radius
        In the picture's units.

    Returns
    -------
    str
        SVG.
    """
    fill, stroke, inner = (ACCENT, ACCENT, PAPER) if mark.flagged else (PAPER, MUTED, INK)
    place = np.asarray(center)
    lines = [
        element("path", d=path(place + radius * np.asarray(stroke_points)), fill="none", stroke=inner)
        for stroke_points in mark.strokes
    ]
    frame = element("path", d=path(place + radius * np.asarray(mark.frame), closed=True), fill=fill, stroke=stroke)
    return group([frame, *lines], stroke_width=f"{0.16 * radius:.1f}", stroke_linecap="round", stroke_linejoin="round")


def document(size: Pair, parts: Iterable[str], title: str) -> str:
    """A drawing that stands alone, and that scales when it is put into a page."""
    width, height = size
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" width="{width:.0f}"'
        f' height="{height:.0f}" role="img" font-family="{FONT}" font-size="16" fill="{INK}">'
        f"<title>{escape(title)}</title>{''.join(parts)}</svg>"
    )
