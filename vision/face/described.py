"""All that may be a mark on a face, described by the features on which a judge of marks is fitted and taught."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.face.blur import edge_blur_px
from vision.face.candidates import face_candidates
from vision.face.evidence import combine
from vision.face.features import Feature
from vision.face.frames import take_frames
from vision.face.judging import judged_by
from vision.face.lines.features import LINE_FEATURES
from vision.face.raster import FaceInputs, find_region
from vision.face.score import pit_of
from vision.face.spots.features import SIZED_FEATURES, SPOT_FEATURES, sized
from vision.records import MarkJudge, Pit, Scratch

SPOTS: tuple[Feature, ...] = SPOT_FEATURES + SIZED_FEATURES
"""What is read of a spot that is sized."""


@dataclass(frozen=True, slots=True, eq=False)
class DescribedFace:
    """Candidates of a face: `line_features` (scratches, features), `spot_features` (pits, features), not yet judged."""

    scratches: tuple[Scratch, ...]
    line_features: NDArray[np.float64]
    pits: tuple[Pit, ...]
    spot_features: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class MarkChances:
    """The chance that a judge gives each candidate, `lines` (lines,) and `spots` (spots,); spots that its sieve leaves
    out have 0.
    """

    lines: NDArray[np.float64]
    spots: NDArray[np.float64]


def described_face(inputs: FaceInputs) -> DescribedFace | None:
    """Find and describe all that may be a mark on a face.

    Parameters
    ----------
    inputs
        The piece's pictures, drawing and place in the frames.

    Returns
    -------
    DescribedFace | None
        Its candidates; None without a scored area, or where no front-lit frame shows it.
    """
    surface = inputs.part.surface
    region = None if surface is None else find_region(inputs, surface)
    frames = () if region is None else take_frames(inputs, region).contrasts
    if region is None or not frames:
        return None
    evidence = combine(region, frames)
    blur = edge_blur_px(inputs) / region.fine.step
    found = face_candidates(inputs, evidence, blur)
    sizes = [sized(spot, evidence, blur) for spot in found.spots]
    pits = tuple(pit_of(spot, one.diameter_mm, inputs, region) for spot, one in zip(found.spots, sizes, strict=True))
    besides = np.array([one.features for one in sizes]).reshape(len(pits), len(SIZED_FEATURES))
    return DescribedFace(found.scratches, found.line_features, pits, np.hstack((found.spot_features, besides)))


def mark_chances(
    judge: MarkJudge, line_features: NDArray[np.float64], spot_features: NDArray[np.float64]
) -> MarkChances:
    """The chance that each candidate is a mark.

    Parameters
    ----------
    judge
        By which marks are told from none.
    line_features
        (lines, features) of lines, as `described_face` gives them.
    spot_features
        (spots, features) of spots.

    Returns
    -------
    MarkChances
        From 0 to 1, in the candidates' order.
    """
    lines = judged_by(judge.lines, line_features, LINE_FEATURES).chance
    if not len(spot_features):
        return MarkChances(lines, np.zeros(0))
    spots = judged_by(judge.spots, spot_features, SPOTS).chance
    sieve = judged_by(judge.sieve, spot_features[:, : len(SPOT_FEATURES)], SPOT_FEATURES).chance
    return MarkChances(lines, np.where(sieve >= judge.sieve_least, spots, 0.0))
