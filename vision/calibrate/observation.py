"""What one picture says of the target: its nodes, how well each is known, and whether the picture is fit for it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.calibrate.corners import Pixels, fit_corners, search_corners
from vision.calibrate.discs import measure_discs
from vision.calibrate.target import Target, find_nodes, neighbours, smallest_pitch_px
from vision.errors import Unusable
from vision.records import Array

# Half window of a corner: not so small that noise rules, not so large that the next corner comes in
# (a window that reaches it moved the focal length by 3 % in a trial); beyond 20 px nothing more is gained.
MIN_HALF_WINDOW_PX = 3
WINDOW_OF_PITCH = 0.4
_LARGEST_HALF_WINDOW_PX = 20
# An edge blurred over more than this share of the half window leaves nothing level beside it.
_MAX_BLUR_OF_WINDOW = 0.35


@dataclass(frozen=True, slots=True, eq=False)
class Observation:
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


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """A picture with its target found to a pixel or so."""

    pixels: Pixels
    eight_bit: NDArray[np.uint8]
    start_px: Array
    target: Target
    name: str

    @property
    def size_px(self) -> tuple[int, int]:
        height, width = self.pixels.shape
        return width, height

    @property
    def pitch_px(self) -> float:
        return smallest_pitch_px(self.start_px, self.target)


def see(
    pixels: Pixels, target: Target, name: str, search_window_px: int | None = None
) -> tuple[Observation, Observation]:
    """Find the target in one picture and measure its nodes: with the whole window and, as second opinion, with half.

    Parameters
    ----------
    pixels
        (rows, columns), 8 or 16 bit.
    target
        The target as it was made, mm.
    name
        What the picture is called in an error.
    search_window_px
        Use OpenCV's gradient search with this half window instead of fitting corners; None fits.

    Returns
    -------
    tuple[Observation, Observation]
        The nodes found with the whole window, and those with half of it.

    Raises
    ------
    Unusable
        No such target, or too blurred, or too small, or cut off.
    """
    eight_bit = _eight_bit(pixels)
    start = find_nodes(eight_bit, target, name, classic_first=search_window_px is not None)
    found = _Found(pixels, eight_bit, start, target, name)
    if target.kind == "circles":
        # A box of half the pitch on either side holds no other disc; the second opinion has less ground round it.
        return _discs(found, round(0.5 * found.pitch_px)), _discs(found, round(0.45 * found.pitch_px))
    if search_window_px is not None:
        return _searched(found, search_window_px), _searched(found, max(2, search_window_px // 2))
    half = _half_window(found)
    whole = _fitted(found, half)
    assert whole.blur_px is not None  # a fit tells it
    narrow = max(half // 2, MIN_HALF_WINDOW_PX, int(np.ceil(whole.blur_px / _MAX_BLUR_OF_WINDOW)))
    return whole, _fitted(found, min(narrow, half))


def _half_window(found: _Found) -> int:
    """The largest window that the rule and the frame's edges allow; one for all corners of a picture."""
    half = int(min(_LARGEST_HALF_WINDOW_PX, WINDOW_OF_PITCH * found.pitch_px))
    if half < MIN_HALF_WINDOW_PX:
        needed = int(np.ceil(MIN_HALF_WINDOW_PX / WINDOW_OF_PITCH))
        expected = f"squares of {needed} px or more: go nearer or take a larger pitch"
        raise Unusable(found.name, "", expected, f"{found.pitch_px:.1f} px")
    far = np.array(found.size_px) - 1 - found.start_px
    room = int(min(found.start_px.min(), far.min()) - 1.5)
    if room < MIN_HALF_WINDOW_PX:
        raise Unusable(
            found.name, "", "the whole target well inside the picture", f"a corner {room + 1} px from its edge"
        )
    return min(half, room)


def _fitted(found: _Found, half_window_px: int) -> Observation:
    corners = fit_corners(found.pixels, found.start_px, neighbours(found.start_px, found.target), half_window_px)
    blur, limit = float(np.median(corners.blur_px)), _MAX_BLUR_OF_WINDOW * half_window_px
    if blur > limit:
        expected = f"edges blurred by less than {limit:.1f} px (sigma): focus and take it anew"
        raise Unusable(found.name, "", expected, f"{blur:.1f} px")
    _refuse_unsettled(corners.settled, found, "corner")
    sd = _rms(corners.sd_px)
    return Observation(found.name, found.size_px, corners.points_px, sd, blur, half_window_px, found.pitch_px)


def _searched(found: _Found, half_window_px: int) -> Observation:
    points = search_corners(found.eight_bit, found.start_px, half_window_px)
    return Observation(found.name, found.size_px, points, None, None, half_window_px, found.pitch_px)


def _discs(found: _Found, reach_px: int) -> Observation:
    discs = measure_discs(found.pixels, found.start_px, reach_px)
    _refuse_unsettled(discs.settled, found, "disc")
    sd, pitch = _rms(discs.sd_px), found.pitch_px
    return Observation(found.name, found.size_px, discs.points_px, sd, None, reach_px, pitch, discs.area_px)


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _refuse_unsettled(settled: NDArray[np.bool_], found: _Found, what: str) -> None:
    if not settled.all():
        u, v = found.start_px[int(np.argmin(settled))]
        unsettled = f"{int((~settled).sum())} of {len(settled)} not so, the first near ({u:.0f}, {v:.0f}) px"
        raise Unusable(found.name, "", f"every {what} whole, sharp and uncovered", unsettled)


def _eight_bit(pixels: Pixels) -> NDArray[np.uint8]:
    """The finders take 8 bits; a 16-bit frame may use fewer than 16, so it is stretched over what it uses."""
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, dtype=np.uint8)
    top = max(1.0, float(np.percentile(pixels, 99.9)))
    return np.asarray(np.clip(pixels * (255.0 / top), 0, 255), dtype=np.uint8)
