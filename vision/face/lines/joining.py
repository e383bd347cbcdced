"""Lines that belong together: of those that run along each other the strongest, carried on by the others."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.lines.curves import Curve, resample, smooth
from vision.face.lines.ends import SHORTEST_PX

# Two lines run along each other when so much of one lies in the other's band.
ALONG = 0.4
BESIDE_PX = 9
# What another line that runs along one shows beyond its ends is joined on from this snr of the other on, and from this
# snr of what is beyond.
_JOINED_SNR, _JOINED_END_SNR = 6.0, 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A curve that may be a scratch: (n, 2) column, row of the coarse raster, evenly spaced.

    `snr` along it; `heights` (n,): how far it stands out at each px, in standard deviations of the finish. `comb`: what
    the lines to either side of it reach, as a share of it, the lesser of both; `beside`: by how much sums along lines
    beside it exceed those of noise without memory.
    """

    curve: Curve
    snr: float
    heights: NDArray[np.float64]
    comb: float = 0.0
    beside: float = 1.0


def joined(found: list[Candidate], shape: tuple[int, int]) -> list[Candidate]:
    """Of candidates, strongest first, the strongest of those that run along each other, carried on by what the others
    show beyond its ends; `shape` of their raster.
    """
    whose = np.full(shape, -1, np.int16)
    kept: list[Candidate] = []
    for candidate in found:
        at = np.rint(candidate.curve).astype(int)
        at[:, 0] = np.clip(at[:, 0], 0, shape[1] - 1)
        at[:, 1] = np.clip(at[:, 1], 0, shape[0] - 1)
        owner = whose[at[:, 1], at[:, 0]]
        if (owner >= 0).mean() > ALONG:
            first = int(np.bincount(owner[owner >= 0]).argmax())
            if candidate.snr < _JOINED_SNR:
                continue
            kept[first] = _carried_on(kept[first], candidate, owner == first)
        else:
            first = len(kept)
            kept.append(candidate)
        cv2.polylines(whose, [np.rint(kept[first].curve).astype(np.int32)], False, first, thickness=BESIDE_PX)
    return kept


def _carried_on(one: Candidate, other: Candidate, along: NDArray[np.bool_]) -> Candidate:
    """A line with what another, which runs `along` it in part, shows beyond its ends: what leaves it before is another
    line, and what does not stand out there is none.
    """
    first, last = np.flatnonzero(along)[[0, -1]]
    curve, heights = other.curve, other.heights
    if (curve[last] - curve[first]) @ (one.curve[-1] - one.curve[0]) < 0:
        curve, heights = curve[::-1], heights[::-1]
        first, last = len(curve) - 1 - last, len(curve) - 1 - first
    head, tail = slice(0, first), slice(last + 1, len(curve))
    if np.hypot(*(curve[first] - one.curve[0])) > BESIDE_PX or not _stands_out(heights[head]):
        head = slice(0, 0)
    if np.hypot(*(curve[last] - one.curve[-1])) > BESIDE_PX or not _stands_out(heights[tail]):
        tail = slice(0, 0)
    longer = np.vstack((curve[head], one.curve, curve[tail]))
    if len(longer) == len(one.curve):
        return one
    longer = smooth(resample(longer, 1.0))
    along_heights = np.concatenate((heights[head], one.heights, heights[tail]))
    along_heights = np.interp(
        np.linspace(0, len(along_heights) - 1, len(longer)), np.arange(len(along_heights)), along_heights
    )
    return replace(one, curve=longer, heights=along_heights)


def _stands_out(heights: NDArray[np.float64]) -> bool:
    return len(heights) >= SHORTEST_PX and bool(heights.sum() >= _JOINED_END_SNR * np.sqrt(len(heights)))
