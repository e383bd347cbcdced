"""The polished face of one flagged piece: the frame upright, its findings drawn beside it, and every light on each."""

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

import numpy as np
import shapely

from app.report.blind_map import draw_blind
from app.report.finding_tags import LETTERS
from app.report.finding_words import finding_words
from app.report.inspected import Inspected
from app.report.sheet import MARGIN, WIDTH, at, caption, head, picture, reason_lines, scale_bar
from app.report.style import ACCENT, INK, MUTED, PAPER, RULE, SIGNS, WASH
from app.report.svg import document, element, path, text
from app.report.upright import Grey, Window, as_grey, crop_upright, drawing_to_frame
from vision.decide import told_findings
from vision.records import (
    Array,
    DeviationProfile,
    JudgedPiece,
    Mark as PolishMark,
    Pair,
    Part,
    Picture,
    Pit,
    Scratch,
    Stain,
    Surface,
    TrayPictures,
)

FACE_MARGIN_MM = 2.0
GAP = 20.0  # px between the frame and the drawing beside it
STRIP_WORDS = 270.0  # px at the left of a strip for what the finding is
STRIP_LETTERS = 26  # of a line there: 8.7 px each at 15 px, a little too much, so that words never reach the pictures
STRIP_LINE = 21.0  # px from line to line
LARGEST_THUMB = 150.0
LEAST_VIEW_MM, VIEW_MARGIN_MM = 4.0, 1.5  # a strip shows at least so much, and so much around its finding
STRETCH = (0.5, 99.5)  # percentiles shown as black and white
LEAST_SPREAD = 16.0  # grey levels of 255 that are never stretched further: what is left would be noise
LETTER_RADIUS = 11.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A scratch or pit, and its letter where it has a strip of its own."""

    finding: Scratch | Pit
    counted: bool
    letter: str

    @property
    def points_mm(self) -> Array:
        """Its points in the drawing, (n, 2)."""
        one = self.finding
        return np.array(one.points_mm if isinstance(one, Scratch) else [one.center_mm])


def draw_face_sheet(inspected: Inspected, judged: JudgedPiece, profile: DeviationProfile) -> str | None:
    """The sheet of a piece's face, SVG that stands alone; None without a scored area or front-lit frames, and where all
    was seen and nothing found.
    """
    surface, lights = inspected.part.surface, front_lights(inspected.pictures)
    if surface is None or not lights:
        return None
    window, marks = _face_window(inspected.part, surface), marked(judged)
    over = [*draw_blind(judged.seen, window), *_patches(judged, window)]
    if not (marks or over):
        return None
    to_frame = drawing_to_frame(profile)
    top, y = head(inspected, judged, reason_lines(judged, inspected.limits.coverage))
    width, height = window.size_px
    beside = (MARGIN + width + GAP, y + 26.0) if width < WIDTH / 2 else (MARGIN, y + 26.0 + height + 40.0)
    face = crop_upright(as_grey(lights[0]), to_frame, window)
    body = [
        element("rect", width=WIDTH, height="100%", fill=PAPER),
        *top,
        caption(y + 16.0, f"{light_words(lights[0])}, upright as on the drawing, contrast stretched"),
        at((MARGIN, y + 26.0), [picture(stretched(face, face)), *scale_bar(window, 5)]),
        text(
            (beside[0], beside[1] - 10.0),
            "What was found: filled what counts; tinted what was not seen",
            fill=MUTED,
            font_size=15,
        ),
        at(beside, [*_ground(inspected.part, surface, window), *over, *_drawn(marks, window), *scale_bar(window, 5)]),
    ]
    y = beside[1] + height + 44.0
    lettered = [mark for mark in marks if mark.letter]
    strips: list[str] = []
    if lettered:
        body.append(caption(y, "Each finding under every light, contrast stretched; the bar is 1 mm"))
        strips, y = _strips(lettered, lights, to_frame, y + 12.0)
    title = f"Tray {inspected.result.tray}, piece {judged.piece}: {SIGNS[judged.verdict].word}, the polished face"
    return document((WIDTH, y + MARGIN), [*body, *strips], title)


def front_lights(pictures: TrayPictures) -> list[Picture]:
    """The front-lit frames, the dome first."""
    return [*([] if pictures.dome is None else [pictures.dome]), *pictures.low]


def light_words(light: Picture) -> str:
    """A frame's light in words."""
    return "dome" if light.azimuth_deg is None else f"low light from {light.azimuth_deg:.0f}°"


