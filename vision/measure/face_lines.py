"""Lines of a face, looked for twice: in all lights combined, and in the dome alone.

A low light may show a scratch bright where it falls across it and dark where it falls along it, so that in the
combination one light takes back what another says. In the dome's mirror image a scratch is dark whichever way it runs.
"""

from collections.abc import Iterator

import cv2
import numpy as np

from vision.measure.face_evidence import Evidence
from vision.measure.face_look import LIMIT
from vision.measure.face_region import Image, Mask, reduce, spread
from vision.measure.face_whiten import divided
from vision.measure.lines import ORIENTATIONS, LineField, line_field
from vision.measure.scratches import Candidate, LinePictures, apart, candidates, snr_along
from vision.records.measured import Pit, Speck

# Directions whose noise in the divided picture is below this share of the median's are those of the wheel: there the
# finish's spectrum is divided away, and a line with it.
_WHEEL_SHARE = 0.7
# What the dome alone shows along the wheel is taken for a buffing line, unless it stands out by so much, or by so much
# with a trace of it in the lights combined.
_ALONE_SNR = 12.0
_WITH_TRACE_SNR, _TRACE_SNR = 8.0, 3.0


def face_lines(evidence: Evidence, without: list[Pit | Speck], least_snr: float) -> list[Candidate]:
    """Curves that may be scratches, strongest first, none along another; columns and rows of the coarse raster.

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
    found: list[Candidate] = []
    combined: tuple[Image, LineField] | None = None
    for plain, seen in _pictures(evidence):
        picture = reduce(plain * keep, shape)
        pictures = LinePictures(divided(picture, picture), reduce(plain, shape))
        field = line_field(pictures.white, scored & seen)
        lines = candidates(pictures, field, scored & seen, least_snr)
        if combined is None:
            combined = pictures.white, field
            found += lines
        else:
            found += [line for line in lines if not _only_buffing(line, *combined)]
    return apart(sorted(found, key=lambda line: -line.snr), shape)


def _pictures(evidence: Evidence) -> Iterator[tuple[Image, Mask]]:
    """Each picture (fine, noise of about 1, a scratch positive) with where it is seen (coarse)."""
    yield evidence.lines, evidence.seen
    shape = evidence.region.fine.shape
    for look in evidence.looks:
        if look.picture.light == "dome":
            used = spread((look.weight != 0).astype(np.float32), shape)
            dark = np.clip(-look.contrast / spread(look.noise, shape), -LIMIT, LIMIT) * used
            yield np.asarray(dark, np.float32), look.valid


def _only_buffing(line: Candidate, picture: Image, field: LineField) -> bool:
    """Whether a line seen in the dome is none but the wheel's; `picture` and `field` of all lights combined."""
    along = line.curve[-1] - line.curve[0]
    direction = round(float(np.arctan2(-along[1], along[0])) / np.pi * ORIENTATIONS) % ORIENTATIONS
    if field.noise[direction] >= _WHEEL_SHARE * np.median(field.noise) or line.snr > _ALONE_SNR:
        return False
    return line.snr <= _WITH_TRACE_SNR or snr_along(line.curve, picture, field) < _TRACE_SNR


def _kept(without: list[Pit | Speck], evidence: Evidence) -> Image:
    """1 on the fine raster, 0 over each spot and the blur about it."""
    keep = np.ones(evidence.lines.shape, np.uint8)
    raster = evidence.region.fine
    pitch = evidence.region.pitch_mm(raster)
    for spot in without:
        column, row = raster.from_px(np.array([spot.center_px]))[0]
        cv2.circle(keep, (round(column), round(row)), round(spot.diameter_mm / 2 / pitch + 4), 0, -1)
    return keep.astype(np.float32)
