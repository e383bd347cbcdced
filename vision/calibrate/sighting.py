"""What one picture says of the target: its nodes, how well each is known, and whether the picture is fit for it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.calibrate.corners import Pixels, fit_corners, search_corners
from vision.calibrate.discs import measure_discs
from vision.calibrate.target import Target, find_nodes, neighbours, smallest_pitch_px
from vision.errors import Unusable
from vision.records.given import Array

# Half window of a corner: not so small that noise rules, not so large that the next corner comes in
# (a window that reaches it moved the focal length by 3 % in a trial); beyond 20 px nothing more is gained.
MIN_HALF_WINDOW_PX = 3
WINDOW_OF_PITCH = 0.4
_LARGEST_HALF_WINDOW_PX = 20
# An edge blurred over more than this share of the half window leaves nothing level beside it.
_MAX_BLUR_OF_WINDOW = 0.35


@dataclass(frozen=True, slots=True, eq=False)
class Sighting:
    """A target as seen in one picture.

    Attributes
    ----------
    name
        The picture's name, for what a person reads.
    size_px
        (columns, rows) of the picture.
    points_px
        (n, 2), in the order of `Target.points_mm`.
    sd_px
        Standard uncertainty of one coordinate from the picture's noise; None where the method does not tell.
    blur_px
        Sigma of the edges' blur; None where the method does not tell.
    half_window_px
        Half window of the corners; half side of a disc's box.
    pitch_px
        The smallest distance between neighbouring nodes.
    area_px
        (n,) areas of discs; None for a chessboard.
    """

    name: str
    size_px: tuple[int, int]
    points_px: Array
    sd_px: float | None
    blur_px: float | None
    half_window_px: int
    pitch_px: float
    area_px: Array | None = None


def see(
    pixels: Pixels, target: Target, name: str, *, search_window_px: int | None = None, shrink: float = 1.0
) -> Sighting:
    """Find the target in one picture and measure its nodes.

    Parameters
    ----------
    pixels
        (rows, columns), 8 or 16 bit.
    search_window_px
        Use OpenCV's gradient search with this half window instead of fitting corners; None fits.
    shrink
        Takes this share of the window, to see how much depends on it.

    Raises
    ------
    Unusable
        No such target, or too blurred, or too small, or cut off.
    """
    height, width = pixels.shape
    eight_bit = _eight_bit(pixels)
    start = find_nodes(eight_bit, target, name, classic_first=search_window_px is not None)
    pitch = smallest_pitch_px(start, target)
    if target.kind == "circles":
        # Half the pitch holds no other disc; the second opinion looks at less ground round it.
        reach = round((0.3 + 0.2 * shrink) * pitch)
        discs = measure_discs(pixels, start, reach)
        _refuse_unsettled(discs.settled, start, name, "disc")
        return Sighting(name, (width, height), discs.points_px, _rms(discs.sd_px), None, reach, pitch, discs.area_px)
    if search_window_px is not None:
        half = max(2, int(search_window_px * shrink))
        points = search_corners(eight_bit, start, half)
        return Sighting(name, (width, height), points, None, None, half, pitch)
    half = int(shrink * min(_LARGEST_HALF_WINDOW_PX, WINDOW_OF_PITCH * pitch))
    if half < MIN_HALF_WINDOW_PX:
        needed = int(np.ceil(MIN_HALF_WINDOW_PX / WINDOW_OF_PITCH / shrink))
        raise Unusable(name, "", f"squares of {needed} px or more: go nearer or take a larger pitch", f"{pitch:.1f} px")
    # A corner near the frame's edge has a smaller window, and so have all of its picture.
    room = np.min([start[:, 0], start[:, 1], width - 1 - start[:, 0], height - 1 - start[:, 1]]) - 1.5
    if room < MIN_HALF_WINDOW_PX:
        raise Unusable(name, "", "the whole target well inside the picture", f"a corner {room:.0f} px from its edge")
    half = min(half, int(room))
    corners = fit_corners(pixels, start, neighbours(start, target), half)
    blur = float(np.median(corners.blur_px))
    if blur > _MAX_BLUR_OF_WINDOW * half:
        limit = _MAX_BLUR_OF_WINDOW * half
        raise Unusable(
            name, "", f"edges blurred by less than {limit:.1f} px (sigma): focus and take it anew", f"{blur:.1f} px"
        )
    _refuse_unsettled(corners.settled, start, name, "corner")
    return Sighting(name, (width, height), corners.points_px, _rms(corners.sd_px), blur, half, pitch)


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _refuse_unsettled(settled: NDArray[np.bool_], start: Array, name: str, what: str) -> None:
    if not settled.all():
        u, v = start[int(np.argmin(settled))]
        found = f"{int((~settled).sum())} of {len(settled)} not so, the first near ({u:.0f}, {v:.0f}) px"
        raise Unusable(name, "", f"every {what} whole, sharp and uncovered", found)


def _eight_bit(pixels: Pixels) -> NDArray[np.uint8]:
    """The finders take 8 bits; a 16-bit frame may use fewer than 16, so it is stretched over what it uses."""
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, dtype=np.uint8)
    top = max(1.0, float(np.percentile(pixels, 99.9)))
    return np.asarray(np.clip(pixels * (255.0 / top), 0, 255), dtype=np.uint8)
