"""Simple faces drawn for tests: a round part, lights, analytic lines and discs. Nothing of the product draws them."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.face.raster import FaceInputs
from vision.records.inputs import Array, Part, Picture, Surface, TrayPictures

SIZE_PX = (460, 560)
MM_PER_PX = 0.05
CENTER_PX = np.array([280.0, 230.0])
# The part: an ellipse of these half axes about the drawing's origin (mm).
HALF_AXES_MM = (11.0, 9.0)
INSET_MM = 1.5
BLUR_PX = 0.75
DOME_LEVEL = 210.0
# Contrast of a scratch or pit of strength 1: under a low light, and in the dome.
LOW_GAIN, DOME_GAIN = 8.0, -0.25


@dataclass(frozen=True)
class Mark:
    """A line from `a` to `b` (mm) of a width, or a disc about `a` where `b` is None; `strength` scales its contrast."""

    a: tuple[float, float]
    b: tuple[float, float] | None
    width_mm: float
    strength: float


def part() -> Part:
    """The round part, its whole face scored."""
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    outline = np.column_stack((HALF_AXES_MM[0] * np.cos(t), HALF_AXES_MM[1] * np.sin(t)))
    return Part("TS-135", "Round", outline, (), (), Surface((-20.0, 20.0), INSET_MM))


def to_px(points_mm: Array, turn_deg: float = 0.0) -> Array:
    """Drawing mm to image px for a part turned by `turn_deg` about the scene's centre."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turned = points_mm @ np.array([[c, s], [-s, c]])
    return np.asarray(CENTER_PX + turned * np.array([1.0, -1.0]) / MM_PER_PX)


def to_mm(points_px: Array, turn_deg: float = 0.0) -> Array:
    """Back from image px."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.asarray((points_px - CENTER_PX) * MM_PER_PX * np.array([1.0, -1.0]) @ np.array([[c, -s], [s, c]]))


def coverage(marks: tuple[Mark, ...], turn_deg: float = 0.0, azimuth_deg: float | None = None) -> Array:
    """Summed strength of the marks over the frame, blurred by the optics.

    Under a low light from `azimuth_deg` a disc is a hollow: its far wall shines, from nothing at the near end of its
    width to twice the mean at the far one. A grain of dust shines alike all over: discs below 0.1 mm.
    """
    over = 4
    total = np.zeros(SIZE_PX)
    for mark in marks:
        a = to_px(np.array([mark.a]), turn_deg)[0]
        b = a if mark.b is None else to_px(np.array([mark.b]), turn_deg)[0]
        half = mark.width_mm / MM_PER_PX / 2
        # Drawn where it reaches alone: over the whole frame this took most of the time of the tests of faces.
        low = np.clip(np.floor(np.minimum(a, b) - half - 1).astype(int), 0, SIZE_PX[::-1])
        high = np.clip(np.ceil(np.maximum(a, b) + half + 2).astype(int), low, SIZE_PX[::-1])
        columns, rows = high - low
        x, y = np.meshgrid(
            (np.arange(low[0] * over, high[0] * over) + 0.5) / over - 0.5,
            (np.arange(low[1] * over, high[1] * over) + 0.5) / over - 0.5,
        )
        d = b - a
        t = np.clip(((x - a[0]) * d[0] + (y - a[1]) * d[1]) / max(float(d @ d), 1e-9), 0, 1)
        gap = np.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1])
        inside = np.clip((half - gap) * over + 0.5, 0, 1)
        if azimuth_deg is not None and mark.b is None and mark.width_mm >= 0.1:
            turn = np.radians(azimuth_deg)
            towards = (x - a[0]) * np.cos(turn) - (y - a[1]) * np.sin(turn)
            inside = inside * (1 - towards / half)
        part_of = total[low[1] : high[1], low[0] : high[0]]
        part_of += mark.strength * inside.reshape(rows, over, columns, over).mean(axis=(1, 3))
    return np.asarray(cv2.GaussianBlur(total, (0, 0), BLUR_PX))


def metal(turn_deg: float = 0.0) -> Array:
    """Share of each pixel that the part covers, blurred by the optics."""
    mask = np.zeros(SIZE_PX, np.uint8)
    points = np.round(to_px(part().outline, turn_deg) * 256).astype(np.int32)
    cv2.fillPoly(mask, [points], 255, lineType=cv2.LINE_AA, shift=8)
    return np.asarray(cv2.GaussianBlur(mask / 255.0, (0, 0), BLUR_PX))


def low_level(azimuth_deg: float) -> Array:
    """Level under a low light: the mirror image of the lamp on the far side, blown, falling off across the face."""
    rows, columns = SIZE_PX
    x, y = np.meshgrid(np.arange(columns) - CENTER_PX[0], CENTER_PX[1] - np.arange(rows))
    along = -(x * np.cos(np.radians(azimuth_deg)) + y * np.sin(np.radians(azimuth_deg)))
    return np.asarray(30.0 * np.exp(along / 70.0))


def pictures(
    rng: np.random.Generator,
    marks: tuple[Mark, ...] = (),
    turn_deg: float = 0.0,
    azimuths: tuple[float, ...] = (0.0, 90.0, 180.0, 270.0),
    dome: bool = True,
) -> TrayPictures:
    """All frames of a scene, with shot noise of 70 electrons a count and 8 bits."""
    body, cover = metal(turn_deg), coverage(marks, turn_deg)

    def seen(level: Array) -> np.ndarray:
        noisy = level + rng.normal(size=SIZE_PX) * np.sqrt(np.maximum(level, 0) / 70 + 0.05)
        return np.clip(np.round(noisy), 0, 255).astype(np.uint8)

    back = Picture("back", None, seen(225 - 215 * body), 255.0, "back.png")
    top = Picture("dome", None, seen(DOME_LEVEL * body * (1 + DOME_GAIN * cover) + 60 * (1 - body)), 255.0, "dome.png")
    shown = [low_level(a) * body * (1 + LOW_GAIN * coverage(marks, turn_deg, a)) for a in azimuths]
    low = tuple(
        Picture("low", a, seen(level), 255.0, f"low-{a:03.0f}.png") for a, level in zip(azimuths, shown, strict=True)
    )
    return TrayPictures(back, top if dome else None, low)


def view(frames: TrayPictures, turn_deg: float = 0.0) -> FaceInputs:
    """The view of the scene's one piece."""
    return FaceInputs(
        frames,
        part(),
        to_px=lambda mm: to_px(mm, turn_deg),
        to_mm=lambda px: to_mm(px, turn_deg),
        mm_per_px=MM_PER_PX,
        scale_relative=1e-4,
        edge_mm=0.002,
    )