def marked(judged: JudgedPiece) -> list[Mark]:
    """A piece's scratches and pits, what counts first and then the strongest; the first of them lettered.

    Specks are no defects and have no mark; nor has what is likelier no mark than one.
    """
    pairs = [(judged.findings[k], judged.counted[k]) for k in told_findings(judged)]
    surface = [(f, counted) for f, counted in pairs if isinstance(f, Scratch | Pit)]
    ordered = sorted(surface, key=lambda pair: (not pair[1], -pair[0].snr))
    letters = [*LETTERS, *([""] * len(ordered))]
    return [Mark(f, counted, letter) for (f, counted), letter in zip(ordered, letters, strict=False)]


def stretched(crop: Grey, about: Grey) -> Grey:
    """A crop whose contrast fills the range from black to white, as far as the part of it named `about` asks."""
    low, high = (float(level) for level in np.percentile(about, STRETCH))
    spread = max(high - low, LEAST_SPREAD)
    black = min(max((low + high - spread) / 2, 0.0), 255.0 - spread)
    scaled = (crop.astype(np.float32) - black) * (255.0 / spread)
    return np.asarray(np.clip(scaled, 0, 255), dtype=np.uint8)


def _face_window(part: Part, surface: Surface) -> Window:
    """The window about the scored area: half the sheet wide, or all of it where the area is long."""
    y = part.outline[:, 1]
    span = shapely.box(surface.x_mm[0], float(y.min()), surface.x_mm[1], float(y.max()))
    bounds = np.array(shapely.intersection(shapely.Polygon(part.outline), span).bounds)
    low, high = bounds[:2] - FACE_MARGIN_MM, bounds[2:] + FACE_MARGIN_MM
    across, up = high - low
    room = WIDTH - 2 * MARGIN
    width = room if across > 2.0 * up else (room - GAP) / 2
    return Window((float(low[0]), float(high[0])), (float(low[1]), float(high[1])), width / float(across))


def _ground(part: Part, surface: Surface, window: Window) -> list[str]:
    """The outline, and the scored area inside it."""
    low, high = window.y_mm
    whole = shapely.Polygon(part.outline)
    scored = shapely.intersection(
        whole.buffer(-surface.inset_mm), shapely.box(surface.x_mm[0], low, surface.x_mm[1], high)
    )
    scored = shapely.difference(scored, shapely.union_all([shapely.Polygon(hole) for hole in part.holes]))
    shown = shapely.intersection(whole, shapely.box(window.x_mm[0], low, window.x_mm[1], high))
    width, height = window.size_px
    return [
        element("rect", width=width, height=height, fill=PAPER, stroke=RULE),
        element("path", d=_rings(shown, window), fill="none", stroke=INK, stroke_width=1.4),
        element("path", d=_rings(scored, window), fill=WASH, fill_rule="evenodd", stroke=MUTED, stroke_dasharray="3 4"),
    ]


def _rings(area: shapely.Geometry, window: Window) -> str:
    """Path of the rings of an area, simplified to a third of a pixel."""
    rings = shapely.get_parts(shapely.boundary(area.simplify(0.3 / window.px_per_mm)))
    return "".join(path(window.to_px(shapely.get_coordinates(ring)[:-1]), closed=True) for ring in rings)


def _patches(judged: JudgedPiece, window: Window) -> list[str]:
    """Outlines of marks and stains, stains thin."""
    return [
        element(
            "path",
            d=path(window.to_px(np.array(one.outline_mm)), closed=True),
            fill="none",
            stroke=ACCENT,
            stroke_width=1.2 if isinstance(one, Stain) else 2.5,
        )
        for one in judged.findings
        if isinstance(one, PolishMark | Stain)
    ]


