"""Everything on a face that may be a mark, generously: measured and described, not yet judged."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.contrast import LIMIT
from vision.face.evidence import Evidence
from vision.face.lines.curves import Curve
from vision.face.lines.features import line_features
from vision.face.lines.search import FaceLines, face_lines
from vision.face.lines.width import scratch_width
from vision.face.raster import FaceInputs, Mask, reduce, spread
from vision.face.spots.detection import SpotGround, SpotPicture, spots
from vision.face.spots.features import Line, spot_features
from vision.face.spots.sizing import Spot
from vision.records import Array, Scratch

# Spots that stand out less are no candidates.
SPOT_FLOOR = 4.0
# Spots from here on that stand by themselves are taken out of the picture in which lines are looked for: no line leads
# away from them, stronger than the first or than the share of their own, and they are round.
_SPOT_SNR, _RAY_SNR, _RAY_SHARE, _RING, _RIDGE = 15.0, 6.0, 0.4, 0.5, 0.35
_POINT_SPACING_MM = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class FaceCandidates:
    """What may be a scratch, with its features (scratches, `LINE_FEATURES`), and what may be a pit, (spots,
    `SPOT_FEATURES`), not yet sized; and what both were told against.
    """

    scratches: tuple[Scratch, ...]
    line_features: NDArray[np.float64]
    spots: tuple[Spot, ...]
    spot_features: NDArray[np.float64]
    lines: FaceLines
    ground: SpotGround


def face_candidates(inputs: FaceInputs, evidence: Evidence, blur_px: float) -> FaceCandidates:
    """Find and describe all that may be a mark.

    Parameters
    ----------
    blur_px
        Of the optics, px of the fine raster.
    """
    region = evidence.region
    found, ground = spots(_spot_pictures(evidence), SPOT_FLOOR)
    lines = face_lines(evidence, [s for s in found if _stands_alone(s)])
    fine = [region.fine.from_px(region.coarse.to_px(line.curve)) for line in lines.found]
    widths = np.array([scratch_width(evidence, curve, blur_px) for curve in fine]) * region.pitch_mm(region.fine)
    scratches = tuple(
        _scratch(curve, float(line.snr), float(width), inputs, evidence)
        for curve, line, width in zip(fine, lines.found, widths, strict=True)
    )
    beside = [Line(curve, line.snr) for curve, line in zip(fine, lines.found, strict=True)]
    return FaceCandidates(
        scratches,
        line_features(lines, evidence, widths, _on_coarse(found, evidence)),
        tuple(found),
        spot_features(found, evidence, beside, inputs.tray_turn_deg),
        lines,
        ground,
    )


def _on_coarse(found: list[Spot], evidence: Evidence) -> NDArray[np.float64]:
    """Column and row on the coarse raster and snr of each spot, (spots, 3)."""
    times = evidence.region.coarse.step / evidence.region.fine.step
    rows = [((s.column + 0.5) / times - 0.5, (s.row + 0.5) / times - 0.5, s.snr) for s in found]
    return np.array(rows).reshape(-1, 3)


def _stands_alone(spot: Spot) -> bool:
    return (
        spot.snr >= _SPOT_SNR
        and spot.line <= max(_RAY_SNR, _RAY_SHARE * spot.snr)
        and spot.ring <= _RING
        and spot.ridge <= _RIDGE
    )


def _spot_pictures(evidence: Evidence) -> tuple[SpotPicture, ...]:
    """All lights combined; and the dome alone, coarsely.

    Where a low light reaches the face only by way of its surroundings a mark shows far less than expected of it, and
    the combination dilutes what the dome shows plainly.
    """
    region = evidence.region
    pictures = [SpotPicture(evidence.spots, evidence.lines, _seen(evidence))]
    for frame in evidence.frames:
        if frame.picture.light == "dome":
            dark = (1 - cv2.exp(frame.contrast_coarse)) / frame.noise * (frame.weight != 0)
            scored = (reduce(region.scored.astype(np.float32), region.coarse.shape) > 0.5) & frame.valid
            times = region.coarse.step // region.fine.step
            pictures.append(SpotPicture(dark, np.clip(dark, -LIMIT, LIMIT), scored, times))
    return tuple(pictures)


def _seen(evidence: Evidence) -> Mask:
    """The scored area as seen, on the fine raster."""
    seen = spread(evidence.seen.astype(np.float32), evidence.region.fine.shape, cv2.INTER_NEAREST)
    return evidence.region.scored & (seen > 0)


def _scratch(fine: Curve, snr: float, width_mm: float, inputs: FaceInputs, evidence: Evidence) -> Scratch:
    """A line placed in the frame and in the drawing."""
    region = evidence.region
    px = region.fine.to_px(_thinned(fine, _POINT_SPACING_MM / (inputs.mm_per_px * region.fine.step)))
    mm = inputs.to_mm(px)
    return Scratch(
        points_px=pairs(px),
        points_mm=pairs(mm),
        length_mm=float(np.hypot(*np.diff(mm, axis=0).T).sum()),
        width_mm=width_mm,
        snr=snr,
    )


def _thinned(curve: Curve, spacing: float) -> Curve:
    """Every so many points of a curve spaced by about 2 px, both ends kept."""
    pitch = float(np.hypot(*(curve[1] - curve[0])))
    pick = np.unique(np.append(np.arange(0, len(curve), max(1, int(spacing / pitch))), len(curve) - 1))
    return np.asarray(curve[pick])


def pairs(points: Array) -> tuple[tuple[float, float], ...]:
    """Points (n, 2) as pairs."""
    return tuple((float(x), float(y)) for x, y in points)
