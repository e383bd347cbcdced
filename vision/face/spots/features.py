"""What is known of a spot that may be a pit, as numbers of physical meaning: what a judge of marks weighs."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.face.evidence import Evidence, spot_patches
from vision.face.features import Feature
from vision.face.lines.curves import Curve
from vision.face.spots.lights import spots_in_lights
from vision.face.spots.sizing import PATCH_PX, Patch, Spot, fit_apart, fit_diameter, sharpness, slenderness

# Diameter of the grain of dust that a spot is held against (mm).
_GRAIN_MM = 0.06
# From this scale on a spot may be wider than the small patch on which it is sized.
_WIDE_SCALE = 3

# A spot so near a line lies on it (mm).
_ON_LINE_MM = 0.5

# Read for every spot.
SPOT_FEATURES = (
    Feature("snr", "how far it stands out", 1),
    Feature("scale", "at what width it stands out most"),
    Feature("ridge", "how bright it is beside it where nothing is taken off", -1),
    Feature("height", "how bright it is where nothing is taken off", 1),
    Feature("line", "how strong a line leads away from it, over its own strength", -1),
    Feature("line_snr", "how strong a line leads away from it"),
    Feature("low_best", "how bright it is under the low light that shows it best"),
    Feature("low_others", "how bright it is under the other low lights, over what is due", 1),
    Feature("low_due", "how bright it should be under the other low lights"),
    Feature("denied", "how much of what is due under the other low lights is missing"),
    Feature("glow", "how bright it is under a light that leaves the face dark"),
    Feature("on_line", "how strong a line it lies on, over its own strength", -1),
    Feature("bright_side_mm", "how far its bright side lies towards the light: a hollow shines on the far side", -1),
)
# Read besides of spots that are sized.
SIZED_FEATURES = (
    Feature("diameter_mm", "its diameter", 1),
    Feature("apart_mm", "its diameter apart from lines that run through it", 1),
    Feature("beyond_grain", "how much more a disc explains of it than a grain of dust", 1),
    Feature("gain", "how far it stands out beyond what a grain of dust explains", 1),
    Feature("slenderness", "how round it is", 1),
    Feature("sharpness", "how much sharper it is than the lens can draw", -1),
    Feature("blown", "share of it at the sensor's end"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line found: its curve on the fine raster, and its snr."""

    curve: Curve
    snr: float


def spot_features(
    spots: list[Spot], evidence: Evidence, lines: list[Line], tray_turn_deg: float
) -> NDArray[np.float64]:
    """What is read of every spot: (spots, features) in the order of `SPOT_FEATURES`."""
    if not spots:
        return np.zeros((0, len(SPOT_FEATURES)))
    places = np.array([(s.column, s.row) for s in spots])
    snr = np.array([s.snr for s in spots])
    least = np.maximum(snr, 1.0)
    lights = spots_in_lights(evidence, places, tray_turn_deg)
    line = np.array([s.line for s in spots])
    return np.column_stack(
        (
            snr,
            [s.scale for s in spots],
            np.clip([s.ridge for s in spots], -5.0, 5.0),
            [s.height for s in spots],
            line / least,
            line,
            lights.best,
            lights.others / np.maximum(lights.due, 1.0),
            lights.due,
            lights.due - lights.others,
            lights.glow,
            _on_lines(places, lines, evidence.region.pitch_mm(evidence.region.fine)) / least,
            lights.bright_side_mm,
        )
    )


@dataclass(frozen=True, slots=True)
class SizedSpot:
    """A spot's diameter (mm), and what is read besides, in the order of `SIZED_FEATURES`."""

    diameter_mm: float
    features: tuple[float, ...]


def sized(spot: Spot, evidence: Evidence, blur_px: float) -> SizedSpot:
    """Size a spot; `blur_px` of the optics, px of the fine raster."""
    pitch_mm = evidence.region.pitch_mm(evidence.region.fine)
    plain, patches = spot_patches(evidence, spot.column, spot.row, PATCH_PX)
    wide = spot.scale >= _WIDE_SCALE
    size = fit_diameter(patches, blur_px, wide)
    apart, beyond = fit_apart(patches, blur_px, _GRAIN_MM / pitch_mm, wide)
    first: Patch = patches[0]
    middle = slice(PATCH_PX - 2, PATCH_PX + 3)
    return SizedSpot(
        (size if plain else apart) * pitch_mm,
        (
            size * pitch_mm,
            apart * pitch_mm,
            beyond,
            beyond * spot.snr,
            slenderness(first.picture),
            sharpness(first, blur_px),
            1.0 - float(first.use[middle, middle].mean()),
        ),
    )


def _on_lines(places: NDArray[np.float64], lines: list[Line], pitch_mm: float) -> NDArray[np.float64]:
    """Snr of the strongest line that passes near each place, 0 of none."""
    out = np.zeros(len(places))
    for line in lines:
        gaps = np.hypot(*(places[:, None] - line.curve[None]).transpose(2, 0, 1)).min(axis=1)
        out = np.where(gaps * pitch_mm <= _ON_LINE_MM, np.maximum(out, line.snr), out)
    return out
