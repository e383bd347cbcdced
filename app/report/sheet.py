"""What all sheets of a piece share: size, head, captions, pictures and scale bars."""

import base64

import cv2
import numpy as np
from numpy.typing import NDArray

from app.report.inspected import Inspected
from app.report.style import ACCENT, INK, MUTED, PAPER, SIGNS
from app.report.svg import element, group, sign, text
from app.report.upright import Grey, Window
from app.report.words import FAULTS, reason_words, unseen_words
from vision.decide import quantile
from vision.records import JudgedPiece, Pair

WIDTH = 1240.0  # fits a bench screen of 1280 x 800
MARGIN = 20.0
JPEG_QUALITY = 88
REASONS = 6  # lines of reasons; a piece that fails by more says how many more


def reason_lines(judged: JudgedPiece, coverage: float) -> list[str]:
    """Why a piece got its verdict, in lines: its fault first, then every limit that it does not pass."""
    reach = quantile(coverage)
    fault = [FAULTS.get(judged.fault, judged.fault)] if judged.fault else []
    worst = sorted(judged.reasons, key=lambda reason: reason.outcome != "reject")
    reasons = [
        reason_words(r, None if r.uncertainty is None else reach * r.uncertainty) + unseen_words(r, judged.measures)
        for r in worst
    ]
    return [*fault, *reasons]


def head(inspected: Inspected, judged: JudgedPiece, lines: list[str]) -> tuple[list[str], float]:
    """Sign, word, whose it is and why; and how far down it reaches, px."""
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


def caption(y: float, words: str) -> str:
    """What the drawing below is."""
    return text((MARGIN, y), words, fill=MUTED, font_size=15)


def at(corner: Pair, parts: list[str]) -> str:
    """Elements moved to a place of their sheet."""
    return group(parts, transform=f"translate({corner[0]:.1f} {corner[1]:.1f})")


def picture(crop: Grey) -> str:
    """A crop as an element that holds its own pixels."""
    height, width = crop.shape
    return element("image", width=width, height=height, href=f"data:image/jpeg;base64,{jpeg_text(crop)}")


def jpeg_text(image: NDArray[np.uint8]) -> str:
    """A picture as JPEG in base64, to stand inside a page or a drawing."""
    _, packed = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return base64.b64encode(np.asarray(packed).tobytes()).decode("ascii")


def scale_bar(window: Window, length_mm: int) -> list[str]:
    """A length at the lower right of a picture, on a plate so that it reads on any ground."""
    bar = length_mm * window.px_per_mm
    width, height = window.size_px
    left, foot = width - bar - 18.0, height - 14.0
    return [
        element("rect", x=f"{left - 8:.1f}", y=foot - 24.0, width=f"{bar + 16:.1f}", height=32, fill=PAPER),
        element("path", d=f"M{left:.1f} {foot:.1f}h{bar:.1f}", stroke=INK, stroke_width=4),
        text((left + bar / 2, foot - 7.0), f"{length_mm} mm", text_anchor="middle", font_size=14),
    ]