def _drawn(marks: Sequence[Mark], window: Window) -> list[str]:
    """Each scratch as a line and each pit as a disc of its own size; what does not count is thin and grey."""
    parts: list[str] = []
    for mark in reversed(marks):
        points = window.to_px(mark.points_mm)
        colour = ACCENT if mark.counted else MUTED
        if isinstance(mark.finding, Scratch):
            width = max(2.2, mark.finding.width_mm * window.px_per_mm) if mark.counted else 1.2
            parts.append(element("path", d=path(points), fill="none", stroke=colour, stroke_width=f"{width:.1f}"))
        else:
            radius = max(2.5, mark.finding.diameter_mm * window.px_per_mm / 2)
            fill = colour if mark.counted else "none"
            place = {"cx": f"{points[0, 0]:.1f}", "cy": f"{points[0, 1]:.1f}", "r": f"{radius:.1f}"}
            parts.append(element("circle", **place, fill=fill, stroke=colour, stroke_width=1.2))
        if mark.letter:
            parts += _letter(mark.letter, (float(points[0, 0]) + 14.0, float(points[0, 1]) - 14.0))
    return parts


def _letter(letter: str, center: Pair) -> list[str]:
    x, y = center
    return [
        element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=LETTER_RADIUS, fill=PAPER, stroke=INK, stroke_width=1.2),
        text((x, y + 5.0), letter, text_anchor="middle", font_size=14, font_weight=700),
    ]


def _strips(marks: Sequence[Mark], lights: Sequence[Picture], to_frame: Array, y: float) -> tuple[list[str], float]:
    """A row for each lettered finding: what it is, and how each light shows it; and how far down the rows reach."""
    pitch = min(LARGEST_THUMB, (WIDTH - 2 * MARGIN - STRIP_WORDS) / len(lights) - 8.0) + 8.0
    size = pitch - 8.0
    greys = [as_grey(light) for light in lights]
    parts = [
        text((MARGIN + STRIP_WORDS + k * pitch, y + 16.0), light_words(light), fill=MUTED, font_size=13)
        for k, light in enumerate(lights)
    ]
    y += 26.0
    for mark in marks:
        parts += _letter(mark.letter, (MARGIN + LETTER_RADIUS + 1.0, y + 18.0))
        words = [*finding_words(mark.finding).split(", "), "counts" if mark.counted else "does not count"]
        lines = [line for one in words for line in wrap(one, STRIP_LETTERS)]
        for k, line in enumerate(lines):
            parts.append(text((MARGIN + 34.0, y + 23.0 + STRIP_LINE * k), line, font_size=15))
        view = _view(mark, size)
        for k, grey in enumerate(greys):
            corner = (MARGIN + STRIP_WORDS + k * pitch, y)
            crop = crop_upright(grey, _moved(to_frame, mark), view)
            inner = slice(len(crop) // 4, -(len(crop) // 4))
            parts.append(at(corner, [picture(stretched(crop, crop[inner, inner]))]))
        bar = f"M{MARGIN + STRIP_WORDS + 8.0:.1f} {y + size - 9.0:.1f}h{view.px_per_mm:.1f}"
        parts.append(element("path", d=bar, stroke=PAPER, stroke_width=7))
        parts.append(element("path", d=bar, stroke=INK, stroke_width=3))
        y += max(size, 6.0 + STRIP_LINE * len(lines)) + 10.0
    return parts, y


def _view(mark: Mark, size: float) -> Window:
    """The square of the drawing that holds a finding, a margin around it."""
    points = mark.points_mm
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    half = max(LEAST_VIEW_MM, float(np.ptp(points, axis=0).max()) + 2 * VIEW_MARGIN_MM) / 2
    spans = [(float(c - half), float(c + half)) for c in middle]
    return Window(spans[0], spans[1], size / (2 * half))


def _moved(to_frame: Array, mark: Mark) -> Array:
    """The map into the frames, moved so that this very finding falls where it was seen.

    A deep bowl under a lens that is not telecentric lies beside where the outline's plane would put it.
    """
    one = mark.finding
    seen = np.mean(one.points_px, axis=0) if isinstance(one, Scratch) else np.asarray(one.center_px)
    moved = to_frame.copy()
    moved[:, 2] += seen - (to_frame[:, :2] @ mark.points_mm.mean(axis=0) + to_frame[:, 2])
    return moved
