"""Whether the front-lit frames of a face show the same piece at the same place: its finish tells.

Lines of the wheel, orange peel and marks are on the metal, so that every light shows them at one place: bright under
low lights, dark in the dome. Each frame is laid over the sum of the others by phase correlation (Kuglin & Hines 1975,
from memory): a frame of another piece, or of nothing, has no peak; one that moved has it beside the middle.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft

from vision.face.contrast import LIMIT, FrameContrast
from vision.face.raster import Image, Region
from vision.face.whitening import Spectrum, padded, transform

# A finish is looked for so far to either side (px of the coarse raster).
_REACH_PX = 20
# How far frequencies are made as strong as each other: wholly (1), noise drowns a faint finish.
_EVENED = 0.85
# From this peak on the frames show one finish: frames of two pieces give 4 at most. A peak elsewhere is taken when it
# exceeds what stands at no shift by so much.
_SURE, _ELSEWHERE = 7.0, 5.0


@dataclass(frozen=True, slots=True)
class Agreement:
    """One frame against the sum of the others.

    `shift_px` (image px: right, down) with its standard uncertainties `u_px` (large along lines of the wheel, where
    nothing tells); `peak`: how far what says so stands out, in standard deviations of what lies about it.
    """

    shift_px: tuple[float, float]
    u_px: tuple[float, float]
    peak: float

    @property
    def sure(self) -> bool:
        """Whether the frames show one finish at all."""
        return self.peak >= _SURE


def agreements(region: Region, frames: Sequence[FrameContrast]) -> tuple[Agreement, ...]:
    """Of each frame its agreement with the others; none of less than two."""
    if len(frames) < 2:
        return ()
    phases = [_phase(frame) for frame in frames]
    total = np.sum(phases, axis=0)
    size = padded(region.coarse.shape)
    return tuple(_agreement(phase * np.conj(total - phase), size, region.coarse.step) for phase in phases)


def _phase(frame: FrameContrast) -> Spectrum:
    """The finish's spectrum, every frequency as strong as the next; of the dome's the sign turned."""
    contrast = np.clip(frame.contrast_coarse / frame.noise, -LIMIT, LIMIT) * frame.valid
    spectrum = transform(np.asarray(contrast, np.float32))
    size = np.abs(spectrum)
    sign = np.float32(-1.0 if frame.picture.light == "dome" else 1.0)
    return np.asarray(spectrum * (sign / np.maximum(size, np.float32(1e-6)) ** np.float32(_EVENED)))


def _agreement(cross: Spectrum, size: tuple[int, int], step: int) -> Agreement:
    plane: Image = scipy.fft.irfft2(cross, size, workers=1)
    about = np.arange(-_REACH_PX, _REACH_PX + 1)
    near = plane[np.ix_(about % size[0], about % size[1])]
    noise = max(1.4826 * float(np.median(np.abs(near))), 1e-12)
    home = near[_REACH_PX - 1 : _REACH_PX + 2, _REACH_PX - 1 : _REACH_PX + 2]
    row, column = (int(k) for k in np.unravel_index(int(np.argmax(near)), near.shape))
    if near[row, column] - home.max() < _ELSEWHERE * noise:
        row, column = (int(k) + _REACH_PX - 1 for k in np.unravel_index(int(np.argmax(home)), home.shape))
    (right, u_right), (down, u_down) = _top(near[row], column, noise), _top(near[:, column], row, noise)
    shift = (float(about[column] + right) * step, float(about[row] + down) * step)
    return Agreement(shift, (u_right * step, u_down * step), float(near[row, column]) / noise)


def _top(line: Image, peak: int, noise: float) -> tuple[float, float]:
    """Where between its samples a peak lies, by the parabola through it and its neighbours, and how surely."""
    if not 0 < peak < len(line) - 1:
        return 0.0, 1.0
    left, top, right = (float(v) for v in line[peak - 1 : peak + 2])
    bow = max(2.0 * top - left - right, 1e-12)
    return 0.5 * (right - left) / bow, noise / bow
