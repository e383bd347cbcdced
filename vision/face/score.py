"""The polished face of one piece: scratches, pits and specks on its scored area, and how finely it is finished."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.face.blur import edge_blur_px
from vision.face.contrast import LIMIT
from vision.face.departures import departures
from vision.face.evidence import Evidence, combine, seen_by_one, spot_patches
from vision.face.finish import buffing_lines
from vision.face.frame_check import FrameFault
from vision.face.frames import take_frames
from vision.face.lines.curves import Curve
from vision.face.lines.joining import Candidate
from vision.face.lines.search import face_lines
from vision.face.lines.width import scratch_width
from vision.face.raster import FaceInputs, Mask, Region, find_region, reduce, spread
from vision.face.seen import Grounds, Seen, what_was_seen
from vision.face.spots.detection import SpotPicture, spots
from vision.face.spots.sizing import PATCH_PX, Spot, fit_apart, fit_diameter, sharper_than_optics, slenderness
from vision.records import Array, Mark, Pit, Reference, Scratch, Speck, Stain

# At most so many findings a piece, the strongest.
MOST_FINDINGS = 200
# The detection limits: what is reported at all. See docs/benchmarks/face.md for what they find and what they cost.
SCRATCH_SNR = 5.6
PIT_SNR = 7.8
# Shorter lines than this must stand out so much more: where lines of the wheel cross they leave short bright knots.
_SHORT_MM = 1.5
_SHORT_FACTOR = 1.5
# Spots from here on are taken out of the picture in which lines are looked for.
_SPOT_SNR = 15.0
# Spots up to this diameter are dust: nothing smaller can be told from a point through the optics. Strong ones are sized
# better, but for those best seen at the finest scale.
_SPECK_MM, _STRONG_SPECK_MM, _STRONG_SNR = 0.125, 0.112, 50.0
# What is best seen at the finest scale is dust below this snr; so is what is best seen up to the second one, below the
# other snr, where it looks as wide as no grain is: then what lies about it does.
_FINEST_SNR, _FINE_SCALE, _FINE_SNR = 16.0, 1, 25.0
# Spots below this snr that are not plain in the dome, and spots that look so narrow, are sized apart from the lines
# that run through them.
_WEAK_SNR, _NARROW_MM = 35.0, 0.15
# Weak ones are dust too, and wide ones (from the first diameter on) below the other snr, unless the best disc explains
# more of them than a grain of the second diameter does, by a share that is at least so much over the snr.
_GRAINS_MM, _WIDE_WEAK_SNR, _GRAIN_MM, _BEYOND_GRAIN = 0.5, 18.0, 0.06, 0.9
# Below this snr a spot is a stretch of a line when it is so much longer than wide (ratio of second moments).
_SLENDER_SNR, _SLENDER = 25.0, 0.3
# From this scale on (see pits), and where it is strong, a spot may be wider than the small patch on which it is sized.
_WIDE_SCALE = 3
# Only weak spots about as small as the blur may be glints: they can be told to be sharper than it (px of the fine
# raster), and what one lamp alone shows so strongly, wider than dust, is a pit's wall that faces it.
_SHARP_PX, _GLINT_SNR = 5.0, 20.0
# A spot so near a stronger scratch is part of it; a line so near a stronger pit, and not longer than it by more than
# so much, is the pit's echo in the line filters (a speck has none).
_TOGETHER_MM = 0.5
_ECHO_NEAR_MM, _ECHO_MM = 0.3, 2.0
# A line below this snr, so wide and so bent (sagitta over chord), is the edge of a reflection.
_EDGE_SNR, _EDGE_MM, _EDGE_BOW = 15.0, 0.2, 0.12
_POINT_SPACING_MM = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class FaceScore:
    """What was seen on one face.

    `findings`: strongest first, at most 200. `scored_area_cm2`: inside the scored area and seen, neither blown nor
    lost in shadow, in one front-lit frame at least. `buffing_line_level`: per cent, see `buffing_lines`. Each with
    its standard uncertainty; None without a scored area or a front-lit frame. `faults`: frames that are not what
    they are called. `seen`: what could have been seen; None too where a frame had to be left out, since nobody knows
    what it would have shown.
    """

    findings: tuple[Scratch | Pit | Speck | Mark | Stain, ...]
    scored_area_cm2: float | None
    scored_area_uncertainty_cm2: float | None
    buffing_line_level: float | None
    buffing_line_uncertainty: float | None
    faults: tuple[FrameFault, ...] = ()
    seen: Seen | None = None


_UNSEEN = FaceScore((), None, None, None, None)


def score_face(inputs: FaceInputs, reference: Reference | None = None) -> FaceScore:
    """Score the polished face of one piece.

    Parameters
    ----------
    inputs
        The piece's pictures, drawing and place in the frames.
    reference
        The marks that must have been visible where the face counts as seen; None: the usual ones.

    Returns
    -------
    FaceScore
        Scored area, findings, and what could have been seen.
    """
    surface = inputs.part.surface
    region = None if surface is None else find_region(inputs, surface)
    if region is None:
        return _UNSEEN
    taken = take_frames(inputs, region)
    frames, faults = taken.contrasts, taken.faults
    if not frames:
        return FaceScore((), None, None, None, None, faults)
    evidence = combine(region, frames)
    blur_px = edge_blur_px(inputs)
    findings, grounds = _findings(inputs, evidence, blur_px)
    area, error = _area(inputs, region, evidence.seen)
    level, level_error = buffing_lines(region, frames)
    seen = None
    if taken.complete:
        seen = what_was_seen(inputs, evidence, grounds, taken.blurs_px, reference or Reference())
    patches = departures(inputs, region, frames)
    return FaceScore((*findings, *patches), area, error, level, level_error, faults, seen)


def _findings(
    inputs: FaceInputs, evidence: Evidence, blur_px: float
) -> tuple[tuple[Scratch | Pit | Speck, ...], Grounds]:
    """Scratches, pits and specks, and what they were told against."""
    region = evidence.region
    blur = blur_px / region.fine.step
    detected, ground = spots(_spot_pictures(evidence), PIT_SNR)
    found = [spot for s in detected if (spot := _spot(s, inputs, evidence, blur)) is not None]
    lines = face_lines(evidence, [s for s in found if s.snr >= _SPOT_SNR], SCRATCH_SNR)
    scratches = [_scratch(line, inputs, evidence, blur) for line in lines.lines]
    scratches = [s for s in scratches if s.length_mm >= _SHORT_MM or s.snr >= _SHORT_FACTOR * SCRATCH_SNR]
    scratches = [s for s in scratches if not _is_reflection(s)]
    scratches = [s for s in scratches if not any(_is_echo(s, p) for p in found if isinstance(p, Pit))]
    found = [p for p in found if not any(_beside(s, p, _TOGETHER_MM) and p.snr <= s.snr for s in scratches)]
    return tuple(sorted((*scratches, *found), key=lambda f: -f.snr)[:MOST_FINDINGS]), Grounds(lines, ground)


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


def _area(inputs: FaceInputs, region: Region, seen: Mask) -> tuple[float, float]:
    """Scored area that was seen and its standard uncertainty, cm2: the drawing's area times the share of it seen."""
    share = reduce(region.scored.astype(np.float32), region.coarse.shape)
    area = region.area_mm2 * float((share * seen).sum()) / max(float(share.sum()), 1e-9)
    error = np.hypot(2 * area * inputs.scale_relative, region.perimeter_mm * inputs.edge_mm)
    return area / 100.0, float(error) / 100.0


