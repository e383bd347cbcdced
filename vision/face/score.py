"""The polished face of one piece: scratches, pits and specks on its scored area, and how finely it is finished."""

from dataclasses import dataclass, replace

import numpy as np

from vision.face.blur import edge_blur_px
from vision.face.candidates import FaceCandidates, face_candidates, pairs
from vision.face.departures import departures
from vision.face.evidence import Evidence, combine
from vision.face.finish import buffing_lines
from vision.face.frame_check import FrameFault
from vision.face.frames import take_frames
from vision.face.judging import judged_by, weighed_most
from vision.face.lines.features import LINE_FEATURES
from vision.face.raster import FaceInputs, Mask, Region, find_region, reduce
from vision.face.seen import Grounds, Seen, what_was_seen
from vision.face.spots.features import SIZED_FEATURES, SPOT_FEATURES, sized
from vision.face.spots.sizing import Spot
from vision.records import LIKELY, Mark, MarkJudge, Pit, Reference, Scratch, Speck, Stain

# At most so many findings a piece, the likeliest.
MOST_FINDINGS = 200
# Candidates with a lesser chance of being a mark are not kept.
KEPT_PROBABILITY = 0.02
# Dust that stands out less is not told: below this the finish's own spots are too many.
_DUST_SNR = 7.0
# A spot so near a likelier and stronger scratch is part of it (mm from its edge).
_TOGETHER_MM = 0.5


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


def score_face(inputs: FaceInputs, judge: MarkJudge, reference: Reference | None = None) -> FaceScore:
    """Score the polished face of one piece.

    Parameters
    ----------
    inputs
        The piece's pictures, drawing and place in the frames.
    judge
        By which marks are told from none.
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
    blur = edge_blur_px(inputs) / region.fine.step
    candidates = face_candidates(inputs, evidence, blur)
    findings = found_by(judge, candidates, inputs, evidence, blur)
    area, error = _area(inputs, region, evidence.seen)
    level, level_error = buffing_lines(region, frames)
    seen = None
    if taken.complete:
        grounds = Grounds(candidates.lines, candidates.ground)
        seen = what_was_seen(inputs, evidence, grounds, taken.blurs_px, judge, reference or Reference())
    patches = departures(inputs, region, frames)
    return FaceScore((*findings, *patches), area, error, level, level_error, faults, seen)


def found_by(
    judge: MarkJudge, candidates: FaceCandidates, inputs: FaceInputs, evidence: Evidence, blur: float
) -> tuple[Scratch | Pit | Speck, ...]:
    """The candidates that may be marks by a judge, and dust, likeliest first; `blur` in px of the fine raster."""
    scratches = _scratches(judge, candidates)
    spots = _spots(judge, candidates, inputs, evidence, blur)
    plain = [s for s in scratches if s.likely]
    spots = [p for p in spots if not any(is_part(p, s) for s in plain)]
    every = sorted((*scratches, *spots), key=lambda f: (-(f.probability or 0.0), -f.snr))
    return tuple(every[:MOST_FINDINGS])


def _scratches(judge: MarkJudge, candidates: FaceCandidates) -> list[Scratch]:
    told = judged_by(judge.lines, candidates.line_features, LINE_FEATURES)
    return [
        replace(one, probability=float(chance), because=weighed_most(added, LINE_FEATURES))
        for one, chance, added in zip(candidates.scratches, told.chance, told.added, strict=True)
        if chance >= KEPT_PROBABILITY
    ]


def _spots(
    judge: MarkJudge, candidates: FaceCandidates, inputs: FaceInputs, evidence: Evidence, blur: float
) -> list[Pit | Speck]:
    """Spots that pass the sieve, sized and judged: pits, dust, and what may be a pit and is told as none."""
    names = SPOT_FEATURES + SIZED_FEATURES
    passed = np.flatnonzero(
        judged_by(judge.sieve, candidates.spot_features, SPOT_FEATURES).chance >= judge.sieve_least
    ).tolist()
    sizes = [sized(candidates.spots[k], evidence, blur) for k in passed]
    if not passed:
        return []
    features = np.hstack((candidates.spot_features[passed], [one.features for one in sizes]))
    told = judged_by(judge.spots, features, names)
    dust = judged_by(judge.dust, features, names)
    out: list[Pit | Speck] = []
    for row, k in enumerate(passed):
        chance = float(told.chance[row])
        is_dust = chance < LIKELY and dust.chance[row] >= LIKELY and candidates.spots[k].snr >= _DUST_SNR
        if chance < KEPT_PROBABILITY and not is_dust:
            continue
        pit = pit_of(candidates.spots[k], sizes[row].diameter_mm, inputs, evidence.region)
        because = weighed_most(told.added[row], names)
        if is_dust:
            out.append(Speck(pit.center_px, pit.center_mm, pit.diameter_mm, pit.snr, chance, because))
        else:
            out.append(replace(pit, probability=chance, because=because))
    return out


def pit_of(spot: Spot, diameter_mm: float, inputs: FaceInputs, region: Region) -> Pit:
    """A spot placed in the frame and in the drawing."""
    px = region.fine.to_px(np.array([[spot.column, spot.row]]))
    return Pit(pairs(px)[0], pairs(inputs.to_mm(px))[0], diameter_mm, float(spot.snr))


def is_part(spot: Pit | Speck, scratch: Scratch) -> bool:
    """Whether a spot is part of a scratch: its edge so near, and no stronger."""
    points = np.array(scratch.points_mm)
    gap = float(np.hypot(*(points - spot.center_mm).T).min())
    return gap < spot.diameter_mm / 2 + _TOGETHER_MM and spot.snr <= scratch.snr


def _area(inputs: FaceInputs, region: Region, seen: Mask) -> tuple[float, float]:
    """Scored area that was seen and its standard uncertainty, cm2: the drawing's area times the share of it seen."""
    share = reduce(region.scored.astype(np.float32), region.coarse.shape)
    area = region.area_mm2 * float((share * seen).sum()) / max(float(share.sum()), 1e-9)
    error = np.hypot(2 * area * inputs.scale_relative, region.perimeter_mm * inputs.edge_mm)
    return area / 100.0, float(error) / 100.0
