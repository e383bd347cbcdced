"""One flagged piece on one sheet: verdict and reasons, the piece upright, its deviations magnified, and their plot."""

import base64
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from app.report.deviation_outline import draw_outline, hatching, magnification
from app.report.deviation_plot import draw_plot, outline_bands
from app.report.inspected import Inspected
from app.report.look import ACCENT, INK, MUTED, PAPER, SIGNS
from app.report.svg import document, element, group, sign, text
from app.report.upright import Grey, Window, as_grey, crop_upright, drawing_to_frame, window_around
from app.report.words import FAULTS, reason_words
from vision.decide.guard import quantile
from vision.records.judged import JudgedPiece
from vision.records.measured import DeviationProfile, MeasuredPiece, Pair

WIDTH = 1240.0  # fits a bench screen of 1280 x 800
MARGIN = 20.0
PHOTO_MARGIN_MM, OUTLINE_MARGIN_MM = 3.0, 3.0
TAG_ROOM = 62.0  # px above and below the magnified outline for tags
PLOT_HEIGHT = 250.0
JPEG_QUALITY = 88
REASONS = 6  # lines of reasons; a piece that fails by more says how many more


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
    lines = said_of(judged, inspected.limits.coverage)
    hatch = f"inward-{judged.piece}"
    head, y = _head(inspected, judged, lines)
    body: list[str] = [hatching(hatch), element("rect", width=WIDTH, height="100%", fill=PAPER), *head]

    body.append(_caption(y + 16.0, "As seen by the camera, upright as on the drawing"))
    y += 26.0
    body.append(_at((MARGIN, y), [_picture(crop, photo), *_scale_bar(photo)]))
    y += photo.size_px[1] + 34.0

    times = magnification(profile.deviation_mm)
    body.append(_caption(y, f"Deviations from the drawing, drawn {times} times larger"))
    body.append(_legend(y, hatch))
    outline = Window(photo.x_mm, photo.y_mm, photo.px_per_mm)
    y += 12.0 + TAG_ROOM
    grown = _with_room(outline)
    body.append(_at((MARGIN, y - TAG_ROOM), draw_outline(profile, inspected.part, judged.findings, grown, hatch)))
    y += outline.size_px[1] + TAG_ROOM + 34.0

    bands = outline_bands(inspected.limits, measured.uncertainties, inspected.part)
    body.append(
        _caption(y, "Deviation along the outline; limits dashed, guard bands shaded: inside them a person decides")
    )
    y += 12.0
    size = (WIDTH - 2 * MARGIN, PLOT_HEIGHT)
    body.append(_at((MARGIN, y), draw_plot(profile, inspected.part, judged.findings, bands, size)))
    y += PLOT_HEIGHT + MARGIN
    title = f"Tray {inspected.result.tray}, piece {judged.piece}: {SIGNS[judged.verdict].word}. {'; '.join(lines)}"
    return PieceSheet(crop, document((WIDTH, y), body, title))


def said_of(judged: JudgedPiece, coverage: float) -> list[str]:
    """Why a piece got its verdict, in lines: its fault first, then every limit that it does not pass."""
    reach = quantile(coverage)
    fault = [FAULTS.get(judged.fault, judged.fault)] if judged.fault else []
    worst = sorted(judged.reasons, key=lambda reason: reason.outcome != "reject")
    reasons = [reason_words(r, None if r.uncertainty is None else reach * r.uncertainty) for r in worst]
    return [*fault, *reasons]


def _head(inspected: Inspected, judged: JudgedPiece, lines: list[str]) -> tuple[list[str], float]:
    mark = SIGNS[judged.verdict]
    result = inspected.result
    lot = f", lot {result.lot}" if result.lot else ""
    who = f"Tray {result.tray}, piece {judged.piece}"
    parts = [
        sign(mark, (MARGIN + 26.0, 46.0), 26.0),
        text((MARGIN + 70.0, 43.0), f"{mark.word}", font_size=30, font_weight=700),
        text(
            (MARGIN + 70.0, 68.0),
            f"{who}{lot}; part {result.part}, limits revision {result.limits_revision}",
            fill=MUTED,
        ),
    ]
    shown = lines if len(lines) <= REASONS else [*lines[: REASONS - 1], f"and {len(lines) - REASONS + 1} more limits"]
    y = 100.0
    for line in shown:
        parts.append(element("rect", x=MARGIN, y=y - 14.0, width=5, height=18, fill=ACCENT))
        parts.append(text((MARGIN + 16.0, y), line, font_size=18))
        y += 27.0
    return parts, y + 4.0


def _caption(y: float, words: str) -> str:
    return text((MARGIN, y), words, fill=MUTED, font_size=15)


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


def _at(corner: Pair, parts: list[str]) -> str:
    return group(parts, transform=f"translate({corner[0]:.1f} {corner[1]:.1f})")


def _picture(crop: Grey, window: Window) -> str:
    width, height = window.size_px
    return element("image", width=width, height=height, href=f"data:image/jpeg;base64,{jpeg_text(crop)}")


def jpeg_text(image: NDArray[np.uint8]) -> str:
    """A picture as JPEG in base64, to stand inside a page or a drawing."""
    _, packed = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return base64.b64encode(np.asarray(packed).tobytes()).decode("ascii")


def _scale_bar(window: Window) -> list[str]:
    """Ten millimetres at the lower right of a picture, on a plate so that it reads on any ground."""
    bar = 10.0 * window.px_per_mm
    width, height = window.size_px
    left, foot = width - bar - 18.0, height - 14.0
    return [
        element("rect", x=f"{left - 8:.1f}", y=foot - 24.0, width=f"{bar + 16:.1f}", height=32, fill=PAPER),
        element("path", d=f"M{left:.1f} {foot:.1f}h{bar:.1f}", stroke=INK, stroke_width=4),
        text((left + bar / 2, foot - 7.0), "10 mm", text_anchor="middle", font_size=14),
    ]


def _with_room(window: Window) -> Window:
    """The same window with room above and below for tags."""
    room_mm = TAG_ROOM / window.px_per_mm
    return Window(window.x_mm, (window.y_mm[0] - room_mm, window.y_mm[1] + room_mm), window.px_per_mm)
