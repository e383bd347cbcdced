"""Whether a frame's counts are those that a sensor gave, or were mapped to others afterwards.

A sensor's noise spreads the light over many counts, and how often each occurs runs smoothly from one to the next (the
code density of IEEE 1241, from memory). Counts that were stretched, raised to a power or passed through a table
afterwards leave counts that never occur, or gather two in one. Where they do so evenly all the way from the metal's
level to the light's, which every blurred edge climbs, the counts were multiplied and still follow the light; where more
are left out at one level than at another they were bent, or nobody can tell that they were not.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.backlight.field import BLOCK_PX, Backlight
from vision.records import Picture


@dataclass(frozen=True, slots=True)
class CodeSettings:
    """When counts are told to have been mapped to others."""

    # A block is the light's where its mean lies this near to the light's level there (share of it).
    lit: float = 0.02
    # The middle of the light's counts that is looked at, shares of its pixels: the tails are rare.
    middle: tuple[float, float] = (0.01, 0.99)
    # So many different counts are asked: a fourth difference takes five.
    least_codes: int = 6
    # So many pixels to each on average: their number is then known to 4 %, which leaves a roughness of 0.04.
    least_each: float = 600.0
    # So many blocks of the light at most are looked at, evenly over the frame: 1000 pixels a count of a 12-bit sensor.
    blocks: int = 8000
    # Counts so far apart from each other, evenly, are a sensor's of fewer bits in a wider frame.
    fewer_bits: int = 8
    # Added to a count's frequency, as a share of the greatest: one that never occurs has no logarithm.
    floor: float = 0.02
    # Of the way from metal to light both ends are left out (shares), where level ground swamps the edges' counts.
    ends: float = 0.12
    # Counts of edges are held against what is usual this near to either side ...
    near: int = 12
    # ... of so many pixels to each at least, or too few to tell an empty count or a double one.
    least_on_edges: float = 40.0
    # A count that occurs less often than this share of what is usual is left out ...
    empty: float = 0.3
    # ... and one that occurs more often than this is two in one.
    double: float = 1.5
    # Counts before they were mapped may lie so far off a straight ladder (counts): factors of 0.8 to 1.9 leave 0.7 at
    # most, powers of 0.9 and 1.1 at least 1.0 (rendered spoons, 8 bits).
    off_ladder: float = 0.8
    # Above this roughness counts were mapped: rendered sensors of 8 and 12 bits leave 0.01 at most, a power of 0.8
    # gives 0.24, one of 1.1 0.78.
    uneven: float = 0.1


CODES = CodeSettings()
# Root sum of squares of the factors of a fourth difference.
_FOURTH = float(np.sqrt(70.0))


def code_roughness(back: Picture, light: Backlight) -> float | None:
    """Root mean square of the fourth differences of how often neighbouring counts occur in the light (logarithms).

    None where the light is spread over too few counts to tell.
    """
    lit = np.abs(light.blocks - light.bright) < CODES.lit * light.bright
    rows, columns = lit.shape
    whole = back.pixels[: rows * BLOCK_PX, : columns * BLOCK_PX]
    at = np.argwhere(lit)
    v, u = at[:: max(1, len(at) // CODES.blocks)].T
    values = whole.reshape(rows, BLOCK_PX, columns, BLOCK_PX)[v, :, u].ravel()
    if not len(values):
        return None
    often = np.bincount(values)
    summed = np.cumsum(often) / len(values)
    low, high = (int(np.searchsorted(summed, share)) for share in CODES.middle)
    often = _by_step(often[low : high + 1])
    if len(often) < CODES.least_codes or often.sum() < CODES.least_each * len(often):
        return None
    fourth = np.diff(np.log(often + CODES.floor * often.max()), 4) / _FOURTH
    return float(np.sqrt(np.mean(fourth**2)))


def _by_step(often: NDArray[np.int64]) -> NDArray[np.int64]:
    """Counts of a sensor of fewer bits gathered by their own step."""
    used = np.flatnonzero(often)
    step = int(np.median(np.diff(used))) if len(used) > 1 else 1
    if step < CODES.fewer_bits:
        return often
    groups = -(-len(often) // step)
    return np.asarray(np.pad(often, (0, groups * step - len(often))).reshape(groups, step).sum(axis=1))


def multiplied(back: Picture, light: Backlight) -> bool:
    """Whether counts were mapped to others by a factor alone, told from those that edges climb through.

    From metal to light each count stands for so many of the sensor's own: none where it never occurs, two where it
    occurs twice as often as its neighbours. Added up they are the sensor's counts, a straight line of those mapped.
    """
    dark, bright = float(np.median(light.dark)), float(light.bright.min())
    edge = CODES.ends * (bright - dark)
    low, high = int(np.ceil(dark + edge)), int(bright - edge)
    often = np.bincount(back.pixels.ravel(), minlength=high + 1)[low : high + 1].astype(np.float64)
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(np.where(often > 0, often, np.nan), CODES.near, constant_values=np.nan), 2 * CODES.near + 1
    )
    if len(often) < 4 * CODES.near or not (np.isfinite(around).sum(axis=1) >= CODES.near // 2).all():
        return False
    usual = np.nanmedian(around, axis=1)
    if float(usual.min()) < CODES.least_on_edges:
        return False
    stands_for = np.where(often < CODES.empty * usual, 0.0, np.where(often > CODES.double * usual, 2.0, 1.0))
    own = np.cumsum(stands_for) - stands_for / 2
    at = np.arange(len(own))
    straight = np.polyval(np.polyfit(at[stands_for > 0], own[stands_for > 0], 1), at)
    return bool(np.abs(own - straight)[stands_for > 0].max() < CODES.off_ladder)
