"""A drawing as it was read, and the part that is proposed from it, each as a picture that stands alone."""

from collections.abc import Iterable, Sequence

import numpy as np

from app.report.sheet import MARGIN, WIDTH
from app.report.style import ACCENT, INK, MUTED, PAPER, RULE, WASH
from app.report.svg import document, element, path, text
from app.report.upright import Window
from vision.drafting import PartDraft, Views, widths_at
from vision.formats import Sheet
from vision.records import Array

_LINE = 24.0  # px from line to line of text
_TALLEST = 900.0  # px; a drawing along y is not drawn taller
_MOST_GAPS = 100  # gaps that get a ring
_ROOM = 60.0  # px above and below an outline for its numbers


def _window(points: Array, room_mm: float) -> Window:
    low, high = points.min(axis=0) - room_mm, points.max(axis=0) + room_mm
    scale = min((WIDTH - 2 * MARGIN) / (high[0] - low[0]), _TALLEST / (high[1] - low[1]))
    return Window((float(low[0]), float(high[0])), (float(low[1]), float(high[1])), float(scale))


def draw_found(sheet: Sheet, views: Views) -> str:
    """All that a drawing shows: views with numbers, the loops inside them, what was left out, gaps that were joined.

    Parameters
    ----------
    sheet
        The drawing's lines, mm.
    views
        What was found on it.

    Returns
    -------
    str
        SVG.
    """
    every = np.concatenate([one.points for one in sheet.curves])
    window = _window(every, 0.02 * float(np.ptp(every, axis=0).max()) + 0.1)
    body = [element("rect", width="100%", height="100%", fill=PAPER)]
    look = {"stroke": RULE, "stroke_width": 1.2}
    body += [_shape(window, one.points, stroke_dasharray="8 5" if one.line else "none", **look) for one in sheet.curves]
    for frame in views.frames:
        body.append(_shape(window, frame, stroke=MUTED, stroke_width=1.0, stroke_dasharray="2 4"))
    for view in views.views:
        body.append(_shape(window, view.ring, True, stroke=INK, stroke_width=2.4))
        for number, loop in enumerate(view.inner, 1):
            body.append(_shape(window, loop, True, stroke=INK, stroke_width=1.6))
            x, y = window.to_px(np.array([[loop[:, 0].max(), loop[:, 1].mean()]]))[0]
            body.append(text((x + 4.0, y + 5.0), str(number), font_size=14))
        x, y = window.to_px(np.array([[view.center_mm[0], view.ring[:, 1].max()]]))[0]
        words = f"view {view.number}: {view.length_mm:.4g} x {view.width_mm:.4g} mm"
        body.append(text((x, max(y - 8.0, 16.0)), words, font_size=18, font_weight=700, text_anchor="middle"))
    for gap in views.contours.gaps[:_MOST_GAPS]:
        x, y = window.to_px(np.array([gap.at_mm]))[0]
        body.append(element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=10, fill="none", stroke=ACCENT, stroke_width=2.5))
    layers = ", ".join(f"{name} ({count})" for name, count in sheet.layers.items())
    lines = [*(view.words for view in views.views), *sheet.notes, *views.notes, f"layers (curves): {layers}"]
    return _with_lines(body, window, lines, f"What {sheet.path.name} shows")


