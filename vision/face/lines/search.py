"""Lines of a face, looked for three times: in all lights combined, in the dome alone, and in the strongest light of
each place.

A low light may show a scratch bright where it falls across it and dark where it falls along it, so that in the
combination one light takes back what another says. In the dome's mirror image a scratch is dark whichever way it runs;
but where the dome mirrors the camera's hole, and beside a lamp's reflection, a scratch may be bright or dark in any
light, and only that it stands out is sure.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.face.contrast import LIMIT, FrameContrast
from vision.face.evidence import Evidence
from vision.face.lines.filters import line_field
from vision.face.lines.joining import Candidate, joined
from vision.face.lines.scratches import LinePictures, Search, candidates
from vision.face.raster import Image, Mask, reduce
from vision.face.spots.sizing import Spot
from vision.face.whitening import divided, power_of

# In how many directions lines are looked for: in the lights combined, in the dome, and in the strongest light of each
# place. More cost time and find no more.
_DIRECTIONS, _DOME_DIRECTIONS, _PLAIN_DIRECTIONS = 20, 20, 12
# Floors of the three searches: what stands out less is no candidate.
_FLOORS = (4.2, 4.2, 6.0)
# There contrast is limited less: what is plain along the wheel is so by its height alone.
_PLAIN_LIMIT = 12.0
# Window over which that picture's own level is taken off (mm).
_LEVEL_MM = 3.0
# Diameter of what is taken out over a spot, and of the blur about it on either side.
_TAKEN_OUT_MM, _BLUR_ABOUT_PX = 0.3, 4.0


@dataclass(frozen=True, slots=True, eq=False)
class FaceLines:
    """Curves that may be scratches, strongest first, none along another, and the searches they came from: all lights
    combined, then the dome's (none without a dome), then the strongest light's.
    """

    found: tuple[Candidate, ...]
    combined: Search
    dome: Search | None
    strongest: Search


def face_lines(evidence: Evidence, without: list[Spot]) -> FaceLines:
    """Every curve that may be a scratch; columns and rows of the coarse raster.

    Parameters
    ----------
    without
        Spots taken out of the pictures first, since they leave echoes in the line filters.
    """
    shape = evidence.region.coarse.shape
    scored = reduce(evidence.region.scored.astype(np.float32), shape) > 0.5
    keep = _kept(without, evidence)

    def search(plain: Image, seen: Mask, least: float, directions: int) -> Search:
        picture = plain * keep
        power = power_of(picture)
        white = divided(picture, power)
        return Search(
            LinePictures(white, plain), power, line_field(white, scored & seen, directions), scored & seen, least
        )

    combined = search(reduce(evidence.lines, shape), evidence.seen, _FLOORS[0], _DIRECTIONS)
    domes = [
        search(-standing_out(frame, LIMIT), frame.valid, _FLOORS[1], _DOME_DIRECTIONS)
        for frame in evidence.frames
        if frame.picture.light == "dome"
    ]
    highest = np.max([np.abs(standing_out(frame, _PLAIN_LIMIT)) for frame in evidence.frames], axis=0)
    window = (round(_LEVEL_MM / evidence.region.pitch_mm(evidence.region.coarse)),) * 2
    strongest = search(highest - cv2.blur(highest, window), evidence.seen, _FLOORS[2], _PLAIN_DIRECTIONS)
    found = [line for some in candidates([combined, *domes, strongest]) for line in some]
    found = [inside for line in found if (inside := _inside(line, scored)) is not None]
    kept = joined(sorted(found, key=lambda line: -line.snr), shape)
    return FaceLines(tuple(kept), combined, domes[0] if domes else None, strongest)


def _inside(line: Candidate, scored: Mask) -> Candidate | None:
    """A line's stretch inside the scored area; None when less than half of it lies there."""
    at = np.rint(line.curve).astype(int)
    rows, columns = scored.shape
    inside = scored[np.clip(at[:, 1], 0, rows - 1), np.clip(at[:, 0], 0, columns - 1)]
    if inside.mean() < 0.5:
        return None
    first, last = np.flatnonzero(inside)[[0, -1]]
    return replace(line, curve=line.curve[first : last + 1], heights=line.heights[first : last + 1])


def standing_out(frame: FrameContrast, limit: float) -> Image:
    """A light's contrast in standard deviations of its finish, limited (coarse): in the dark too, where a scratch alone
    may shine.
    """
    return np.asarray(np.clip(frame.contrast_coarse / frame.noise, -limit, limit), np.float32)


def _kept(without: list[Spot], evidence: Evidence) -> Image:
    """1 on the coarse raster, 0 over each spot and the blur about it."""
    region = evidence.region
    keep = np.ones(region.fine.shape, np.uint8)
    radius = round(0.5 * _TAKEN_OUT_MM / region.pitch_mm(region.fine) + _BLUR_ABOUT_PX)
    for spot in without:
        cv2.circle(keep, (round(spot.column), round(spot.row)), radius, 0, -1)
    return reduce(keep.astype(np.float32), region.coarse.shape)
