"""The finish's own power spectrum, and a picture divided by it.

Buffing lines, orange peel and the sensor's noise are each strong at other directions and pitches. A filter for a
known shape does best on a picture divided by the noise's power spectrum (the matched filter in coloured noise; Kay
1998, Fundamentals of Statistical Signal Processing II, section 4.4). The spectrum is read on a polar grid: directions
by pitches.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vision.face.raster import Image

_PAD_PX = 24
_DIRECTIONS = 60
_PITCHES = 20
# Below this frequency (cycles a px) nothing of the finish is left once its slow change is taken off: read as at it.
_LOWEST = 0.01
Spectrum = NDArray[np.complex64]


@dataclass(frozen=True, slots=True, eq=False)
class _Polar:
    """Of each bin of the half spectrum: its polar cell, and how many cells there are."""

    cell: NDArray[np.intp]
    counts: NDArray[np.float64]


def padded(shape: tuple[int, int]) -> tuple[int, int]:
    """A size that transforms fast and keeps filters from wrapping round."""
    rows, columns = (scipy.fft.next_fast_len(n + _PAD_PX, real=True) for n in shape)
    return int(rows), int(columns)


def transform(picture: Image) -> Spectrum:
    """Half spectrum of a picture, padded with zeros."""
    return np.asarray(scipy.fft.rfft2(picture, padded(picture.shape), workers=1))


def restore(spectrum: Spectrum, shape: tuple[int, int]) -> Image:
    """The picture of a half spectrum, or of its first columns where the others hold nothing; padding cut off.

    The spectrum is used up: its memory is written over.
    """
    rows, columns = shape
    # two steps: neither columns of nothing nor rows of the padding are transformed
    along = scipy.fft.ifft(spectrum, axis=0, overwrite_x=True, workers=1)[:rows]
    return np.asarray(scipy.fft.irfft(along, padded(shape)[1], axis=1, workers=1)[:, :columns])


@lru_cache(maxsize=8)
def _polar(size: tuple[int, int]) -> _Polar:
    rows, columns = size
    fy = scipy.fft.fftfreq(rows)[:, None]
    fx = scipy.fft.rfftfreq(columns)[None]
    radius = np.hypot(fx, fy)
    ring = np.log(np.maximum(radius, _LOWEST) / _LOWEST) / np.log(0.72 / _LOWEST) * _PITCHES
    turn = np.mod(np.arctan2(fy, fx), np.pi) / np.pi * _DIRECTIONS
    cell = np.minimum(ring.astype(int), _PITCHES - 1) * _DIRECTIONS + np.minimum(turn.astype(int), _DIRECTIONS - 1)
    return _Polar(cell.ravel(), np.bincount(cell.ravel(), minlength=_PITCHES * _DIRECTIONS).astype(float))


@dataclass(frozen=True, slots=True, eq=False)
class FinishPower:
    """Smoothed power of a finish by pitch and direction, (pitches x directions,); median 1, never rising towards the
    lowest frequency.
    """

    cells: NDArray[np.float64]

    def share(self, size: tuple[int, int]) -> Image:
        """One over the power at each bin of a half spectrum of `size`."""
        cell = _polar(size).cell.reshape(size[0], size[1] // 2 + 1)
        return np.asarray(np.reciprocal(self.cells)[cell], np.float32)


def finish_power(spectrum: Spectrum, size: tuple[int, int]) -> FinishPower:
    """The power of a finish from its half spectrum of `size`."""
    polar = _polar(size)
    power = (spectrum.real**2 + spectrum.imag**2).ravel()
    sums = np.bincount(polar.cell, weights=power, minlength=_PITCHES * _DIRECTIONS)
    total = np.asarray(sums, np.float64).reshape(_PITCHES, _DIRECTIONS)
    count = polar.counts.reshape(_PITCHES, _DIRECTIONS)
    # neighbours lend to cells with few bins, and smooth the rest a little
    for axis, wrap in ((1, True), (0, False)):
        total, count = _lend(total, axis, wrap), _lend(count, axis, wrap)
    grid = total / np.maximum(count, 1e-9)
    grid = np.maximum.accumulate(grid[::-1], axis=0)[::-1]
    return FinishPower((grid / np.median(grid)).ravel())


def _lend(values: NDArray[np.float64], axis: int, wrap: bool) -> NDArray[np.float64]:
    ahead, back = np.roll(values, -1, axis), np.roll(values, 1, axis)
    if not wrap:
        ahead[-1], back[0] = values[-1], values[0]
    return 0.5 * values + 0.25 * (ahead + back)


# What exceeds so many standard deviations is no part of the finish and has no say in its spectrum.
_PART_OF_FINISH = 2.5


def power_of(finish: Image) -> FinishPower:
    """The power of a finish of even noise of about 1."""
    quiet = np.clip(finish, -_PART_OF_FINISH, _PART_OF_FINISH)
    return finish_power(transform(quiet), padded(finish.shape))


def divided(picture: Image, power: FinishPower) -> Image:
    """A picture divided by the power spectrum of the finish."""
    return restore(transform(picture) * power.share(padded(picture.shape)), picture.shape)
