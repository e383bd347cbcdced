"""The deviation profile: signed distance of the outline from the nominal, at even steps of the nominal.

Photon noise would push every maximum outwards, and plain smoothing would flatten burrs. So each point is smoothed as
widely as its own data allow: the intersection of confidence intervals (Goldenshluger and Nemirovski 1997; Katkovnik
1999) takes the widest of a ladder of kernels whose result still agrees with all narrower ones.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from vision.measure.nominal import Nominal
from vision.measure.register import MAD_TO_SD
from vision.records.given import Array

# Ladder of kernel widths, in steps of the nominal (about 1 px each).
_WIDTHS = (1.5, 2.5, 4.0, 6.5, 10.0, 16.0, 26.0, 42.0, 68.0)
# An interval is this many standard deviations to either side: 2 lets noise stop the ladder early, 3.5 blunts burrs.
_CONFIDENCE = 2.5
# Stretches without an edge longer than this (steps) are not bridged but told as not seen.
_BRIDGE = 3.0
# Noise is told over this many steps: the backlight, and with it the photon noise, changes along the outline.
_NOISE_REACH = 200.0


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Deviations at the nominal's points, (n,) each, mm.

    `raw`: as measured; `value`: smoothed as far as the data allow; `sd`: standard deviation of `value` from photon
    noise; `fine`: slightly smoothed only; `fine_sd` its noise, which is `fine_gain` times
    that of a single point; `lift`: how much the curvature of the edge was put back; `seen`: an edge was measured there.
    """

    raw: Array
    value: Array
    sd: Array
    fine: Array
    fine_sd: Array
    fine_gain: float
    lift: Array
    seen: NDArray[np.bool_]


def make_profile(along: Array, off: Array, nominal: Nominal, blur_mm: float) -> Profile:
    """Profile from placed edge points.

    Parameters
    ----------
    along, off
        Position in steps and signed distance (mm) of each clean edge point (m,), see `Nominal.place`.
    blur_mm
        Blur of the edge; a convex bend of radius R was read blur^2 / (2 R) too far inside.
    """
    raw, seen = _at_even_steps(along, off, len(nominal.points))
    spectrum = np.fft.rfft(raw)
    omega = 2 * np.pi * np.fft.rfftfreq(len(raw))
    ladder = np.stack([np.fft.irfft(spectrum * _response(omega, width), len(raw)) for width in _WIDTHS])
    noise = _local_noise(ladder[0] - ladder[2], omega)
    sds = np.stack([noise * _gain(omega, width) for width in _WIDTHS])
    value, sd, chosen = _widest_agreeing(ladder, sds)
    # Curvature of the piece itself: the nominal's, less the bending of the deviations, at the chosen smoothness.
    bends = np.stack([np.fft.irfft(-(omega**2) * spectrum * _response(omega, max(w, 2.5)), len(raw)) for w in _WIDTHS])
    bend = np.take_along_axis(bends, chosen[None], axis=0)[0] / nominal.step_mm**2
    lift = 0.5 * blur_mm**2 * (nominal.kappa_per_mm - bend)
    return Profile(
        raw=raw + lift,
        value=value + lift,
        sd=sd,
        fine=ladder[0] + lift,
        fine_sd=sds[0],
        fine_gain=_gain(omega, _WIDTHS[0]),
        lift=lift,
        seen=seen,
    )


def _at_even_steps(along: Array, off: Array, count: int) -> tuple[Array, NDArray[np.bool_]]:
    order = np.argsort(along % count)
    at, values = (along % count)[order], off[order]
    raw = np.interp(np.arange(count), at, values, period=count)
    right = np.searchsorted(at, np.arange(count))
    ahead = at[right % len(at)] + np.where(right == len(at), count, 0.0)
    behind = at[right - 1] - np.where(right == 0, count, 0.0)
    return raw, ahead - behind < _BRIDGE


def _response(omega: Array, width: float) -> Array:
    """A sixth-order Gaussian kernel in the frequency domain: keeps polynomials to the fifth degree."""
    x = 0.5 * (omega * width) ** 2
    return np.asarray(np.exp(-x) * (1 + x + 0.5 * x * x))


def _gain(omega: Array, width: float) -> float:
    """Standard deviation after the kernel of noise that had 1 before, even over the frequencies that pass."""
    return float(np.sqrt(np.mean(_response(omega, width) ** 2)))


def _local_noise(band: Array, omega: Array) -> Array:
    """Noise of single points along the outline, from a band that holds little of any shape: (n,)."""
    passed = float(np.sqrt(np.mean((_response(omega, _WIDTHS[0]) - _response(omega, _WIDTHS[2])) ** 2)))
    overall = MAD_TO_SD * float(np.median(np.abs(band)))
    clipped = np.minimum(np.abs(band), 3 * overall) ** 2
    return np.asarray(np.sqrt(gaussian_filter1d(clipped, _NOISE_REACH, mode="wrap")) / passed)


def _widest_agreeing(ladder: Array, sds: Array) -> tuple[Array, Array, NDArray[np.int64]]:
    """Value, its noise and index of the widest kernel whose interval meets those of all narrower ones."""
    low = np.maximum.accumulate(ladder - _CONFIDENCE * sds, axis=0)
    high = np.minimum.accumulate(ladder + _CONFIDENCE * sds, axis=0)
    chosen = (low <= high).sum(axis=0) - 1
    pick = chosen[None]
    return np.take_along_axis(ladder, pick, 0)[0], np.take_along_axis(sds, pick, 0)[0], chosen
