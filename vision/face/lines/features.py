"""What is known of a line that may be a scratch, as numbers of physical meaning: what a judge of marks weighs."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.contrast import LIMIT, FrameContrast
from vision.face.evidence import Evidence
from vision.face.features import Feature
from vision.face.lines.curves import Curve, line_profile, strip
from vision.face.lines.ends import PROFILE_PX, STRIP_PX, over_beside
from vision.face.lines.rims import circle_goes_on, shares_on_rims
from vision.face.lines.scratches import Search, over_noise, snr_along
from vision.face.lines.search import FaceLines, standing_out
from vision.face.raster import Image

# Ratios beyond this say no more.
_MOST_RATIO = 20.0
# Where a light's level is read to either side of a line (px).
_ASIDE_PX = 6.0


LINE_FEATURES = (
    Feature("snr", "how far it stands out", 1),
    Feature("snr_dome", "how far it stands out in the dome", 1),
    Feature("snr_strongest", "how far it stands out in the strongest light of each place", 1),
    Feature("low_best", "how far it stands out under the low light that shows it best"),
    Feature("low_second", "how far under the second best low light"),
    Feature("height", "how bright it is at each of its points", 1),
    Feature("wide_mm", "its width"),
    Feature("evenness", "how even it is along its course"),
    Feature("bow", "how strongly it is bent"),
    Feature("comb", "lines that run along it on both sides", -1),
    Feature("light_edge", "how steeply a light changes its level across it", -1),
    Feature("beside", "how uneven the finish is beside it", -1),
    Feature("on_rim", "how much of it lies on a closed rim", -1),
    Feature("circle", "how plainly the circle through it goes on beyond its ends, over its own strength", -1),
    Feature("over_beside_dome", "how far it exceeds any line along it in the dome", 1),
    Feature("spot", "how strong a spot lies on it"),
)


def line_features(
    lines: FaceLines, evidence: Evidence, widths_mm: NDArray[np.float64], spots: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Features of every line found, (lines, features), in the order of `LINE_FEATURES`.

    Parameters
    ----------
    widths_mm
        (lines,) the lines' widths.
    spots
        (m, 3) column and row on the coarse raster and snr of the spots found.
    """
    found = list(lines.found)
    rims = shares_on_rims([line.curve for line in found])
    lows = [standing_out(frame, LIMIT) * _sign(frame) for frame in evidence.frames if frame.picture.light == "low"]
    out = np.zeros((len(found), len(LINE_FEATURES)))
    for i, line in enumerate(found):
        curve = line.curve
        by_light = np.sort([_response(curve, picture) for picture in lows] or [0.0])[::-1]
        out[i] = (
            line.snr,
            0.0 if lines.dome is None else _snr(curve, lines.dome),
            _snr(curve, lines.strongest),
            by_light[0],
            by_light[min(1, len(by_light) - 1)],
            line.snr / np.sqrt(len(curve)),
            widths_mm[i],
            _evenness(line.heights),
            _bow(curve),
            line.comb,
            max((_level_step(curve, frame) for frame in evidence.frames if frame.picture.light == "low"), default=0.0),
            line.beside,
            rims[i],
            _circle(curve, lines.combined) / max(line.snr, 1.0),
            1.0 if lines.dome is None else _over_beside(curve, lines.dome),
            _spot_on(curve, spots) / max(line.snr, 1.0),
        )
    return out


def _sign(frame: FrameContrast) -> Image:
    """Of a low light's contrast a mark is bright but where its weight says otherwise; nothing where it has none."""
    return np.asarray(frame.weight != 0, np.float32)


def _snr(curve: Curve, search: Search) -> float:
    return snr_along(curve, search.pictures.white, search.field)


def _response(curve: Curve, picture: Image) -> float:
    """A line's response along a curve in a picture in standard deviations of the finish, over root of its length."""
    values = strip(picture, curve, np.arange(-STRIP_PX, STRIP_PX + 1.0))
    seen = np.abs(values).sum(axis=1) > 0
    if not seen.any():
        return 0.0
    return float((values[seen] @ line_profile(STRIP_PX, 0, PROFILE_PX)).sum() / np.sqrt(len(curve)))


def _evenness(heights: NDArray[np.float64]) -> float:
    """Share of a line's length that reaches half its median height."""
    soft = cv2.blur(heights.reshape(-1, 1), (1, 7), borderType=cv2.BORDER_REFLECT).ravel()
    return float((soft >= 0.5 * np.median(soft)).mean())


def _bow(curve: Curve) -> float:
    """Sagitta over chord."""
    chord = curve[-1] - curve[0]
    across = (curve - curve[0]) @ (-chord[1], chord[0])
    return float(np.abs(across).max() / max(float(chord @ chord), 1e-12))


def _level_step(curve: Curve, frame: FrameContrast) -> float:
    """Logarithm of a light's level on one side of a curve over that on the other: large at the edge of a shadow or of
    the light's reflection.
    """
    level = strip(frame.brightness_coarse, curve, np.array([-_ASIDE_PX - 2, -_ASIDE_PX, _ASIDE_PX, _ASIDE_PX + 2.0]))
    left, right = (float(np.median(side)) for side in (level[:, :2], level[:, 2:]))
    return abs(float(np.log((left + 2.0) / (right + 2.0))))


def _circle(curve: Curve, search: Search) -> float:
    profile = line_profile(STRIP_PX, 0, PROFILE_PX)

    def along(other: Curve) -> NDArray[np.float64]:
        return over_noise(other, search.pictures.white, search.field, STRIP_PX) @ profile

    return circle_goes_on(curve, along)


def _over_beside(curve: Curve, search: Search) -> float:
    return float(np.clip(over_beside(curve, search.pictures.plain), -_MOST_RATIO, _MOST_RATIO))


def _spot_on(curve: Curve, spots: NDArray[np.float64]) -> float:
    """Snr of the strongest spot within half a millimetre or so of a curve."""
    if not len(spots):
        return 0.0
    gaps = np.hypot(*(curve[:, None] - spots[None, :, :2]).transpose(2, 0, 1)).min(axis=0)
    near = gaps <= 4.0
    return float(spots[near, 2].max()) if near.any() else 0.0