def draw_part_sheet(draft: PartDraft, title: str, origin: Sequence[str]) -> str:
    """The part that is proposed: its outline with zones and numbers, the scored area, and where it comes from.

    Parameters
    ----------
    draft
        What is proposed, mm.
    title
        The picture's own.
    origin
        Where the outline comes from and what was done to it, a line each.

    Returns
    -------
    str
        SVG.
    """
    ring, zoning = draft.laid.outline, draft.zoning
    plain = _window(ring, 1.0)
    room_mm = _ROOM / plain.px_per_mm
    window = Window(plain.x_mm, (plain.y_mm[0] - room_mm, plain.y_mm[1] + room_mm), plain.px_per_mm)
    body = [element("rect", width="100%", height="100%", fill=PAPER)]
    low, high = window.y_mm
    numbers = []
    for number, (zone, widest) in enumerate(zip(zoning.zones, zoning.widest_mm, strict=True)):
        (left, top), (right, foot) = window.to_px(np.array([[zone.x_mm[0], high], [zone.x_mm[1], low]]))
        box = {"x": f"{left:.1f}", "y": f"{top:.1f}", "width": f"{right - left:.1f}", "height": f"{foot - top:.1f}"}
        body.append(element("rect", fill=WASH if number % 2 == 0 else PAPER, stroke=RULE, **box))
        what = f"{zone.name}{', datum' if zone.datum else ''}{', bend' if zone.bend else ''}"
        middle = 0.5 * (left + right)
        numbers.append(text((middle, top + 20.0), what, font_size=16, font_weight=600, text_anchor="middle"))
        numbers.append(text((middle, top + 40.0), f"≤ {widest:g} wide", font_size=13, text_anchor="middle"))
        numbers.append(text((left + 3.0, foot - 8.0), f"{zone.x_mm[0]:g}", font_size=13))
    (right, _), (_, foot) = window.to_px(np.array([[zoning.zones[-1].x_mm[1], high], [0.0, low]]))
    end = f"{zoning.zones[-1].x_mm[1]:g}"
    body += [*numbers, text((right - 3.0, foot - 8.0), end, font_size=13, text_anchor="end")]
    if zoning.surface is not None:
        inner = _scored(ring, zoning.surface.x_mm, zoning.surface.inset_mm)
        body.append(_shape(window, inner, True, stroke=ACCENT, stroke_width=1.6, stroke_dasharray="6 4"))
    body += [_shape(window, loop, True, stroke=INK, stroke_width=2.2) for loop in (ring, *draft.laid.holes)]
    length, width = np.ptp(ring, axis=0)
    narrowest = float(widths_at(ring, np.linspace(0.15, 0.85, 300) * length).min())
    lines = [
        f"{length:.3f} mm long, {width:.3f} mm wide, {narrowest:.3f} mm at its narrowest; all numbers in mm",
        *(f"hole of {np.ptp(hole[:, 0]):.3f} mm at x = {hole[:, 0].mean():.3f}" for hole in draft.laid.holes),
    ]
    if zoning.surface is not None:
        left, right = zoning.surface.x_mm
        lines.append(f"scored area (dashed): x {left:g} to {right:g}, {zoning.surface.inset_mm:g} inside the rim")
    return _with_lines(body, window, [*lines, *origin], title)


def _scored(ring: Array, x_mm: tuple[float, float], inset_mm: float) -> Array:
    from shapely import Polygon, box

    kept = Polygon(ring).buffer(-inset_mm).intersection(box(x_mm[0], -1e4, x_mm[1], 1e4))
    largest = max(getattr(kept, "geoms", [kept]), key=lambda one: float(one.area))
    return np.array(largest.exterior.coords).reshape(-1, 2)


def _shape(window: Window, points: Array, closed: bool = False, /, **look: object) -> str:
    return element("path", d=path(window.to_px(points), closed), fill="none", **look)


def _with_lines(body: Iterable[str], window: Window, lines: Sequence[str], title: str) -> str:
    """The drawing below its title, with lines of text under it."""
    y = 34.0
    parts = [text((MARGIN, y), title, font_size=20, font_weight=700)]
    size = window.size_px
    moved = f"translate({MARGIN:.0f} {y + 14.0:.0f})"
    drawn = list(body)
    foot = y + 14.0 + size[1] + 30.0
    below = [text((MARGIN, foot + _LINE * number), line, font_size=15) for number, line in enumerate(lines)]
    background, *rest = drawn
    shown = f'<g transform="{moved}">{"".join(rest)}</g>'
    return document((WIDTH, foot + _LINE * len(lines) + MARGIN), [background, *parts, shown, *below], title)
