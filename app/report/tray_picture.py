"""The whole tray: every piece's outline with its verdict as sign, word and number, and what was found on the tray."""

from collections import Counter

import cv2
import numpy as np
from numpy.typing import NDArray

from app.report.finding_tags import worth_drawing
from app.report.inspected import Inspected
from app.report.style import ACCENT, INK, MUTED, PAPER, SIGNS, Sign, bgr
from app.report.upright import as_grey, drawing_to_frame, roomiest_place, seen_outline_px
from vision.records import (
    Array,
    EdgeFinding,
    JudgedPiece,
    Limits,
    MeasuredPiece,
    Opening,
    Pair,
    Station,
    Stray,
    TrayFinding,
)

Colour = NDArray[np.uint8]

WIDTH_PX = 1800  # fits a screen of 1920 beside its scroll bar
BAND_PX = 92  # the head above the frame
SUBPIXEL_BITS = 4  # OpenCV draws at sixteenths of a px
BOLD, REGULAR = 700, 400  # weights of OpenCV's own variable font


class Canvas:
    """A frame shrunk to the picture's width below an empty head; it draws in px of the frame as taken."""

    def __init__(self, frame: NDArray[np.uint8]) -> None:
        self.scale = WIDTH_PX / frame.shape[1]
        size = (WIDTH_PX, round(frame.shape[0] * self.scale))
        small = cv2.resize(frame, size, interpolation=cv2.INTER_AREA if self.scale < 1 else cv2.INTER_LINEAR)
        self.image: Colour = np.full((size[1] + BAND_PX, WIDTH_PX, 3), 255, np.uint8)
        self.image[BAND_PX:] = small[:, :, None]

    def to_px(self, points_px: Array) -> Array:
        """Px of the frame, (..., 2), to px of the canvas; pixel centres stay pixel centres."""
        placed: Array = (points_px + 0.5) * self.scale - 0.5 + np.array([0.0, BAND_PX])
        return placed

    def line(self, points: Array, colour: str, width: int, closed: bool = False) -> None:
        """A polyline in px of the canvas, broken where a point is nan."""
        seen = np.isfinite(points).all(axis=1)
        if closed and seen.all():
            runs = [points]
        else:
            ends = np.flatnonzero(np.diff(np.concatenate([[0], seen.astype(np.int8), [0]])))
            runs = [points[a:b] for a, b in ends.reshape(-1, 2)]
            closed = False
        fixed_point = [np.rint(run * 2**SUBPIXEL_BITS).astype(np.int32) for run in runs]
        cv2.polylines(self.image, fixed_point, closed, bgr(colour), width, cv2.LINE_AA, SUBPIXEL_BITS)

    def words(self, text: str, at: Pair, height_px: int, colour: str, weight: int = REGULAR) -> float:
        """Text whose baseline begins at a point of the canvas; returns its width in px."""
        font = cv2.FontFace("sans")
        where = (round(at[0]), round(at[1]))
        cv2.putText(self.image, text, where, bgr(colour), font, height_px, weight)
        return text_width(text, height_px, weight)

    def sign(self, mark: Sign, center: Pair, radius: float) -> None:
        """A verdict's sign, filled with the accent where a person must look."""
        middle = np.asarray(center)
        frame = middle + radius * np.asarray(mark.frame)
        fixed_point = np.rint(frame * 2**SUBPIXEL_BITS).astype(np.int32)
        cv2.fillPoly(self.image, [fixed_point], bgr(ACCENT if mark.flagged else PAPER), cv2.LINE_AA, SUBPIXEL_BITS)
        width = max(2, round(0.16 * radius))
        self.line(frame, ACCENT if mark.flagged else MUTED, width, closed=True)
        for stroke in mark.strokes:
            self.line(middle + radius * np.asarray(stroke), PAPER if mark.flagged else INK, width)


def text_width(text: str, height_px: int, weight: int) -> float:
    """How wide a text is in OpenCV's own font, px."""
    box = cv2.getTextSize((WIDTH_PX, BAND_PX), text, (0, 0), cv2.FontFace("sans"), height_px, weight)
    return float(box[2])


def draw_tray(inspected: Inspected) -> Colour:
    """The picture of a tray, (rows, columns, 3) in OpenCV's order of colours.

    Parameters
    ----------
    inspected
        The tray as judged, with its frames.

    Returns
    -------
    Colour
        (rows, columns, 3) of 8 bits.
    """
    canvas = Canvas(as_grey(inspected.pictures.back))
    _draw_head(canvas, inspected)
    room_mm, radius_mm = roomiest_place(inspected.part)
    for measured, judged in inspected.pieces():
        if measured.profile is not None:
            _draw_piece(canvas, measured, judged, inspected.limits)
    for finding in inspected.result.tray_findings:
        _draw_tray_finding(canvas, finding)
    for measured, judged in inspected.pieces():
        _draw_label(canvas, measured, judged, room_mm, radius_mm)
    _draw_scale_bar(canvas, inspected.station)
    return canvas.image


def _draw_piece(canvas: Canvas, measured: MeasuredPiece, judged: JudgedPiece, limits: Limits) -> None:
    """One outline, as measured: grey for a pass, the accent for what a person must see, thick for a reject."""
    if measured.profile is None:
        return
    mark = SIGNS[judged.verdict]
    outline = canvas.to_px(seen_outline_px(measured.profile))
    width = 4 if judged.verdict == "reject" else 3
    canvas.line(outline, ACCENT if mark.flagged else "#8a969f", width, closed=True)
    if mark.flagged:
        for finding in worth_drawing(judged, limits):
            if isinstance(finding, EdgeFinding | Opening | Stray):
                _draw_ring(canvas, finding.center_px, 16, solid=True)


