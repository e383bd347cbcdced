"""One flagged piece on one sheet: verdict and reasons, the piece upright, its deviations magnified, and their plot."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice

import numpy as np

from app.report.deviation_outline import Style, draw_outline, hatching, magnification
from app.report.deviation_plot import draw_plot, outline_bands
from app.report.finding_tags import LETTER_PX, worth_drawing
from app.report.finding_words import finding_tag
from app.report.inspected import Inspected
from app.report.sheet import MARGIN, WIDTH, at, caption, head, picture, reason_lines, scale_bar
from app.report.style import ACCENT, INK, PAPER, SIGNS
from app.report.svg import document, element, group, text
from app.report.upright import Grey, Window, as_grey, crop_upright, drawing_to_frame, window_around
from vision.records import DeviationProfile, Finding, JudgedPiece, MeasuredPiece, Opening, Stray

PHOTO_MARGIN_MM = 3.0
TAG_ROOM = 62.0  # px above and below the magnified outline for tags
PLOT_HEIGHT = 250.0
RINGS = 8  # findings on the photograph that get a ring


@dataclass(frozen=True, slots=True, eq=False)
class PieceSheet:
    """A flagged piece's picture upright (8 bits) and the sheet drawn around it (SVG, stands alone)."""

    crop: Grey
    svg: str


def draw_sheet(
    inspected: Inspected, measured: MeasuredPiece, judged: JudgedPiece, profile: DeviationProfile
) -> PieceSheet:
    """The sheet of one flagged piece whose outline was measured."""
    photo = window_around(inspected.part.outline, PHOTO_MARGIN_MM, WIDTH - 2 * MARGIN)
    crop = crop_upright(as_grey(inspected.pictures.back), drawing_to_frame(profile), photo)
    lines = reason_lines(judged, inspected.limits.coverage)
    drawn = worth_drawing(judged, inspected.limits)
    bands = outline_bands(inspected.limits, measured.uncertainties, inspected.part)
    tightest = min((abs(band.limit_mm) for band in bands), default=0.0)
    style = Style(magnification(profile.deviation_mm, tightest), f"inward-{judged.piece}")
    top, y = head(inspected, judged, lines)
    body: list[str] = [hatching(style.hatch), element("rect", width=WIDTH, height="100%", fill=PAPER), *top]

    body.append(caption(y + 16.0, "As seen by the camera, upright as on the drawing"))
    y += 26.0
    body.append(at((MARGIN, y), [picture(crop), *_rings(judged.findings, photo), *scale_bar(photo, 10)]))
    y += photo.size_px[1] + 34.0

    body.append(caption(y, f"Deviations from the drawing, drawn {style.times} times larger"))
    body.append(_legend(y, style.hatch))
    y += 12.0 + TAG_ROOM
    grown = _with_room(photo)
    body.append(at((MARGIN, y - TAG_ROOM), draw_outline(profile, inspected.part, drawn, grown, style)))
    y += photo.size_px[1] + TAG_ROOM + 34.0

    body.append(
        caption(y, "Deviation along the outline; limits dashed, guard bands shaded: inside them a person decides")
    )
    y += 12.0
    size = (WIDTH - 2 * MARGIN, PLOT_HEIGHT)
    body.append(at((MARGIN, y), draw_plot(profile, inspected.part, drawn, bands, size)))
    y += PLOT_HEIGHT + MARGIN
    title = f"Tray {inspected.result.tray}, piece {judged.piece}: {SIGNS[judged.verdict].word}. {'; '.join(lines)}"
    return PieceSheet(crop, document((WIDTH, y), body, title))


def _rings(findings: Iterable[Finding], photo: Window) -> list[str]:
    """A ring around each place where light comes through the metal or something stands at the rim."""
    parts = []
    for finding in islice((one for one in findings if isinstance(one, Opening | Stray)), RINGS):
        x, y = photo.to_px(np.array([finding.center_mm]))[0]
        size_mm = finding.length_mm if isinstance(finding, Opening) else finding.reach_mm
        radius = max(0.6 * size_mm * photo.px_per_mm, 14.0)
        for colour, width in ((PAPER, 5.0), (ACCENT, 2.5)):
            ring = {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": f"{radius:.1f}", "fill": "none"}
            parts.append(element("circle", **ring, stroke=colour, stroke_width=width))
        words = finding_tag(finding)
        half = 0.55 * LETTER_PX * len(words)
        below = y + radius + 18.0 < photo.size_px[1]
        foot = y + radius + 16.0 if below else y - radius - 6.0
        left = min(max(x - half, 6.0), photo.size_px[0] - 2 * half - 6.0)
        plate = {"x": f"{left - 4:.1f}", "y": f"{foot - 14:.1f}", "width": f"{2 * half + 8:.1f}"}
        parts.append(element("rect", **plate, height=19, rx=4, fill=PAPER))
        parts.append(text((left, foot), words, font_size=14, font_weight=600))
    return parts


def _legend(y: float, hatch: str) -> str:
    """What the fillings mean, in words, at the right of the caption."""
    right = WIDTH - MARGIN
    swatch = {"width": 26, "height": 12, "stroke": INK, "stroke_width": 0.8}
    return group(
        [
            element("rect", x=right - 480.0, y=y - 11.0, fill=ACCENT, **swatch),
            text((right - 446.0, y), "outward: too much metal", font_size=15),
            element("rect", x=right - 232.0, y=y - 11.0, fill=f"url(#{hatch})", **swatch),
            text((right - 198.0, y), "inward: metal missing", font_size=15),
        ]
    )


def _with_room(window: Window) -> Window:
    """The same window with room above and below for tags."""
    room_mm = TAG_ROOM / window.px_per_mm
    return Window(window.x_mm, (window.y_mm[0] - room_mm, window.y_mm[1] + room_mm), window.px_per_mm)
