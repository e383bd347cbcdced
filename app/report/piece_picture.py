"""One flagged piece on one sheet: verdict and reasons, the piece upright, its deviations magnified, and their plot."""

from dataclasses import dataclass

from app.report.deviation_outline import Style, draw_outline, hatching, magnification
from app.report.deviation_plot import draw_plot, outline_bands
from app.report.inspected import Inspected
from app.report.sheet import MARGIN, WIDTH, at, caption, head, picture, reason_lines, scale_bar
from app.report.style import ACCENT, INK, PAPER, SIGNS
from app.report.svg import document, element, group, text
from app.report.upright import Grey, Window, as_grey, crop_upright, drawing_to_frame, window_around
from vision.records import DeviationProfile, JudgedPiece, MeasuredPiece

PHOTO_MARGIN_MM = 3.0
TAG_ROOM = 62.0  # px above and below the magnified outline for tags
PLOT_HEIGHT = 250.0


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
    bands = outline_bands(inspected.limits, measured.uncertainties, inspected.part)
    tightest = min((abs(band.limit_mm) for band in bands), default=0.0)
    style = Style(magnification(profile.deviation_mm, tightest), f"inward-{judged.piece}")
    top, y = head(inspected, judged, lines)
    body: list[str] = [hatching(style.hatch), element("rect", width=WIDTH, height="100%", fill=PAPER), *top]

    body.append(caption(y + 16.0, "As seen by the camera, upright as on the drawing"))
    y += 26.0
    body.append(at((MARGIN, y), [picture(crop), *scale_bar(photo, 10)]))
    y += photo.size_px[1] + 34.0

    body.append(caption(y, f"Deviations from the drawing, drawn {style.times} times larger"))
    body.append(_legend(y, style.hatch))
    y += 12.0 + TAG_ROOM
    grown = _with_room(photo)
    body.append(at((MARGIN, y - TAG_ROOM), draw_outline(profile, inspected.part, judged.findings, grown, style)))
    y += photo.size_px[1] + TAG_ROOM + 34.0

    body.append(
        caption(y, "Deviation along the outline; limits dashed, guard bands shaded: inside them a person decides")
    )
    y += 12.0
    size = (WIDTH - 2 * MARGIN, PLOT_HEIGHT)
    body.append(at((MARGIN, y), draw_plot(profile, inspected.part, judged.findings, bands, size)))
    y += PLOT_HEIGHT + MARGIN
    title = f"Tray {inspected.result.tray}, piece {judged.piece}: {SIGNS[judged.verdict].word}. {'; '.join(lines)}"
    return PieceSheet(crop, document((WIDTH, y), body, title))


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
