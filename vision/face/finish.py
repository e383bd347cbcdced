"""How strongly the wheel's lines show: a measure by which a works watches its buffing wheels."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vision.face.contrast import FrameContrast
from vision.face.raster import Region
from vision.face.whitening import padded, transform

# Half the width of the sector of directions that counts as along the buffing (degrees), and the pitches of lines (mm).
_SECTOR_DEG = 7.5
_PITCHES_MM = (0.25, 2.0)
_SECTORS = round(180.0 / _SECTOR_DEG)
_LIMIT = 4.0


def buffing_lines(region: Region, frames: tuple[FrameContrast, ...]) -> tuple[float | None, float | None]:
    """`buffing_line_level` and its standard uncertainty, both in per cent; None without a low light.

    The level is the standard deviation of relative contrast, under the low lights, that lines of 0.25 to 2 mm pitch
    within 7.5 degrees of the strongest direction carry beyond those of the median direction: root of the mean square
    over the lights, each weighted by the area it shows. It depends on the lights: compare it at one station only. The
    uncertainty is that of a power summed over the spectrum's bins, each of two degrees of freedom (Bendat & Piersol,
    Random Data, section 8.5); a wheel's own variation comes on top.
    """
    power, area, squares = 0.0, 0.0, 0.0
    size = padded(region.coarse.shape)
    sector = _sectors(size, region.pitch_mm(region.coarse))
    for frame in frames:
        seen = float(frame.valid.sum())
        if frame.picture.light != "low" or not seen:
            continue
        limit = np.float32(_LIMIT) * frame.noise
        contrast = np.maximum(np.minimum(frame.contrast_coarse, limit), -limit) * frame.valid
        spectrum = transform(contrast)
        # both halves of the spectrum; by Parseval's theorem the sum over it is that over the pixels
        bins = ((spectrum.real**2 + spectrum.imag**2) * np.float32(2.0 / (size[0] * size[1]))).ravel()
        # sectors half as wide, two by two, so that the strongest direction may lie anywhere
        sums, spreads = (
            half + np.roll(half, -1)
            for half in (np.bincount(sector, weights=w, minlength=_SECTORS + 1)[:-1] for w in (bins, bins**2))
        )
        best = int(np.argmax(sums))
        power += max(float(sums[best] - np.median(sums)), 0.0)
        squares += float(spreads[best])
        area += seen
    if not area:
        return None, None
    level = 100.0 * np.sqrt(power / area)
    just_shown = np.sqrt(squares)
    # a level of nothing is uncertain by what would just show
    error = 0.5 * level * just_shown / power if power > just_shown else 100.0 * np.sqrt(just_shown / area)
    return float(level), float(error)


@lru_cache(maxsize=8)
def _sectors(size: tuple[int, int], pitch_mm: float) -> NDArray[np.intp]:
    """Half sector of directions of each bin of a half spectrum, flat; `_SECTORS` outside the pitches."""
    fy, fx = np.fft.fftfreq(size[0])[:, None], np.fft.rfftfreq(size[1])[None]
    radius = np.hypot(fx, fy) / pitch_mm
    turn = np.mod(np.degrees(np.arctan2(fy, fx)), 180.0)
    sector = np.minimum((turn / _SECTOR_DEG).astype(int), _SECTORS - 1)
    return np.where((radius >= 1 / _PITCHES_MM[1]) & (radius <= 1 / _PITCHES_MM[0]), sector, _SECTORS).ravel()
