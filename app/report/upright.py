"""A piece turned upright as on its drawing, and frames made ready to be looked at."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import Array, DeviationProfile, Pair, Part, Picture

Grey = NDArray[np.uint8]

BEYOND_FRAME = 128  # grey of what lies beyond the frame's edge


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the drawing (mm) and how finely it is drawn."""

    x_mm: Pair
    y_mm: Pair
    px_per_mm: float

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of what is drawn, px."""
        width, height = (self.px_per_mm * (span[1] - span[0]) for span in (self.x_mm, self.y_mm))
        return round(width), round(height)

    def to_px(self, points_mm: Array) -> Array:
        """Drawing mm, (n, 2), to px of the picture, y down."""
        shifted = points_mm - np.array([self.x_mm[0], self.y_mm[1]])
        placed: Array = shifted * np.array([self.px_per_mm, -self.px_per_mm])
        return placed


def window_around(outline_mm: Array, margin_mm: float, width_px: float) -> Window:
    """The window that shows a whole outline with a margin, at a given width."""
    low, high = outline_mm.min(axis=0) - margin_mm, outline_mm.max(axis=0) + margin_mm
    return Window((float(low[0]), float(high[0])), (float(low[1]), float(high[1])), width_px / float(high[0] - low[0]))


def drawing_to_frame(profile: DeviationProfile) -> Array:
    """Least-squares affine map, (2, 3), from drawing mm to px of the frame as taken.

    Good to a few px over a piece whatever the lens: meant for looking, never for measuring.
    """
    design = np.column_stack([profile.nominal_mm, np.ones(len(profile.nominal_mm))])
    return np.asarray(np.linalg.lstsq(design, profile.nominal_px, rcond=None)[0].T, dtype=np.float64)


def as_grey(picture: Picture) -> Grey:
    """A frame's pixels as 8 bits, full scale at 255.

    Parameters
    ----------
    picture
        A frame.

    Returns
    -------
    Grey
        (rows, columns) of 8 bits.
    """
    if picture.pixels.dtype == np.uint8 and picture.full_scale == 255:
        return np.asarray(picture.pixels, dtype=np.uint8)
    return np.asarray(cv2.convertScaleAbs(picture.pixels, alpha=255.0 / picture.full_scale), dtype=np.uint8)


def crop_upright(grey: Grey, to_frame: Array, window: Window) -> Grey:
    """The part of a frame that a window of the drawing shows, upright.

    It is sampled at the frame's own fineness and then shrunk by areas, so that thin scratches do not alias away.

    Parameters
    ----------
    grey
        (rows, columns) of 8 bits, a frame.
    to_frame
        (2, 3) affine from drawing mm to frame px.
    window
        What is shown, in drawing mm.

    Returns
    -------
    Grey
        (rows, columns) of 8 bits, the drawing's y up.
    """
    frame_px_per_mm = float(np.sqrt(abs(np.linalg.det(to_frame[:, :2]))))
    fine = Window(window.x_mm, window.y_mm, max(frame_px_per_mm, window.px_per_mm))
    step = 1.0 / fine.px_per_mm
    from_crop = np.array([[step, 0.0, fine.x_mm[0]], [0.0, -step, fine.y_mm[1]], [0.0, 0.0, 1.0]])
    full = np.vstack([to_frame, [0.0, 0.0, 1.0]]) @ from_crop
    sampled = cv2.warpAffine(
        grey,
        full[:2],
        fine.size_px,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=BEYOND_FRAME,
    )
    return np.asarray(cv2.resize(sampled, window.size_px, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def outward_normals(closed: Array) -> Array:
    """Unit outward normals of a closed, counter-clockwise polyline in a frame with y up, (n, 2).

    Parameters
    ----------
    closed
        (n, 2) vertices, the first not repeated.

    Returns
    -------
    Array
        (n, 2) of length 1.
    """
    along = np.roll(closed, -1, axis=0) - np.roll(closed, 1, axis=0)
    normals = np.column_stack([along[:, 1], -along[:, 0]])
    length = np.hypot(normals[:, 0], normals[:, 1])
    return normals / np.maximum(length, np.finfo(np.float64).tiny)[:, None]


def seen_outline_px(profile: DeviationProfile) -> Array:
    """The outline as measured, in px of the frame, (n, 2); nan where it was not seen."""
    to_frame = drawing_to_frame(profile)
    shift_mm = outward_normals(profile.nominal_mm) * profile.deviation_mm[:, None]
    return profile.nominal_px + shift_mm @ to_frame[:, :2].T


def roomiest_place(part: Part) -> tuple[Pair, float]:
    """Centre and radius (drawing mm) of the largest circle inside a part's outline: where a label has most room."""
    import shapely

    spoke = shapely.maximum_inscribed_circle(shapely.Polygon(part.outline, part.holes), tolerance=0.5)
    x, y = spoke.coords[0]
    return (float(x), float(y)), float(spoke.length)
