"""The deviation profile: signed distance of the outline from the nominal, at even steps of the nominal.

Photon noise would push every maximum outwards, and plain smoothing would flatten burrs. So each point is smoothed as
widely as its own data allow: the intersection of confidence intervals (Goldenshluger and Nemirovski 1997; Katkovnik
1999) takes the widest of a ladder of kernels whose result still agrees with all narrower ones.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft, rfftfreq

from vision.geometry import Motion
from vision.outline.nominal import Nominal
from vision.outline.registration import MAD_TO_SD
from vision.records import Array


@dataclass(frozen=True, slots=True)
class ProfileSettings:
    """How deviations are smoothed, and where they count as seen."""

    # Ladder of kernel widths, in steps of the nominal (about 1 px each).
    widths: tuple[float, ...] = (1.5, 2.5, 4.0, 6.5, 10.0, 16.0, 26.0, 42.0, 68.0)
    # An interval is this many standard deviations to either side: 2 lets noise stop the ladder early, 3.5 blunts
    # burrs.
    confidence: float = 2.5
    # Stretches without an edge longer than this (steps) are not bridged but told as not seen.
    bridge: float = 3.0
    # Noise is told over this many steps: the backlight, and with it the photon noise, changes along the outline.
    noise_reach: float = 200.0


PROFILE = ProfileSettings()


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


def raw_profile(points: Array, motion: Motion, nominal: Nominal) -> tuple[Array, NDArray[np.bool_]]:
    """Deviations as measured at the nominal's points, mm, and where an edge was seen: (n,) each.

    `points` (m, 2): clean edge points in tray mm; `motion` takes them to the drawing.
    """
    feet = nominal.project(motion.apply(points))
    return _at_even_steps(feet.along, feet.off_mm, len(nominal.points))


def make_profile(raw: Array, seen: NDArray[np.bool_], nominal: Nominal, blur_mm: float) -> Profile:
    """Smooth a raw profile as far as its data allow.

    `blur_mm`: blur of the edge; a convex bend of radius R was read blur^2 / (2 R) too far inside.
    """
    kernels = _kernels(len(raw))
    spectrum = rfft(raw)
    ladder = irfft(spectrum * kernels.passed, len(raw))
    noise = _local_noise(ladder[0] - ladder[2], kernels)
    sds = noise * kernels.gains[:, None]
    value, sd, chosen = _widest_agreeing(ladder, sds)
    # Curvature of the piece itself: the nominal's, less the bending of the deviations, at the chosen smoothness.
    bends = irfft(spectrum * kernels.bending, len(raw))
    bend = np.take_along_axis(bends, chosen[None], axis=0)[0] / nominal.step_mm**2
    lift = 0.5 * blur_mm**2 * (nominal.kappa_per_mm - bend)
    return Profile(
        raw=raw + lift,
        value=value + lift,
        sd=sd,
        fine=ladder[0] + lift,
        fine_sd=sds[0],
        fine_gain=float(kernels.gains[0]),
        lift=lift,
        seen=seen,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Kernels:
    """The ladder in the frequency domain, for profiles of one length: (kernels, frequencies) or (kernels,).

    `passed`, `bending`: response of each kernel, and of its second derivative (no finer than the second kernel's);
    `gains`: noise left by each; `band_gain`: noise in the band between the first and the third; `calm`: the long
    Gaussian that noise is averaged over.
    """

    passed: Array
    bending: Array
    gains: Array
    band_gain: float
    calm: Array


@lru_cache(maxsize=16)
def _kernels(count: int) -> _Kernels:
    omega = np.asarray(2 * np.pi * rfftfreq(count), np.float64)
    passed = np.stack([_response(omega, width) for width in PROFILE.widths])
    return _Kernels(
        passed=passed,
        bending=np.stack([-(omega**2) * _response(omega, max(width, PROFILE.widths[1])) for width in PROFILE.widths]),
        gains=np.sqrt(np.mean(passed**2, axis=1)),
        band_gain=float(np.sqrt(np.mean((passed[0] - passed[2]) ** 2))),
        calm=np.exp(-0.5 * (omega * PROFILE.noise_reach) ** 2),
    )


def _at_even_steps(along: Array, off: Array, count: int) -> tuple[Array, NDArray[np.bool_]]:
    at = along % count
    # Edge points come in order but for where they start, which a sort that merges runs is quick with.
    order = np.argsort(at, kind="stable")
    at, values = at[order], off[order]
    raw = np.interp(np.arange(count), at, values, period=count)
    right = np.searchsorted(at, np.arange(count))
    ahead = at[right % len(at)] + np.where(right == len(at), count, 0.0)
    behind = at[right - 1] - np.where(right == 0, count, 0.0)
    return raw, ahead - behind < PROFILE.bridge


def _response(omega: Array, width: float) -> Array:
    """A sixth-order Gaussian kernel in the frequency domain: keeps polynomials to the fifth degree."""
    x = 0.5 * (omega * width) ** 2
    return np.asarray(np.exp(-x) * (1 + x + 0.5 * x * x))


def _local_noise(band: Array, kernels: _Kernels) -> Array:
    """Noise of single points along the outline, from a band that holds little of any shape: (n,)."""
    overall = MAD_TO_SD * float(np.median(np.abs(band)))
    clipped = np.minimum(np.abs(band), 3 * overall) ** 2
    calm = irfft(rfft(clipped) * kernels.calm, len(band))
    return np.asarray(np.sqrt(np.maximum(calm, 0.0)) / kernels.band_gain)


def _widest_agreeing(ladder: Array, sds: Array) -> tuple[Array, Array, NDArray[np.int64]]:
    """Value, its noise and index of the widest kernel whose interval meets those of all narrower ones."""
    low, high = ladder - PROFILE.confidence * sds, ladder + PROFILE.confidence * sds
    for narrower in range(len(ladder) - 1):
        np.maximum(low[narrower], low[narrower + 1], out=low[narrower + 1])
        np.minimum(high[narrower], high[narrower + 1], out=high[narrower + 1])
    chosen = (low <= high).sum(axis=0) - 1
    pick = chosen[None]
    return np.take_along_axis(ladder, pick, 0)[0], np.take_along_axis(sds, pick, 0)[0], chosen
