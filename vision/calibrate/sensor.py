"""A sensor's gain, read noise, full well and linearity from pairs of flat frames: EMVA 1288's photon transfer.

Linear model of EMVA 1288: var y = K² sd² + 1/12 + K (mean y - mean dark), with K the gain in counts an electron, sd
the read noise in electrons, 1/12 the rounding to whole counts. Two frames of the same light tell the noise of time
apart from unevenness of light and pixels: its variance is half that of their difference.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.calibrate.corners import Pixels
from vision.errors import Unusable
from vision.records import Array

ROUNDING = 1.0 / 12.0  # variance of a value rounded to whole counts
# EMVA 1288, photon transfer: the slope is taken up to 70 % of saturation, linearity from 5 to 95 %.
_SLOPE_UP_TO = 0.70
_LINEAR_FROM, _LINEAR_UP_TO = 0.05, 0.95
# Below this share of pixels at 0, or at full scale, a frame's variance is not cut off.
_CUT_OFF = 1e-3
# Rounding adds 1/12 only where noise spreads over several counts: below this variance it is off by more than 0.2 %
# (EMVA 1288 itself stops at 0.24, where it may be off by 4 %).
_LEAST_VARIANCE = 0.4
# A little above it, pairs tell most of the read noise.
_TELLING_VARIANCE = 0.55
_LEAST_PAIRS = 3


@dataclass(frozen=True, slots=True)
class FlatPair:
    """Two frames of one even light: mean level, temporal variance (counts); shares of pixels at 0 and at full scale."""

    mean: float
    variance: float
    at_zero: float
    at_top: float
    pixels: int


@dataclass(frozen=True, slots=True)
class PhotonTransfer:
    """What pairs of flat frames say of a sensor, with standard uncertainties.

    `gain_dn_per_e` K; `read_noise_e` and its uncertainty are nan where rounding hides it; `black_level` in counts;
    `full_well_e`, electrons at full scale or where the noise began to fall, a lower bound where `saturated` is False;
    `linearity_error` is the mean absolute deviation from a line through the levels, relative, None without exposures.
    """

    gain_dn_per_e: float
    gain_standard: float
    read_noise_e: float
    read_noise_standard_e: float
    black_level: float
    full_well_e: float
    saturated: bool
    snr_max: float
    linearity_error: float | None


def measure_pair(first: Pixels, second: Pixels, full_scale: float, name: str) -> FlatPair:
    """Mean and temporal variance of two frames of one light.

    Parameters
    ----------
    first
        A frame, (rows, columns).
    second
        Another of the same light, (rows, columns).
    full_scale
        The count that the sensor can't exceed.
    name
        What the pair is called in an error.

    Returns
    -------
    FlatPair
        Mean in counts, temporal variance in counts squared.

    Raises
    ------
    Unusable
        The frames differ in size.
    """
    if first.shape != second.shape:
        raise Unusable(name, "", "two frames of one size", f"{first.shape[::-1]} and {second.shape[::-1]} px")
    a, b = first.astype(np.float64), second.astype(np.float64)
    # np.var takes the frames' own means away, so that a lamp that changed between them does no harm.
    variance = float(np.var(a - b)) / 2.0
    both = np.concatenate((a.ravel(), b.ravel()))
    return FlatPair(
        float((a.mean() + b.mean()) / 2.0),
        variance,
        float(np.mean(both == 0)),
        float(np.mean(both >= full_scale)),
        first.size,
    )


def photon_transfer(
    pairs: Sequence[FlatPair], full_scale: float, dark: FlatPair | None = None, exposures: Sequence[float] | None = None
) -> PhotonTransfer:
    """Fit the linear model to pairs at several levels.

    Parameters
    ----------
    pairs
        Lit pairs at three or more levels, in any order.
    full_scale
        The count that the sensor can't exceed.
    dark
        A pair without light; without one, or when it is cut off at 0, the black level counts as 0.
    exposures
        Relative exposure of each pair (time, say), for the linearity.

    Returns
    -------
    PhotonTransfer
        Gain, noise, full well and linearity (EMVA 1288).

    Raises
    ------
    Unusable
        Fewer than three levels that are cut off nowhere.
    """
    order = np.argsort([pair.mean for pair in pairs])
    lit = [pairs[i] for i in order]
    whole_dark = dark if dark is not None and dark.at_zero < _CUT_OFF else None
    black = whole_dark.mean if whole_dark else 0.0
    top, saturated = _saturation(lit, full_scale)
    slope_end = _SLOPE_UP_TO * (top - black) if saturated else np.inf
    usable = [p for p in (*lit, *([whole_dark] if whole_dark else [])) if p.variance > _LEAST_VARIANCE]
    used = [p for p in usable if max(p.at_zero, p.at_top) < _CUT_OFF and p.mean - black <= slope_end]
    if len(used) < _LEAST_PAIRS:
        expected = (
            f"{_LEAST_PAIRS} pairs or more at different levels between black and {_SLOPE_UP_TO:.0%} of saturation"
        )
        raise Unusable("flat frames", "", expected, str(len(used)))
    line = _line(used, black)
    if line.gain <= 0.0:
        raise Unusable("flat frames", "", "noise that rises with the light: are the pairs of one even light each?")
    read, read_standard = _read_noise(line)
    full_well = (top - black) / line.gain
    return PhotonTransfer(
        gain_dn_per_e=line.gain,
        gain_standard=float(np.sqrt(line.covariance[1, 1])),
        read_noise_e=read,
        read_noise_standard_e=read_standard,
        black_level=black,
        full_well_e=full_well,
        saturated=saturated,
        snr_max=float(np.sqrt(full_well)),
        linearity_error=_linearity(lit, [exposures[i] for i in order], black, top) if exposures else None,
    )


def level_for_read_noise(found: PhotonTransfer) -> float:
    """The level, in counts, whose pairs tell most of the read noise: just bright enough for rounding to be even.

    Parameters
    ----------
    found
        The sensor as its photon transfer shows it.

    Returns
    -------
    float
        Level, counts.
    """
    read = 0.0 if np.isnan(found.read_noise_e) else found.gain_dn_per_e * found.read_noise_e
    return found.black_level + max(_TELLING_VARIANCE - ROUNDING - read**2, 0.0) / found.gain_dn_per_e


def _saturation(lit: Sequence[FlatPair], full_scale: float) -> tuple[float, bool]:
    """Level at which the sensor is full and whether it was reached: full scale, or where the noise begins to fall."""
    if lit[-1].at_top > _CUT_OFF:
        return full_scale, True
    peak = int(np.argmax([pair.variance for pair in lit]))
    return lit[peak].mean, peak < len(lit) - 1


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """Variance over level: `floor` + `gain` x level, counts^2, and the covariance of the two (2, 2)."""

    floor: float
    gain: float
    covariance: Array


def _line(pairs: Sequence[FlatPair], black: float) -> _Line:
    """Weighted fit of variance over level.

    A variance from n pixels has a relative standard uncertainty of sqrt(2 / n) (normal noise).
    """
    level = np.array([p.mean - black for p in pairs])
    variance = np.array([p.variance for p in pairs])
    weight = 1.0 / (variance * np.sqrt(2.0 / np.array([p.pixels for p in pairs])))
    design = np.column_stack((np.ones_like(level), level)) * weight[:, None]
    covariance = np.linalg.inv(design.T @ design)
    floor, gain = covariance @ design.T @ (variance * weight)
    return _Line(float(floor), float(gain), np.asarray(covariance, dtype=float))


def _read_noise(line: _Line) -> tuple[float, float]:
    """sd = sqrt(floor - 1/12) / K and its propagated uncertainty; nan where nothing is left above rounding."""
    left = line.floor - ROUNDING
    if left <= 2.0 * np.sqrt(line.covariance[0, 0]):
        return float("nan"), float("nan")
    read = float(np.sqrt(left)) / line.gain
    slopes = np.array([read / (2.0 * left), -read / line.gain])
    return read, float(np.sqrt(slopes @ line.covariance @ slopes))


def _linearity(lit: Sequence[FlatPair], exposures: Sequence[float], black: float, top: float) -> float:
    """Mean absolute relative deviation from the best line, weighted by 1/level (EMVA 1288, release 3.1 and later)."""
    level = np.array([p.mean - black for p in lit])
    exposure = np.asarray(exposures, dtype=float)
    within = (level >= _LINEAR_FROM * top) & (level <= _LINEAR_UP_TO * top)
    if within.sum() < _LEAST_PAIRS:
        return float("nan")
    level, exposure = level[within], exposure[within]
    design = np.column_stack((np.ones_like(exposure), exposure)) / level[:, None]
    line, *_ = np.linalg.lstsq(design, np.ones_like(level), rcond=None)
    return float(np.mean(np.abs(level / (line[0] + line[1] * exposure) - 1.0)))
