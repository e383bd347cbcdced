"""A scratch's width: the mean cross profile along it, fitted by a blurred box."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.face.evidence import Evidence
from vision.face.lines.curves import Curve, resample, strip
from vision.face.spots.sizing import peak_of

_HALF_PX = 9
_WIDTHS_PX = tuple(np.geomspace(0.4, 10.0, 24).tolist())
_SHIFTS_PX = (-1.0, -0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75, 1.0)
# At least so much of a scratch must be seen unblown to be sized under the low lights; the rest is sized on the dome.
_UNBLOWN_SHARE = 0.3


def scratch_width(evidence: Evidence, curve: Curve, blur_px: float) -> float:
    """Width of the box that, blurred, explains most of the mean profile across a curve; all px of the fine raster."""
    across = np.arange(-_HALF_PX, _HALF_PX + 1.0)
    curve = resample(curve, 1.0)
    blown = np.zeros(len(curve), bool)
    for frame in evidence.frames:
        if frame.picture.light == "low":
            blown |= (strip(frame.blown.astype(np.float32), curve, across) > 0).any(axis=1)
    use = ~blown
    if use.mean() >= _UNBLOWN_SHARE:
        values = strip(evidence.spots, curve, across)[use]
    else:
        dome = next((frame for frame in evidence.frames if frame.picture.light == "dome"), None)
        values = strip(evidence.spots, curve, across) if dome is None else -strip(dome.contrast, curve, across)
    profile = np.median(values, axis=0) if len(values) < 5 else _trimmed_mean(values)
    gains = np.maximum((_boxes(round(blur_px, 2)) @ profile.astype(np.float64)).max(axis=1), 0) ** 2
    return peak_of(gains, _WIDTHS_PX)


def _trimmed_mean(values: NDArray[np.float32]) -> NDArray[np.float64]:
    """Mean of the middle four fifths in each column."""
    ordered = np.sort(values, axis=0)
    cut = len(ordered) // 10
    return np.asarray(ordered[cut : len(ordered) - cut].mean(axis=0, dtype=np.float64))


@lru_cache(maxsize=8)
def _boxes(blur_px: float) -> NDArray[np.float64]:
    """Blurred boxes less their straight line, unit norm: (widths, shifts, samples)."""
    across = np.arange(-_HALF_PX, _HALF_PX + 1.0)
    # the pixel's own width adds to the blur; reading between pixels widens by a sixth more on average
    sigma = np.sqrt(blur_px**2 + 1 / 12 + 1 / 6)
    out = np.array(
        [
            [ndtr((across - d + w / 2) / sigma) - ndtr((across - d - w / 2) / sigma) for d in _SHIFTS_PX]
            for w in _WIDTHS_PX
        ]
    )
    base = np.stack([np.full(len(across), 1 / np.sqrt(len(across))), across / np.sqrt((across**2).sum())])
    out = out - (out @ base.T) @ base
    return np.asarray(out / np.sqrt((out**2).sum(axis=-1, keepdims=True)))
