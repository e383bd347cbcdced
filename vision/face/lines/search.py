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
from vision.face.lines.ends import over_beside
from vision.face.lines.filters import LineField, line_field
from vision.face.lines.joining import Candidate, joined
from vision.face.lines.scratches import LinePictures, Search, candidates, snr_along
from vision.face.raster import Image, Mask, reduce
from vision.face.whitening import FinishPower, divided, power_of
from vision.records import Pit, Speck

# In how many directions lines are looked for: in the lights combined, in the dome, and in the strongest light of each
# place. More cost time and find no more.
_DIRECTIONS, _DOME_DIRECTIONS, _PLAIN_DIRECTIONS = 20, 20, 12
# Directions whose noise in the divided picture is below this share of the median's are those of the wheel: there the
# finish's spectrum is divided away, and a line with it. What is left of the wheel's own lines, which come in bundles,
# stands out so much farther than noise does.
_WHEEL_SHARE, _WHEEL_OVER = 0.75, 1.25
# What the dome alone shows along the wheel is taken for a buffing line, unless it stands out by so much; or so many
# times as far as any line beside it in the undivided picture (fewer times where it is so high at each px); or by so
# much with a trace of it in the lights combined.
_ALONE_SNR = 12.0
_ALONE_HEIGHT, _OVER_BESIDE, _FAR_OVER_BESIDE = 1.1, 2.5, 8.0
_WITH_TRACE_SNR, _TRACE_SNR = 8.0, 3.0
# What the strongest light of each place alone shows must be plain to the eye: of this snr, and so high at each px of it
# (lines of the wheel and edges of reflections gather theirs over a long way).
_PLAIN_SNR, _PLAIN_HEIGHT = 10.0, 1.5
# There contrast is limited less: what is plain along the wheel is so by its height alone.
_PLAIN_LIMIT = 12.0
# Window over which that picture's own level is taken off (mm).
_LEVEL_MM = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class LineGround:
    """What lines were told against in one picture: its field, and the power of the finish by which it was divided."""

    field: LineField
    power: FinishPower


@dataclass(frozen=True, slots=True, eq=False)
class FaceLines:
    """Curves that may be scratches, strongest first, none along another; columns and rows of the coarse raster.

    `combined`, `dome`: the grounds of all lights combined, and of the dome alone where there is one.
    """

    lines: list[Candidate]
    combined: LineGround
    dome: LineGround | None


def face_lines(evidence: Evidence, without: list[Pit | Speck], least_snr: float) -> FaceLines:
    """Look for lines in every way.

    Parameters
    ----------
    without
        Spots taken out of the pictures first, since they leave echoes in the line filters.
    least_snr
        Only curves of this snr and more.
    """
    shape = evidence.region.coarse.shape
    scored = reduce(evidence.region.scored.astype(np.float32), shape) > 0.5
    keep = _kept(without, evidence)
    powers: list[FinishPower] = []

    def search(plain: Image, seen: Mask, least: float, directions: int) -> Search:
        picture = plain * keep
        powers.append(power_of(picture))
        white = divided(picture, powers[-1])
        return Search(LinePictures(white, plain), line_field(white, scored & seen, directions), scored & seen, least)

    searches = [search(reduce(evidence.lines, shape), evidence.seen, least_snr, _DIRECTIONS)]
    domes = [(-_standing_out(frame, LIMIT), frame.valid) for frame in evidence.frames if frame.picture.light == "dome"]
    searches += [search(picture, seen, least_snr, _DOME_DIRECTIONS) for picture, seen in domes]
    strongest = np.max([np.abs(_standing_out(frame, _PLAIN_LIMIT)) for frame in evidence.frames], axis=0)
    window = (round(_LEVEL_MM / evidence.region.pitch_mm(evidence.region.coarse)),) * 2
    searches.append(search(strongest - cv2.blur(strongest, window), evidence.seen, _PLAIN_SNR, _PLAIN_DIRECTIONS))
    found, *in_dome, in_strongest = candidates(searches)
    combined = searches[0]
    for lines, (picture, _) in zip(in_dome, domes, strict=True):
        dome = picture * keep
        found += [line for line in lines if not _only_buffing(line, dome, combined.pictures.white, combined.field)]
    found = beyond_the_wheels(found, combined.field, least_snr)
    found += [line for line in in_strongest if line.snr >= _PLAIN_HEIGHT * np.sqrt(len(line.curve))]
    found = [inside for line in found if (inside := _inside(line, scored)) is not None]
    grounds = [LineGround(one.field, power) for one, power in zip(searches, powers, strict=True)]
    lines = joined(sorted(found, key=lambda line: -line.snr), shape)
    return FaceLines(lines, grounds[0], grounds[1] if domes else None)


def beyond_the_wheels(lines: list[Candidate], field: LineField, least_snr: float) -> list[Candidate]:
    """Lines that stand out so far even where they run along the wheel's, which makes their snr less; `field` of all
    lights combined.
    """
    weighed = [replace(line, snr=line.snr / _WHEEL_OVER) if _along_wheel(line, field) else line for line in lines]
    return [line for line in weighed if line.snr >= least_snr]


def _inside(line: Candidate, scored: Mask) -> Candidate | None:
    """A line's stretch inside the scored area; None when less than half of it lies there."""
    at = np.rint(line.curve).astype(int)
    rows, columns = scored.shape
    inside = scored[np.clip(at[:, 1], 0, rows - 1), np.clip(at[:, 0], 0, columns - 1)]
    if inside.mean() < 0.5:
        return None
    first, last = np.flatnonzero(inside)[[0, -1]]
    return replace(line, curve=line.curve[first : last + 1], heights=line.heights[first : last + 1])


def _standing_out(frame: FrameContrast, limit: float) -> Image:
    """A light's contrast in standard deviations of its finish, limited (coarse): in the dark too, where a scratch alone
    may shine.
    """
    return np.asarray(np.clip(frame.contrast_coarse / frame.noise, -limit, limit), np.float32)


def _only_buffing(line: Candidate, dome: Image, picture: Image, field: LineField) -> bool:
    """Whether a line seen in the dome is none but the wheel's; `picture` and `field` of all lights combined."""
    if line.snr > _ALONE_SNR or not _along_wheel(line, field):
        return False
    high = line.snr >= _ALONE_HEIGHT * np.sqrt(len(line.curve))
    if over_beside(line.curve, dome) >= (_OVER_BESIDE if high else _FAR_OVER_BESIDE):
        return False
    return line.snr <= _WITH_TRACE_SNR or snr_along(line.curve, picture, field) < _TRACE_SNR


def _along_wheel(line: Candidate, field: LineField) -> bool:
    """Whether a line runs in a direction of the wheel's lines; `field` of all lights combined."""
    along = line.curve[-1] - line.curve[0]
    direction = round(float(np.arctan2(-along[1], along[0])) / np.pi * len(field.noise)) % len(field.noise)
    return bool(field.noise[direction] < _WHEEL_SHARE * np.median(field.noise))


def _kept(without: list[Pit | Speck], evidence: Evidence) -> Image:
    """1 on the coarse raster, 0 over each spot and the blur about it."""
    keep = np.ones(evidence.region.fine.shape, np.uint8)
    raster = evidence.region.fine
    pitch = evidence.region.pitch_mm(raster)
    for spot in without:
        column, row = raster.from_px(np.array([spot.center_px]))[0]
        cv2.circle(keep, (round(column), round(row)), round(spot.diameter_mm / 2 / pitch + 4), 0, -1)
    return reduce(keep.astype(np.float32), evidence.region.coarse.shape)
