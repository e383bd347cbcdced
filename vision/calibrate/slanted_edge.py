"""Sharpness from the picture of one straight, slightly slanted edge, after ISO 12233: edge, line, transfer.

Rows cross the edge at ever other places within a pixel; laid over each other along the edge's normal they sample the
edge several times a pixel.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import curve_fit
from scipy.signal.windows import tukey
from scipy.special import ndtr

from vision.calibrate.corners import Pixels
from vision.errors import Unusable
from vision.records import Array

BINS_PER_PX = 4  # ISO 12233
_MIN_SIDE_PX = 20
_MIN_SLANT_DEG, _MAX_SLANT_DEG = 1.0, 40.0
# Half width of the line spread that is transformed, in blurs: what lies beyond is noise. Its outer third is tapered; a
# Hamming window over so little would narrow the line and raise MTF50 by 6 %.
_REACH_BLURS = 8.0
_LEAST_REACH_PX = 6.0
_TAPERED = 0.35


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSharpness:
    """Sharpness across one edge.

    `frequency` (cycles/px) and `transfer`, the modulation transfer function of optics and pixel together; `mtf50`,
    `mtf10`, where it falls to 0.5 and 0.1; `blur_px`, sigma of the Gaussian that fits the edge, the pixel's box
    (variance 1/12 px²) included; `slant_deg` from the nearest axis.
    """

    frequency: Array
    transfer: Array
    mtf50: float
    mtf10: float
    blur_px: float
    slant_deg: float


def edge_sharpness(pixels: Pixels, name: str) -> EdgeSharpness:
    """Measure a cut-out that holds one straight edge between two even levels.

    Parameters
    ----------
    pixels
        The cut-out, (rows, columns).
    name
        What it is called in an error.

    Returns
    -------
    EdgeSharpness
        Blur in px, and the modulation transfer by frequency in cycles a pixel (ISO 12233).

    Raises
    ------
    Unusable
        Too small, no edge, several edges, or an edge along the pixels' rows or columns.
    """
    values = pixels.astype(float)
    if min(values.shape) < _MIN_SIDE_PX:
        found = f"{values.shape[1]} x {values.shape[0]} px"
        raise Unusable(name, "", f"a cut-out of {_MIN_SIDE_PX} x {_MIN_SIDE_PX} px or more", found)
    if np.abs(np.diff(values, axis=0).sum(axis=0)).mean() > np.abs(np.diff(values, axis=1).sum(axis=1)).mean():
        values = values.T
    if values[:, : values.shape[1] // 4].mean() > values[:, -(values.shape[1] // 4) :].mean():
        values = values[:, ::-1]
    slope, offset = _edge_line(values, name)
    slant = float(np.rad2deg(np.arctan(slope)))
    if not _MIN_SLANT_DEG <= abs(slant) <= _MAX_SLANT_DEG:
        expected = f"an edge slanted by {_MIN_SLANT_DEG:g} to {_MAX_SLANT_DEG:g} degrees (5 is usual)"
        raise Unusable(name, "", expected, f"{abs(slant):.1f} degrees")
    rows, columns = np.indices(values.shape)
    distance = ((columns - offset - slope * rows) / np.hypot(1.0, slope)).ravel()
    blur, centre = _gaussian_edge(distance, values.ravel(), name)
    frequency, transfer = _transfer(distance - centre, values.ravel(), max(_LEAST_REACH_PX, _REACH_BLURS * blur))
    return EdgeSharpness(
        frequency,
        transfer,
        _falls_to(frequency, transfer, 0.5),
        _falls_to(frequency, transfer, 0.1),
        blur,
        slant,
    )


def _edge_line(values: Array, name: str) -> tuple[float, float]:
    """Slope and offset of the edge's column over the row: centroids of each row's steps, again in a window there."""
    steps = np.diff(values, axis=1)
    tray_frame_of = np.arange(steps.shape[1]) + 0.5
    rows = np.arange(len(steps))
    low, high = np.percentile(values, (2.0, 98.0))
    noise = np.median(np.abs(np.diff(steps, axis=1)))
    if high - low < max(8.0 * noise, 1.0):
        raise Unusable(name, "", "one edge between a dark and a bright side", "no edge")
    smooth = np.apply_along_axis(np.convolve, 1, steps, np.ones(5) / 5.0, "same")
    line = np.polyfit(rows, tray_frame_of[np.argmax(smooth, axis=1)], 1)
    for half_width in (0.25 * steps.shape[1], 8.0, 8.0):
        near = np.abs(tray_frame_of[None, :] - np.polyval(line, rows)[:, None]) <= half_width
        weight = np.where(near, steps, 0.0)
        total = weight.sum(axis=1)
        good = total > 0.5 * (high - low)
        if good.sum() < 0.8 * len(rows):
            raise Unusable(
                name, "", "one straight edge from side to side", "an edge that is broken or not the only one"
            )
        line = np.polyfit(rows[good], (weight @ tray_frame_of)[good] / total[good], 1)
    return float(line[0]), float(line[1])


def _gaussian_edge(distance: Array, levels: Array, name: str) -> tuple[float, float]:
    """Sigma of the Gaussian whose edge fits best (the pixel's box included), and the edge's place."""

    def edge(x: Array, low: float, step: float, centre: float, sigma: float) -> Array:
        return np.asarray(low + step * ndtr((x - centre) / sigma))

    near = np.abs(distance) < 12.0
    low, high = np.percentile(levels, (5.0, 95.0))
    try:
        found, _ = curve_fit(edge, distance[near], levels[near], p0=(low, high - low, 0.0, 1.0))
    except RuntimeError:
        raise Unusable(name, "", "one edge between two even sides", "an edge that no blur explains") from None
    return abs(float(found[3])), float(found[2])


def _transfer(distance: Array, levels: Array, reach_px: float) -> tuple[Array, Array]:
    """Bin the edge, differentiate, taper, transform; then take out what bins and difference did.

    Averaging over a bin and differencing over two each low-pass the line: both are sinc in frequency.
    """
    edges = np.arange(-reach_px, reach_px + 1.0 / BINS_PER_PX, 1.0 / BINS_PER_PX)
    which = np.digitize(distance, edges) - 1
    inside = (which >= 0) & (which < len(edges) - 1)
    count = np.bincount(which[inside], minlength=len(edges) - 1)
    sums = np.bincount(which[inside], weights=levels[inside], minlength=len(edges) - 1)
    centres = edges[:-1] + 0.5 / BINS_PER_PX
    filled = count > 0
    profile = np.interp(centres, centres[filled], sums[filled] / count[filled])
    line = np.diff(profile) * tukey(len(profile) - 1, _TAPERED)
    padded = 16 * len(line)
    transfer = np.abs(np.fft.rfft(line, padded))
    frequency = np.fft.rfftfreq(padded, 1.0 / BINS_PER_PX)
    # Bin of 1/4 px, difference over 1/4 px.
    undo = np.sinc(frequency / BINS_PER_PX) ** 2
    keep = frequency <= 1.0
    found = transfer[keep] / transfer[0] / undo[keep]
    return np.asarray(frequency[keep], dtype=float), np.asarray(found, dtype=float)


def _falls_to(frequency: Array, transfer: Array, share: float) -> float:
    """First frequency at which the transfer falls to a share of its start; nan where it never does."""
    below = np.flatnonzero(transfer < share)
    if len(below) == 0 or below[0] == 0:
        return float("nan")
    i = int(below[0])
    return float(np.interp(share, [transfer[i], transfer[i - 1]], [frequency[i], frequency[i - 1]]))