def _scratch(line: Candidate, inputs: FaceInputs, evidence: Evidence, blur: float) -> Scratch:
    """A line placed in the frame and in the drawing, with its width."""
    region = evidence.region
    fine = region.fine.from_px(region.coarse.to_px(line.curve))
    px = region.fine.to_px(_thinned(fine, _POINT_SPACING_MM / (inputs.mm_per_px * region.fine.step)))
    mm = inputs.to_mm(px)
    return Scratch(
        points_px=_pairs(px),
        points_mm=_pairs(mm),
        length_mm=float(np.hypot(*np.diff(mm, axis=0).T).sum()),
        width_mm=scratch_width(evidence, fine, blur) * inputs.mm_per_px * region.fine.step,
        snr=float(line.snr),
    )


def _thinned(curve: Curve, spacing: float) -> Curve:
    """Every so many points of a curve spaced by about 2 px, both ends kept."""
    pitch = float(np.hypot(*(curve[1] - curve[0])))
    pick = np.unique(np.append(np.arange(0, len(curve), max(1, int(spacing / pitch))), len(curve) - 1))
    return np.asarray(curve[pick])


def _pairs(points: Array) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in points)


def _spot(spot: Spot, inputs: FaceInputs, evidence: Evidence, blur: float) -> Pit | Speck | None:
    """A spot sized; a speck when it is no wider than dust, or not plain in the dome and sharper than the optics; None
    when it is a stretch of a line.
    """
    raster = evidence.region.fine
    plain, patches = spot_patches(evidence, spot.column, spot.row, PATCH_PX)
    if spot.snr < _SLENDER_SNR and slenderness(patches[0].picture) < _SLENDER:
        return None
    pitch_mm = inputs.mm_per_px * raster.step
    wide = spot.scale >= _WIDE_SCALE or spot.snr >= _GLINT_SNR
    weak = spot.snr < _WEAK_SNR
    size = fit_diameter(patches, blur, wide) if plain or not weak else 0.0
    narrow, beyond_grain = size * pitch_mm < _NARROW_MM, 1.0
    if weak or narrow:
        apart, beyond_grain = fit_apart(patches, blur, _GRAIN_MM / pitch_mm, wide)
        size = apart if narrow else size
    diameter = size * pitch_mm
    px = raster.to_px(np.array([[spot.column, spot.row]]))
    least = _STRONG_SPECK_MM if spot.snr >= _STRONG_SNR and spot.scale else _SPECK_MM
    broad = diameter >= _GRAINS_MM
    finest = spot.scale == 0 and spot.snr < _FINEST_SNR
    fine = broad and spot.scale <= _FINE_SCALE and spot.snr < _FINE_SNR
    grain = spot.snr < (_WIDE_WEAK_SNR if broad else _WEAK_SNR) and beyond_grain * spot.snr < _BEYOND_GRAIN
    dust = finest or fine or diameter < least or grain
    glint = (
        not plain
        and size <= _SHARP_PX
        and spot.snr < _GLINT_SNR
        and (sharper_than_optics(patches[0], blur) or seen_by_one(evidence, spot.column, spot.row))
    )
    make = Speck if dust or glint else Pit
    return make(_pairs(px)[0], _pairs(inputs.to_mm(px))[0], diameter, float(spot.snr))


def _beside(scratch: Scratch, spot: Pit | Speck, reach_mm: float) -> bool:
    """Whether a spot's edge lies so near a scratch."""
    points = np.array(scratch.points_mm)
    gap = float(np.hypot(*(points - spot.center_mm).T).min())
    return gap < spot.diameter_mm / 2 + reach_mm


def _is_reflection(scratch: Scratch) -> bool:
    """Whether a line is the edge of a reflection: weak, wide and bent."""
    if scratch.snr >= _EDGE_SNR or scratch.width_mm < _EDGE_MM:
        return False
    points = np.array(scratch.points_mm)
    chord = points[-1] - points[0]
    off = (points - points[0]) @ (-chord[1], chord[0])
    return bool(np.abs(off).max() > _EDGE_BOW * (chord @ chord))


def _is_echo(scratch: Scratch, pit: Pit) -> bool:
    """Whether a short line is no more than the rim or the echo of a stronger pit."""
    short = scratch.length_mm < _ECHO_MM + pit.diameter_mm
    return short and scratch.snr < pit.snr and _beside(scratch, pit, _ECHO_NEAR_MM)