def _draw_ring(canvas: Canvas, center_px: Pair, radius: int, solid: bool) -> None:
    x, y = canvas.to_px(np.asarray(center_px))
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    ring = np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
    for colour, width in ((PAPER, 6), (ACCENT, 3)):
        if solid:
            canvas.line(ring, colour, width, closed=True)
        else:
            for k in range(0, 48, 4):
                canvas.line(ring[k : k + 3], colour, width)


def _draw_label(canvas: Canvas, measured: MeasuredPiece, judged: JudgedPiece, room_mm: Pair, radius_mm: float) -> None:
    """Number, sign and word where the piece has most room; beside its centre where its outline is not known."""
    mark = SIGNS[judged.verdict]
    if measured.profile is not None:
        to_frame = drawing_to_frame(measured.profile)
        center = canvas.to_px(to_frame[:, :2] @ np.asarray(room_mm) + to_frame[:, 2])
        radius = radius_mm * float(np.sqrt(abs(np.linalg.det(to_frame[:, :2])))) * canvas.scale
    elif measured.pose is not None:
        center, radius = canvas.to_px(np.asarray(measured.pose.center_px)), 60.0
    else:
        return
    size = min(0.42 * radius, 64.0)
    number = str(judged.piece)
    tall, small = round(1.25 * size), max(16, round(0.55 * size))
    wide = text_width(number, tall, BOLD)
    gap = 0.35 * size
    left = float(center[0]) - 0.5 * (wide + gap + size)
    middle = float(center[1]) - 0.35 * size
    canvas.words(number, (left, middle + 0.45 * size), tall, PAPER, BOLD)
    canvas.sign(mark, (left + wide + gap + 0.5 * size, middle), 0.55 * size)
    half = 0.5 * text_width(mark.word, small, BOLD)
    canvas.words(mark.word, (float(center[0]) - half, middle + 1.35 * size), small, PAPER, BOLD)


def _draw_tray_finding(canvas: Canvas, finding: TrayFinding) -> None:
    """A dashed ring with the finding's word, on a plate so that it reads on bright and dark alike."""
    if finding.center_px is None:
        return
    _draw_ring(canvas, finding.center_px, 34, solid=False)
    x, y = (float(v) for v in canvas.to_px(np.asarray(finding.center_px)))
    word = finding.kind.replace("_", " ")
    wide = text_width(word, 24, BOLD)
    left = min(max(x - 0.5 * wide, 10.0), WIDTH_PX - wide - 10.0)
    top = y + 44.0 if y + 90.0 < canvas.image.shape[0] else y - 82.0
    corners = (round(left - 8), round(top)), (round(left + wide + 8), round(top + 34))
    cv2.rectangle(canvas.image, *corners, bgr(PAPER), -1)
    cv2.rectangle(canvas.image, *corners, bgr(ACCENT), 2)
    canvas.words(word, (left, top + 25.0), 24, INK, BOLD)


def _draw_head(canvas: Canvas, inspected: Inspected) -> None:
    """Who the tray is, how many pieces got which verdict, and findings that have no place on it."""
    result = inspected.result
    canvas.words(f"Tray {result.tray}", (24.0, 44.0), 34, INK, BOLD)
    lot = f"lot {result.lot}, " if result.lot else ""
    said = f"{lot}part {result.part}, station {result.station}, limits revision {result.limits_revision}"
    placeless = [f"{f.kind}: {f.detail}" for f in result.tray_findings if f.center_px is None]
    canvas.words("; ".join([said, *placeless]), (24.0, 78.0), 24, MUTED)
    counts = Counter(piece.verdict for piece in result.pieces)
    right = WIDTH_PX - 24.0
    for verdict in ("reject", "review", "pass"):
        words = f"{counts[verdict]} {SIGNS[verdict].word}"
        wide = text_width(words, 28, BOLD)
        canvas.words(words, (right - wide, 44.0), 28, INK, BOLD)
        canvas.sign(SIGNS[verdict], (right - wide - 26.0, 34.0), 16.0)
        right -= wide + 76.0


def _draw_scale_bar(canvas: Canvas, station: Station) -> None:
    """Ten millimetres at the tray's lower left, by the station's scale there."""
    rows = (canvas.image.shape[0] - BAND_PX) / canvas.scale
    ends = np.array([[0.0, 1.0], [rows, rows], [1.0, 1.0]])
    mapped = station.homography @ ends
    across_mm = np.diff(mapped[:2] / mapped[2], axis=1)
    bar = 10.0 / float(np.hypot(*across_mm)[0]) * canvas.scale
    foot, words = canvas.image.shape[0] - 30.0, "10 mm"
    right = 32.0 + max(bar, text_width(words, 24, REGULAR))
    cv2.rectangle(canvas.image, (16, round(foot - 46)), (round(right + 16), round(foot + 16)), bgr(PAPER), -1)
    canvas.line(np.array([[32.0, foot], [32.0 + bar, foot]]), INK, 5)
    canvas.words(words, (32.0, foot - 14.0), 24, INK)
